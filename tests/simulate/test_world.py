from datetime import UTC, date, datetime

import numpy as np
import pytest

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, BoxType, EventType, RejectReason, Role
from hilum.science.kinds import kind
from hilum.simulate import world as module
from hilum.simulate.journal import table
from hilum.simulate.physics import seed_scale, seed_shape
from hilum.simulate.scenery import (
    AJAR_DAYS,
    DRAWER,
    FLAT_DAYS,
    FREEZER_DAY,
    HASTY_DAY,
    JAR,
    ROOM,
    SWAP_DAY,
    TUB,
    Story,
)
from hilum.simulate.world import World, build_world

from .conftest import NOW_MS


def test_the_same_seed_gives_the_same_world(world: World) -> None:
    """Readings, rejects, events and all else agree to the last bit; another seed differs."""
    again, other = build_world(NOW_MS, seed=1), build_world(NOW_MS, seed=2)
    for name, record in world.readings.items():
        for field in ("time_ms", "temp_c", "rh_pct", "battery_pct"):
            assert np.array_equal(getattr(record, field), getattr(again.readings[name], field))
        assert not np.array_equal(record.rh_pct[:9], other.readings[name].rh_pct[:9])
    for field in ("boxes", "sensors", "placements", "lots", "stays", "tests", "events", "rejects"):
        assert getattr(world, field) == getattr(again, field)


def test_fourteen_months_of_minutes_end_now(world: World) -> None:
    """Every sensor spoke in nearly every minute from fourteen months ago until now."""
    for name, record in world.readings.items():
        days = (record.time_ms[-1] - record.time_ms[0]) / MS_PER_DAY
        assert 425 < days < 428
        assert 0 < NOW_MS - record.time_ms[-1] < 5 * 60_000
        assert np.all(np.diff(record.time_ms) > 0)
        missing = 8.5 * 1440 if name == DRAWER else 300
        assert days * 1440 * 0.998 - missing < len(record) <= days * 1440 + 1


def test_readings_look_like_a_sensors(world: World) -> None:
    """Two decimals, no value a sensor cannot have, and no jump of temperature in a minute."""
    for record in world.readings.values():
        assert np.array_equal(np.round(record.temp_c, 2), record.temp_c)
        assert np.array_equal(np.round(record.rh_pct, 2), record.rh_pct)
        assert record.rh_pct.min() > 5
        assert record.rh_pct.max() <= 100
        next_minute = np.diff(record.time_ms) < 61_000
        assert np.max(np.abs(np.diff(record.temp_c)[next_minute])) < 1.0


def test_sixty_lots_of_forty_kinds(world: World) -> None:
    """Sixty codes, forty kinds known to the table, fourteen or more of them flowers."""
    assert [lot.code for lot in world.lots] == [f"SL-{i:03d}" for i in range(1, 61)]
    kinds = {lot.kind for lot in world.lots}
    assert len(kinds) == 40
    assert sum(kind(key).group == "flower" for key in kinds) >= 14
    assert {kind(key).group for key in kinds} >= {"vegetable", "herb", "flower"}
    assert {lot.year for lot in world.lots} == set(range(2019, 2027))
    assert len({(lot.kind, lot.variety) for lot in world.lots}) == 60
    assert all(60 <= (lot.label_pct or 0) <= 98 for lot in world.lots)


def test_three_boxes_and_a_freezer(world: World) -> None:
    """Drawer, tub and jar have a sensor inside, the tub one outside too, the freezer none."""
    assert {box.slug: box.type for box in world.boxes} == {
        "drawer": BoxType.DRAWER,
        "tub": BoxType.TUB,
        "fridge-jar": BoxType.FRIDGE,
        "freezer": BoxType.FREEZER,
    }
    assert {(p.sensor, p.box, p.role) for p in world.placements} == {
        (DRAWER, "drawer", Role.INSIDE),
        (TUB, "tub", Role.INSIDE),
        (JAR, "fridge-jar", Role.INSIDE),
        (ROOM, "tub", Role.OUTSIDE),
    }


def daily_rh(world: World, sensor: str, day: int) -> float:
    """Mean humidity of one day of the story."""
    start = world.story.at(day, 0.0)
    return float(world.readings[sensor].part(start, start + MS_PER_DAY).rh_pct.mean())


def test_the_tub_has_its_damp_spell_and_its_swap(world: World) -> None:
    """The lid left ajar takes the tub well over its limit; the swap brings it down."""
    limit = next(box.target_high_pct for box in world.boxes if box.slug == "tub")
    before, after = daily_rh(world, TUB, AJAR_DAYS[0] - 1), daily_rh(world, TUB, AJAR_DAYS[1] + 2)
    during = max(daily_rh(world, TUB, day) for day in range(*AJAR_DAYS))
    assert before < limit
    assert during > limit + 8
    assert after > before + 4
    assert daily_rh(world, TUB, SWAP_DAY + 3) < before - 8
    swaps = [e for e in world.events if e.type is EventType.SWAP]
    assert swaps[-1].time_ms == world.story.at(SWAP_DAY, 10.3)
    assert dict(swaps[-1].data)["grams"] == 200.0


def test_the_weighing_is_what_the_gel_weighed(world: World) -> None:
    """The noted grams are dry gel plus the water it really held, to the gram."""
    (weighed,) = [e for e in world.events if e.type is EventType.WEIGHED]
    tub = world.truth[TUB]
    load = tub.gel_load[np.searchsorted(tub.time_ms, weighed.time_ms)]
    assert dict(weighed.data)["grams"] == pytest.approx(200.0 * (1 + load), abs=0.51)


