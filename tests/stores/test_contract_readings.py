"""Readings: what every store must do with them."""

import math
import random
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    AddOutcome,
    DirtyMark,
    HourTier,
    Reading,
    RejectReason,
)
from hilum.domain.ports import Store
from hilum.stores.influx import SplitStore
from hilum.stores.memory import MemoryStore
from hilum.stores.sqlite import SqliteStore

END = 10**14


def kept(store: Store, sensor: str) -> list[Reading]:
    """Every reading of a sensor, by way of small pages."""
    return [reading for page in store.pages(sensor, 0, END, 3) for reading in page]


def test_add_keeps_every_column(store: Store) -> None:
    """A reading comes back as it was handed in, every quantity of it."""
    reading = Reading("home/one", 60_000, 21.25, 40.5, 87.0, 3.05)
    assert store.add([reading], received_ms=61_000) == AddOutcome(stored=1)
    assert store.newest("home/one") == reading


@pytest.mark.parametrize("value", [0.1, -0.0, 5e-324, 1.7976931348623157e308, 21.0, -0.1 - 0.2])
def test_add_keeps_numbers_to_the_last_bit(store: Store, value: float) -> None:
    """A number comes back with the same bits, the sign of zero included."""
    store.add([Reading("home/one", 0, value, value)], received_ms=0)
    series = store.series("home/one", 0, 1)
    newest = store.newest("home/one")
    assert newest is not None
    assert newest.temp_c is not None
    assert newest.temp_c.hex() == value.hex()
    assert [float(x).hex() for x in (*series.temp_c, *series.rh_pct)] == [value.hex()] * 2


def test_add_takes_not_a_number_as_not_reported(store: Store) -> None:
    """A value that is no number is kept as none."""
    store.add([Reading("home/one", 0, 20.0, math.nan)], received_ms=0)
    assert store.newest("home/one") == Reading("home/one", 0, 20.0)
    again = store.add([Reading("home/one", 0, math.nan, 40.0)], received_ms=0)
    assert again == AddOutcome(stored=1)


def test_add_duplicate_changes_nothing(store: Store) -> None:
    """The same reading again is counted as a duplicate and marks nothing dirty."""
    reading = Reading("home/one", 5, 20.0, 40.0)
    store.add([reading], received_ms=10)
    store.clear_dirty(store.dirty())
    less = Reading("home/one", 5, rh_pct=40.0)
    assert store.add([reading, less], received_ms=20) == AddOutcome(duplicates=2)
    assert store.dirty() == []
    assert store.extent("home/one") == (1, 5, 5)


def test_add_fills_in_what_was_missing(store: Store) -> None:
    """A quantity that was not reported before is filled in and marks its time dirty."""
    store.add([Reading("home/one", 5, temp_c=20.0)], received_ms=10)
    store.clear_dirty(store.dirty())
    outcome = store.add([Reading("home/one", 5, rh_pct=40.0, battery_v=3.0)], received_ms=20)
    assert outcome == AddOutcome(stored=1)
    assert kept(store, "home/one") == [Reading("home/one", 5, 20.0, 40.0, None, 3.0)]
    assert [mark.from_ms for mark in store.dirty()] == [5]


def test_add_keeps_the_first_of_two_that_differ(store: Store) -> None:
    """A contradicting reading changes nothing, is handed back, and is kept as a reject."""
    first = Reading("home/one", 5, 20.0)
    other = Reading("home/one", 5, 21.0, 40.0)
    store.add([first], received_ms=10)
    store.clear_dirty(store.dirty())
    assert store.add([other], received_ms=20) == AddOutcome(conflicts=(other,))
    assert kept(store, "home/one") == [first]
    assert store.dirty() == []
    (reject,) = store.rejects()
    assert (reject.reason, reject.sensor) == (RejectReason.CONFLICT, "home/one")
    assert (reject.received_ms, reject.payload) == (20, b"")
    assert "20.0 °C" in reject.detail
    assert "21.0 °C, 40.0 % RH" in reject.detail


