"""A season's review against independent loops over the readings that made it."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np
import pytest

from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import Event, EventType, Lot, Reading, Stay, Wrap
from hilum.domain.ports import Store
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.keeping.seasons.review import Review, beside, review_box
from hilum.stores.memory import MemoryStore
from keeping.worlds import DAY_MS, HOUR_MS, ONION, SENSOR, add_box

START = round(datetime(2025, 3, 5, tzinfo=UTC).timestamp() * 1000)
END = START + 40 * DAY_MS


def readings() -> Iterator[tuple[int, float, float]]:
    """Every ten minutes for 50 days around the season, two silences, a damp and a wet spell."""
    rng = np.random.default_rng(8)
    for at in range(START - 5 * DAY_MS, END + 5 * DAY_MS, 600_000):
        day = (at - START) / DAY_MS
        if 10.0 <= day < 10.5 or 20.0 <= day < 20.1:  # twelve hours and 2.4 hours
            continue
        rh = 30.0 + 6.0 * np.sin(day) + 60.0 * (30.0 <= day < 31.5) - 18.0 * (5.0 <= day < 6.0)
        yield at, 12.0 + 3.0 * np.sin(day * 6.28) + rng.normal(0, 0.1), rh + rng.normal(0, 0.1)


@pytest.fixture(scope="module")
def world() -> Store:
    """A box with two kinds, and a journal."""
    store = MemoryStore()
    add_box(store)
    store.save_lots([Lot("A", "onion"), Lot("B", "onion"), Lot("C", "wheat"), Lot("D", "oak")])
    for code, wrap in (("A", Wrap.PAPER), ("B", Wrap.PAPER), ("C", Wrap.FOIL), ("D", Wrap.OPEN)):
        store.add_stay(Stay(0, code, "tub", wrap, START - 2 * DAY_MS))
    store.add([Reading(SENSOR, *each) for each in readings()], END)
    LedgerKeeper(store).rebuild()
    for day, what, step in (
        *((-1.0, EventType.OPENED, None), (3.0, EventType.OPENED, None)),
        *((9.0, EventType.OPENED, None), (30.0, EventType.SWAP, None)),
        *((30.1, EventType.ALERT, "waiting"), (30.2, EventType.ALERT, "raised")),
        *((31.0, EventType.ALERT, "seen"), (35.0, EventType.ALERT, "raised")),
        (41.0, EventType.SWAP, None),
    ):
        data = () if step is None else (("step", step),)
        store.add_event(Event(0, START + round(day * DAY_MS), what, "tub", data=data))
    store.strike_event(store.add_event(Event(0, START + DAY_MS, EventType.OPENED, "tub")).id)
    return store


@pytest.fixture(scope="module")
def season(world: Store) -> Review:
    """The season that is reviewed."""
    return review_box(world, "tub", START, END)


def by_hour() -> dict[int, list[float]]:
    """Humidity of the season's readings by the hour they fall in."""
    hours: dict[int, list[float]] = defaultdict(list)
    for at, _, rh in readings():
        if START <= at < END:
            hours[at // HOUR_MS].append(rh)
    return hours


def test_hours_are_counted_as_a_loop_does(season: Review) -> None:
    """In the band, below, damp and wet, by the mean of each hour's readings."""
    counts = {"in_band": 0, "below": 0, "damp": 0, "wet": 0}
    means = []
    for values in by_hour().values():
        mean = sum(values) / len(values)
        means.append(mean)
        counts["in_band"] += 15.0 <= mean <= 35.0
        counts["below"] += mean < 15.0
        counts["damp"] += mean > 35.0
        counts["wet"] += mean > 85.0
    assert {name: getattr(season, name) for name in counts} == counts
    assert min(counts.values()) > 0
    assert season.hours == 40 * 24
    assert season.hours_read == len(means)
    assert season.coverage == pytest.approx(len(means) / 960)
    assert season.erh_median_pct == pytest.approx(sorted(means)[len(means) // 2], abs=0.05)


def test_gaps_are_the_silences_beyond_the_limit(season: Review) -> None:
    """Twelve hours are longer than the limit of six, 2.4 hours are not."""
    assert [(gap.from_ms, gap.to_ms) for gap in season.gaps] == [
        (START + 10 * DAY_MS, START + 10 * DAY_MS + 12 * HOUR_MS)
    ]
    assert season.hours - season.hours_read == 12 + 2


def test_best_and_worst_weeks_are_those_of_a_loop(season: Review) -> None:
    """Weeks from Monday with most and fewest hours in the band; half a week does not count."""
    weeks: dict[str, list[bool]] = defaultdict(list)
    for hour, values in by_hour().items():
        when = datetime.fromtimestamp(hour * 3600, UTC)
        mean = sum(values) / len(values)
        weeks[f"{when:%G-%V}"].append(15.0 <= mean <= 35.0)
    shares = {name: sum(w) / len(w) for name, w in weeks.items() if len(w) >= 84}
    assert season.best is not None
    assert season.worst is not None
    assert season.best.in_band_share == pytest.approx(max(shares.values()))
    assert season.worst.in_band_share == pytest.approx(min(shares.values()))
    worst = datetime.fromtimestamp(season.worst.start_ms / 1000, UTC)
    assert worst.isoweekday() == 1
    assert shares[f"{worst:%G-%V}"] == min(shares.values())


def test_loss_by_kind_is_that_of_the_ledger(world: Store, season: Review) -> None:
    """It is the difference of the shared curve at both ends; kinds without a model are left out."""
    onion, wheat = season.losses
    assert (onion.kind, onion.lots, wheat.kind, wheat.lots) == ("onion", 2, "wheat", 1)
    key = next(key for key in world.curves() if key.model == ONION and key.start_ms is None)
    rows = world.rows(key)
    inside = [i for i, at in enumerate(rows.last_ms.tolist()) if at < END]
    before = [i for i, at in enumerate(rows.last_ms.tolist()) if at <= START]
    expected = rows.loss_probit[inside[-1]] - rows.loss_probit[before[-1]]
    assert onion.loss_probit == pytest.approx(float(expected))
    assert onion.days == pytest.approx(40.0, abs=0.1)
    assert onion.wet_hours == pytest.approx(
        float(rows.wet_s[inside[-1]] - rows.wet_s[before[-1]]) / 3600.0
    )
    assert "seed that germinated 90 %" in onion.words


def test_journal_is_counted_once(season: Review) -> None:
    """Openings and swaps of the season, not struck; alerts once each, when they were raised."""
    assert (season.openings, season.swaps, season.alerts) == (2, 1, 2)


def test_two_seasons_side_by_side(world: Store, season: Review) -> None:
    """A season beside itself shows no change; beside a time without readings what is not known."""
    for change in beside(season, season):
        assert change.now == change.before
    empty = review_box(world, "tub", START - 400 * DAY_MS, START - 360 * DAY_MS)
    assert (empty.hours_read, empty.best, empty.erh_median_pct) == (0, None, None)
    assert "no readings" in empty.notes[0]
    assert [(gap.from_ms, gap.to_ms) for gap in empty.gaps] == [(empty.start_ms, empty.end_ms)]
    changes = {change.what: change for change in beside(season, empty)}
    assert changes["hours in the target band"].before is None
    assert changes["openings"].now == 2
    assert changes["loss of Onion in paper"].before is None


def test_what_cannot_be_reviewed_is_refused(world: Store) -> None:
    """An unknown box, and a season that ends before it begins."""
    with pytest.raises(NotFoundError):
        review_box(world, "chest", START, END)
    with pytest.raises(InvalidInputError, match="end after it begins"):
        review_box(world, "tub", END, START)