def test_the_drawers_battery_dies_and_is_changed(world: World) -> None:
    """It falls, below five per cent the readings stop for over a week, then it is full."""
    record = world.readings[DRAWER]
    gap = int(np.argmax(np.diff(record.time_ms)))
    length = record.time_ms[gap + 1] - record.time_ms[gap]
    assert 8 * MS_PER_DAY < length < 9 * MS_PER_DAY
    assert record.battery_pct[gap] < 5
    assert record.battery_pct[gap + 1] == 100
    assert record.time_ms[gap] == pytest.approx(world.story.at(FLAT_DAYS[0], 6.2), abs=300_000)
    fall = record.battery_pct[: gap + 1]
    assert np.all(np.diff(fall) <= 0)


def test_the_jars_clock_was_wrong_for_a_while(world: World) -> None:
    """Its messages then are rejects with the reason, and its readings have a gap of that length."""
    assert {reject.reason for reject in world.rejects} == {RejectReason.TIME}
    assert {reject.sensor for reject in world.rejects} == {JAR}
    assert 100 < len(world.rejects) < 200
    first, last = world.rejects[0], world.rejects[-1]
    assert "2000-01-01 00:00 UTC" in first.detail
    assert b'"bt":9466848' in first.payload
    gap = int(np.diff(world.readings[JAR].time_ms).max())
    assert gap == pytest.approx(last.received_ms - first.received_ms, abs=5 * 60_000)
    assert gap > 2 * MS_PER_HOUR


def test_a_lot_went_to_the_freezer_too_moist(world: World) -> None:
    """It came straight from the drawer with more than the 9 % moisture that forbid freezing."""
    (stay,) = [s for s in world.stays if s.box == "freezer"]
    held = seed_scale(0.02, 18.0) * seed_shape(daily_rh(world, DRAWER, FREEZER_DAY - 1) / 100)[0]
    assert 100 * held / (1 + held) > 9 + 1
    before = next(s for s in world.stays if s.lot == stay.lot)
    assert before.box == "drawer"
    (event,) = [e for e in world.events if e.box == "freezer"]
    assert (event.lot, event.time_ms) == (stay.lot, stay.from_ms)
    assert "without drying" in event.text


def test_the_fridge_jar_is_cold_and_was_opened_cold_once(world: World) -> None:
    """It is cold except on its outings; room air on cold glass then made it wetter by far."""
    jar = world.truth[JAR]
    assert 3 < np.median(jar.temp_c) < 7
    assert np.sum(jar.temp_c > 15) > 5 * 100
    (wettest,) = np.flatnonzero(jar.rh_pct == jar.rh_pct.max())
    assert abs(jar.time_ms[wettest] - world.story.at(HASTY_DAY, 11.2)) < MS_PER_HOUR
    assert jar.rh_pct[wettest] > jar.rh_pct[wettest - 6] + 40
    assert jar.temp_c[wettest] < 10


def test_water_is_conserved_in_every_box_of_the_world(world: World) -> None:
    """Over fourteen months what is stored changed by what entered, to a microgram."""
    for truth in world.truth.values():
        stored = truth.stored_g - truth.stored_g[0]
        entered = truth.entered_g - truth.entered_g[0]
        assert np.max(np.abs(stored - entered)) < 1e-6


@pytest.mark.parametrize("month", range(1, 13))
@pytest.mark.parametrize("day", [1, 28])
def test_dates_are_in_order_whenever_the_demo_is_started(month: int, day: int) -> None:
    """Label before arrival, arrival before move, test while here, and nothing in the future."""
    now = datetime(2027, month, day, 3, tzinfo=UTC)
    story = Story(int(now.timestamp() * 1000))
    stays = module._stays(story)
    tests = module._tests(story)
    for lot in module._lots(story.now_ms):
        assert lot.label_date is not None
        own = [s for s in stays if s.lot == lot.code]
        arrived = datetime.fromtimestamp(own[0].from_ms / 1000, tz=UTC).date()
        assert date(lot.year or 0, 9, 1) < lot.label_date < arrived
        assert [s.from_ms for s in own] == sorted(s.from_ms for s in own)
        assert story.start_ms <= own[0].from_ms <= own[-1].from_ms < story.now_ms
        for test in tests:
            if test.lot == lot.code:
                assert arrived < test.on < now.date()


def test_tests_make_sense(world: World) -> None:
    """Counts fit: no more germinated than sown, replicates add up, lots exist."""
    codes = {lot.code for lot in world.lots}
    assert len(world.tests) >= 12
    for test in world.tests:
        assert test.lot in codes
        assert 0 <= test.germinated <= test.sown
        assert not test.replicates or sum(test.replicates) == test.germinated


def test_the_journal_is_in_order_and_within_the_story(world: World) -> None:
    """Events lie between start and now, in order; every move in it is a stay."""
    times = [event.time_ms for event in world.events]
    assert times == sorted(times)
    assert world.story.start_ms <= times[0]
    assert times[-1] < NOW_MS
    moves = {(e.lot, e.box, e.time_ms) for e in world.events if e.type is EventType.MOVED}
    assert moves == {(s.lot, s.box, s.from_ms) for s in world.stays} & moves
    assert len(moves) == sum(bool(row["moved_to"]) for row in table("lots"))


def test_next_spring_is_planned(world: World) -> None:
    """A plan lies ahead, for named varieties that are kept and for something that is not."""
    today = datetime.fromtimestamp(NOW_MS / 1000, tz=UTC).date()
    assert 30 <= (world.plan.sow_on - today).days < 366 + 30
    kept = {(lot.kind, lot.variety) for lot in world.lots}
    named = {(line.kind, line.variety) for line in world.wanted if line.variety}
    assert named
    assert named <= kept
    assert {line.kind for line in world.wanted} - {lot.kind for lot in world.lots}