def test_add_settles_one_batch_in_its_order(store: Store) -> None:
    """In one batch the first value of a moment stays; gaps are filled, differences set aside."""
    batch = [
        Reading("home/one", 5, 20.0),
        Reading("home/one", 5, rh_pct=40.0),
        Reading("home/one", 5, 20.0, 41.0),
        Reading("home/one", 5, 20.0, 40.0),
        Reading("home/two", 5, 1.0),
    ]
    outcome = store.add(batch, received_ms=10)
    assert outcome == AddOutcome(stored=3, duplicates=1, conflicts=(batch[2],))
    assert kept(store, "home/one") == [Reading("home/one", 5, 20.0, 40.0)]
    assert store.extent("home/one") == (1, 5, 5)


def test_add_registers_sensors_and_notes_when_they_spoke(store: Store) -> None:
    """An unknown sensor is registered; its newest arrival counts, whatever came in between."""
    assert store.add([], received_ms=1) == AddOutcome()
    for time_ms, received_ms in ((5, 100), (6, 300), (7, 200)):
        store.add([Reading("home/one", time_ms, 20.0)], received_ms)
    (sensor,) = store.sensors()
    assert (sensor.name, sensor.first_seen_ms, sensor.last_seen_ms) == ("home/one", 100, 300)
    assert sensor.online is None


def test_add_without_a_sensor_keeps_nothing_of_the_batch(store: Store) -> None:
    """A batch with a reading that cannot be kept is refused whole."""
    with pytest.raises(InvalidInputError, match="needs a name"):
        store.add([Reading("home/one", 5, 20.0), Reading("", 5, 20.0)], received_ms=0)
    assert kept(store, "home/one") == []


def test_add_marks_each_sensor_from_its_earliest_change(store: Store) -> None:
    """Marks hold the earliest change since they were cleared, and a new number each time."""
    batch = [Reading("home/one", 50, 20.0), Reading("home/one", 30, 20.0)]
    store.add([*batch, Reading("home/two", 7, 20.0)], received_ms=0)
    first = store.dirty()
    assert [(mark.sensor, mark.from_ms) for mark in first] == [("home/one", 30), ("home/two", 7)]
    store.add([Reading("home/one", 60, 20.0)], received_ms=0)
    (again, _) = store.dirty()
    assert again.from_ms == 30
    assert again.mark not in {mark.mark for mark in first}


def test_add_of_many_readings_over_known_ones(store: Store) -> None:
    """A long import that overlaps what is kept counts every reading once."""
    known = [Reading("home/one", minute * 60_000, minute / 7) for minute in range(0, 21_000, 2)]
    everything = [Reading("home/one", minute * 60_000, minute / 7) for minute in range(25_000)]
    store.add(known, received_ms=0)
    outcome = store.add(everything, received_ms=0)
    assert outcome == AddOutcome(stored=len(everything) - len(known), duplicates=len(known))
    assert store.extent("home/one") == (25_000, 0, 24_999 * 60_000)


def test_series_takes_its_start_and_leaves_its_end(store: Store) -> None:
    """A series is in order of time, from its start on, up to but without its end."""
    times = [40, 10, 30, 20]
    store.add([Reading("home/one", time_ms, time_ms / 10) for time_ms in times], received_ms=0)
    series = store.series("home/one", 10, 40)
    assert series.time_ms.tolist() == [10, 20, 30]
    assert series.temp_c.tolist() == [1.0, 2.0, 3.0]
    assert np.isnan(series.rh_pct).all()
    assert (series.time_ms.dtype.name, series.temp_c.dtype.name) == ("int64", "float64")
    assert series.temp_c.flags.c_contiguous


def test_an_unknown_sensor_has_nothing(store: Store) -> None:
    """Questions about a sensor that never spoke are answered with nothing, not with an error."""
    assert len(store.series("home/none", 0, END)) == 0
    assert store.before("home/none", END) is None
    assert store.newest("home/none") is None
    assert store.extent("home/none") is None
    assert list(store.pages("home/none", 0, END, 10)) == []
    assert len(store.hours("home/none", 0, END)) == len(store.days("home/none", 0, END)) == 0
    store.refresh_tiers({"home/none": 0})


def test_before_is_strict(store: Store) -> None:
    """The reading before a time is not the one at that time."""
    readings = [Reading("home/one", time_ms, float(time_ms)) for time_ms in (10, 20)]
    store.add(readings, received_ms=0)
    assert store.before("home/one", 21) == readings[1]
    assert store.before("home/one", 20) == readings[0]
    assert store.before("home/one", 10) is None


def test_pages_are_of_the_size_asked(store: Store) -> None:
    """Pages hold at most what was asked, in order, within the bounds."""
    store.add([Reading("home/one", time_ms, 20.0) for time_ms in range(10)], received_ms=0)
    pages = [[reading.time_ms for reading in page] for page in store.pages("home/one", 1, 9, 3)]
    assert pages == [[1, 2, 3], [4, 5, 6], [7, 8]]
    with pytest.raises(InvalidInputError):
        next(iter(store.pages("home/one", 0, 9, 0)))


def tier_lists(tier: HourTier) -> list[list[float]]:
    """Show a tier's columns, temperature and humidity apart."""
    return [[tier.temp_min[i], tier.temp_mean[i], tier.temp_max[i]] for i in range(len(tier))] + [
        [tier.rh_min[i], tier.rh_mean[i], tier.rh_max[i]] for i in range(len(tier))
    ]


def test_tiers_count_what_was_reported(store: Store) -> None:
    """Means weigh every reading alike; a quantity not reported does not count, none gives NaN."""
    store.add(
        [
            Reading("home/one", 0, 10.0, 30.0),
            Reading("home/one", 1_800_000, 20.0),
            Reading("home/one", MS_PER_HOUR, 40.0),
            Reading("home/one", MS_PER_DAY + 5, -1.0, 50.0),
        ],
        received_ms=0,
    )
    if not isinstance(store, SplitStore):  # it computes them when they are read
        assert len(store.hours("home/one", 0, END)) == 0
    store.refresh_tiers({"home/one": 0})
    hours = store.hours("home/one", 0, END)
    assert hours.start_ms.tolist() == [0, MS_PER_HOUR, MS_PER_DAY]
    assert hours.count.tolist() == [2, 1, 1]
    nan = [math.nan] * 3
    expected = [[10.0, 15.0, 20.0], [40.0] * 3, [-1.0] * 3, [30.0] * 3, nan, [50.0] * 3]
    np.testing.assert_array_equal(tier_lists(hours), expected)
    days = store.days("home/one", 0, END)
    assert days.start_ms.tolist() == [0, MS_PER_DAY]
    assert days.count.tolist() == [3, 1]
    day = pytest.approx(70 / 3)  # (10 + 20 + 40) / 3, not the mean of the hours' means
    assert tier_lists(days)[0] == [10.0, day, 40.0]


def test_tiers_are_bounded_like_series(store: Store) -> None:
    """Hours and days asked for begin within start <= start of period < end."""
    times = [0, MS_PER_HOUR, 2 * MS_PER_HOUR, MS_PER_DAY]
    store.add([Reading("home/one", time_ms, 20.0) for time_ms in times], received_ms=0)
    store.refresh_tiers({"home/one": 0})
    hours = store.hours("home/one", MS_PER_HOUR, 2 * MS_PER_HOUR)
    assert hours.start_ms.tolist() == [MS_PER_HOUR]
    assert store.days("home/one", 1, MS_PER_DAY + 1).start_ms.tolist() == [MS_PER_DAY]


def test_refresh_tiers_leaves_earlier_periods(store: Store) -> None:
    """Hours from the one that holds the time on are made anew, and days from those hours."""
    if isinstance(store, SplitStore):
        pytest.skip("It computes summaries when they are read, so that none is older.")
    times = [0, MS_PER_DAY, MS_PER_DAY + MS_PER_HOUR, 2 * MS_PER_DAY]
    store.add([Reading("home/one", time_ms, 20.0) for time_ms in times], received_ms=0)
    store.refresh_tiers({"home/one": 0})
    late = [Reading("home/one", time_ms + 1, 30.0) for time_ms in times if time_ms != MS_PER_DAY]
    store.add(late, received_ms=0)
    store.refresh_tiers({"home/one": MS_PER_DAY + MS_PER_HOUR + 5})
    assert store.hours("home/one", 0, END).count.tolist() == [1, 1, 2, 2]
    assert store.days("home/one", 0, END).count.tolist() == [1, 3, 2]


readings = st.builds(
    Reading,
    sensor=st.sampled_from(["home/one", "home/two"]),
    time_ms=st.integers(0, 8),
    temp_c=st.none() | st.just(20.5),
    rh_pct=st.none() | st.just(-0.0),
    battery_pct=st.none() | st.just(50.0),
    battery_v=st.none() | st.just(3.0),
)


@pytest.mark.parametrize("kind", ["sqlite", "memory"])
@given(
    batches=st.lists(st.lists(readings, max_size=8), max_size=6),
    seed=st.integers(0, 2**32 - 1),
)
def test_add_order_does_not_matter(kind: str, batches: list[list[Reading]], seed: int) -> None:
    """Batches that do not contradict each other give the same readings in any order and cut."""
    shuffled = [reading for batch in batches for reading in batch]
    random.Random(seed).shuffle(shuffled)  # noqa: S311 - no secret
    with TemporaryDirectory() as folder:
        results = []
        for name, order in (("a", batches), ("b", [shuffled])):
            store: Store = SqliteStore(Path(folder, name)) if kind == "sqlite" else MemoryStore()
            outcomes = [store.add(batch, received_ms=0) for batch in order]
            assert sum(o.stored + o.duplicates for o in outcomes) == len(shuffled)
            results.append([kept(store, "home/one"), kept(store, "home/two")])
            store.close()
        assert results[0] == results[1]


def test_clear_dirty_spares_marks_that_changed(store: Store) -> None:
    """A mark read before a change does not clear it, even after it was cleared in between."""
    store.add([Reading("home/one", 5, 20.0)], received_ms=0)
    (old,) = store.dirty()
    store.mark_dirty("home/one", 3)
    store.clear_dirty([old])
    (new,) = store.dirty()
    assert new == DirtyMark("home/one", 3, new.mark)
    store.clear_dirty([new])
    assert store.dirty() == []
    store.mark_dirty("home/one", 9)
    store.clear_dirty([old, new])
    assert [mark.from_ms for mark in store.dirty()] == [9]


def test_a_mark_that_moves_on_while_it_is_worked_off_is_cleared_in_part(store: Store) -> None:
    """Readings that arrive meanwhile stay marked from their own time on, not from the old one."""
    store.add([Reading("home/one", 5, 20.0)], received_ms=0)
    (old,) = store.dirty()
    store.add([Reading("home/one", 900, 20.0)], received_ms=0)
    store.add([Reading("home/one", 800, 20.0)], received_ms=0)
    assert [mark.from_ms for mark in store.dirty()] == [5]
    store.clear_dirty([old])
    (rest,) = store.dirty()
    assert 5 <= rest.from_ms <= 800  # a store may mark twice what it adds
    store.add([Reading("home/one", 1000, 20.0)], received_ms=0)
    store.clear_dirty([old])  # read long ago: it says nothing any more
    assert [mark.from_ms for mark in store.dirty()] == [rest.from_ms]
    store.clear_dirty([rest])
    assert [mark.from_ms for mark in store.dirty()] == [1000]
    store.clear_dirty(store.dirty())
    assert store.dirty() == []
