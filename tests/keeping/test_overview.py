"""What a box is like now and has been."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    Box,
    BoxType,
    Lot,
    Placement,
    Reading,
    Role,
    Sensor,
    Stay,
    Wrap,
)
from hilum.keeping.overview import (
    Freshness,
    Need,
    Tier,
    box_extent,
    box_history,
    box_overview,
    newest_conditions,
    tier_for,
)
from hilum.stores.memory import MemoryStore

BOX = Box("tub", "Tub", BoxType.TUB)
NOW = 20_000 * MS_PER_DAY
Fill = Callable[[float], tuple[float | None, float | None]]


def store_with(
    conditions: Fill,
    *,
    days: float = 8,
    step_ms: int = MS_PER_HOUR // 2,
    until_ms: int = NOW,
    sensor: str = "a/1",
) -> MemoryStore:
    """A store with one sensor in the box; conditions by days before now."""
    store = MemoryStore()
    store.save_box(BOX)
    start_ms = NOW - int(days * MS_PER_DAY)
    store.save_sensor(Sensor(sensor, start_ms))
    store.add_placement(Placement(0, sensor, BOX.slug, Role.INSIDE, start_ms))
    readings = [
        Reading(sensor, t, *conditions((NOW - t) / MS_PER_DAY))
        for t in range(start_ms, until_ms, step_ms)
    ]
    store.add(readings, NOW)
    store.refresh_tiers({sensor: start_ms})
    return store


@pytest.mark.parametrize(
    ("silent_h", "state", "need"),
    [
        (0.5, Freshness.FRESH, None),
        (2.5, Freshness.LATE, None),
        (6.5, Freshness.SILENT, Need.SILENT),
    ],
)
def test_freshness_follows_the_age_of_the_newest_reading(
    silent_h: float, state: Freshness, need: Need | None
) -> None:
    """Late after an hour, silent and asking for a person after the box's gap limit."""
    store = store_with(lambda _: (18.0, 25.0), until_ms=NOW - int(silent_h * MS_PER_HOUR))
    found = box_overview(store, BOX, NOW)
    assert (found.freshness, found.need) == (state, need)
    assert found.age_ms is not None
    assert found.age_ms >= silent_h * MS_PER_HOUR


def test_the_gap_limit_is_the_boxs_own() -> None:
    """A box that may be silent for a day is not called silent after nine hours."""
    store = store_with(lambda _: (18.0, 25.0), until_ms=NOW - 9 * MS_PER_HOUR)
    patient = replace(BOX, gap_limit_s=24 * 3600)
    assert box_overview(store, patient, NOW).freshness is Freshness.LATE


def test_a_box_without_a_sensor_and_one_that_never_spoke_are_told_apart() -> None:
    """Both know nothing, for different reasons."""
    store = MemoryStore()
    store.save_box(BOX)
    bare = box_overview(store, BOX, NOW)
    assert (bare.need, bare.newest, bare.week, bare.moisture) == (None, None, None, None)
    assert bare.freshness is Freshness.NO_SENSOR
    store.save_sensor(Sensor("a/1", NOW))
    store.add_placement(Placement(0, "a/1", BOX.slug, Role.INSIDE, NOW - MS_PER_DAY))
    assert box_overview(store, BOX, NOW).need is Need.NO_READING


def test_a_reading_from_before_the_sensor_came_here_does_not_count() -> None:
    """What it measured elsewhere says nothing about this box."""
    store = store_with(lambda _: (18.0, 60.0))
    (old,) = store.placements()
    store.end_placement(old.id, NOW - MS_PER_HOUR)
    other = Box("jar", "Jar", BoxType.JAR)
    store.save_box(other)
    store.add_placement(Placement(0, "a/1", "jar", Role.INSIDE, NOW - 60_000))
    assert newest_conditions(store, other, NOW) is None
    assert box_overview(store, BOX, NOW).freshness is Freshness.NO_SENSOR


def test_the_other_quantity_is_taken_from_just_before() -> None:
    """A sensor that sends temperature and humidity apart still has both."""
    store = store_with(lambda _: (18.0, 25.0), until_ms=NOW - MS_PER_HOUR)
    store.add([Reading("a/1", NOW - 90_000, 17.0, None)], NOW)
    store.add([Reading("a/1", NOW - 60_000, None, 26.0)], NOW)
    found = newest_conditions(store, BOX, NOW)
    assert found is not None
    assert (found.time_ms, found.temp_c, found.erh_pct) == (NOW - 60_000, 17.0, 26.0)


def test_the_week_is_the_quantiles_of_its_hours() -> None:
    """Humidity that rises evenly from 20 to 30 % over the week has its quantiles on that line."""
    store = store_with(lambda ago: (18.0, 30.0 - min(ago, 7.0) / 7 * 10))
    week = box_overview(store, BOX, NOW).week
    assert week is not None
    assert week.hours == 168
    got = (week.p5, week.p25, week.p50, week.p75, week.p95)
    assert got == pytest.approx((20.5, 22.5, 25.0, 27.5, 29.5), abs=0.1)


def test_a_box_is_damp_only_after_six_hours() -> None:
    """An open lid raises humidity for a while; that asks for nobody."""

    def risen(hours: float) -> Fill:
        return lambda ago: (18.0, 50.0 if ago * 24 < hours else 30.0)

    assert box_overview(store_with(risen(3)), BOX, NOW).need is None
    assert box_overview(store_with(risen(8)), BOX, NOW).need is Need.DAMP


def test_a_box_that_has_dried_again_is_not_damp() -> None:
    """The newest value counts too."""
    store = store_with(lambda ago: (18.0, 30.0 if ago < 0.03 else 50.0))
    assert box_overview(store, BOX, NOW).need is None


def test_hours_that_are_too_wet_are_counted_over_a_day() -> None:
    """Five of the last 24 hours above 85 % are five wet hours, and press most."""
    store = store_with(lambda ago: (18.0, 88.0 if 6 <= ago * 24 <= 11 else 30.0))
    found = box_overview(store, BOX, NOW)
    assert found.wet_hours == 5
    assert found.need is Need.WET


def test_lots_are_those_that_are_here_now() -> None:
    """One that left is not counted."""
    store = store_with(lambda _: (18.0, 25.0))
    for code in ("L-1", "L-2"):
        store.save_lot(Lot(code, "onion"))
        store.add_stay(Stay(0, code, BOX.slug, Wrap.PAPER, NOW - 5 * MS_PER_DAY))
    store.end_stay(store.stays(lot="L-2")[0].id, NOW - MS_PER_DAY)
    assert box_overview(store, BOX, NOW).lots == 1


@pytest.mark.parametrize(
    ("erh", "oily", "starchy"), [(20.0, 4.30, 6.84), (30.0, 5.38, 8.50), (60.0, 8.35, 12.95)]
)
def test_moisture_settles_at_the_isotherm(erh: float, oily: float, starchy: float) -> None:
    """After a month at rest it is the general isotherm's, oil .40 and .02 at 20 °C.

    Expected values: computed from the isotherm of Cromarty, Ellis & Roberts 1982 apart from this
    code, % wet basis, to two decimals.
    """
    found = box_overview(store_with(lambda _: (20.0, erh), days=30), BOX, NOW).moisture
    assert found is not None
    assert found.oily_pct == pytest.approx(oily, abs=0.005)
    assert found.starchy_pct == pytest.approx(starchy, abs=0.005)


def test_moisture_follows_slowly() -> None:
    """A day after a jump from 20 to 60 % seed in paper has gone about a fifth of the way.

    With a time constant of four days at 20 °C: 1 - exp(-1/4) = 0.22 of the way in dry-basis
    moisture, from 7.34 to 14.88 % (6.84 and 12.95 % wet basis): 9.01 %, or 8.26 % wet basis.
    """
    store = store_with(lambda ago: (20.0, 60.0 if ago < 1 else 20.0), days=30)
    found = box_overview(store, BOX, NOW).moisture
    assert found is not None
    assert found.starchy_pct == pytest.approx(8.26, abs=0.1)


def test_no_moisture_is_stated_below_freezing() -> None:
    """The isotherm has no published support there."""
    store = store_with(lambda _: (-18.0, 25.0))
    assert box_overview(store, BOX, NOW).moisture is None
    history = box_history(store, BOX, NOW - MS_PER_DAY, NOW)
    assert np.isnan(history.mc_oily_pct).all()
    assert not np.isnan(history.erh_mid).any()


def test_tiers_follow_the_span() -> None:
    """A week is raw, a year is hours, ten years are days; on few pixels a year is days, too."""
    tiers = [tier_for(days * MS_PER_DAY) for days in (1, 7, 30, 366, 3650)]
    assert tiers == [Tier.RAW, Tier.RAW, Tier.HOUR, Tier.HOUR, Tier.DAY]
    drawn_small = [tier_for(days * MS_PER_DAY, 480) for days in (1, 30, 240, 241, 366)]
    assert drawn_small == [Tier.RAW, Tier.HOUR, Tier.HOUR, Tier.DAY, Tier.DAY]
    assert tier_for(401 * MS_PER_DAY, 4000) is Tier.DAY


@pytest.mark.parametrize(("days", "tier", "rows"), [(5, Tier.RAW, 240), (30, Tier.HOUR, 480)])
def test_a_history_has_what_the_tier_has(days: int, tier: Tier, rows: int) -> None:
    """Twenty days of half-hourly readings, read as they are or by the hour."""
    store = store_with(lambda ago: (18.0, 25.0 + ago), days=20)
    found = box_history(store, BOX, NOW - days * MS_PER_DAY, NOW)
    assert (found.tier, len(found)) == (tier, rows)
    assert (np.diff(found.time_ms) > 0).all()
    assert (found.erh_lo <= found.erh_mid).all()
    assert not np.isnan(found.mc_starchy_pct).any()


def test_a_history_joins_the_sensors_that_stood_in_a_box() -> None:
    """Each counts over its own time, at every tier."""
    store = store_with(lambda _: (18.0, 20.0), days=20, until_ms=NOW)
    (first,) = store.placements()
    change_ms = NOW - 3 * MS_PER_DAY
    store.end_placement(first.id, change_ms)
    store.save_sensor(Sensor("a/2", change_ms))
    store.add_placement(Placement(0, "a/2", BOX.slug, Role.INSIDE, change_ms))
    store.add([Reading("a/2", t, 18.0, 40.0) for t in range(change_ms, NOW, MS_PER_HOUR)], NOW)
    store.refresh_tiers({"a/2": change_ms})
    for days in (7, 20, 500):
        found = box_history(store, BOX, NOW - days * MS_PER_DAY, NOW)
        before = found.time_ms < change_ms
        assert set(found.erh_mid[before]) == {20.0}
        assert set(found.erh_mid[~before]) == {40.0}
    assert box_extent(store, BOX, NOW) == (NOW - 20 * MS_PER_DAY, NOW - MS_PER_HOUR)


def test_a_box_without_readings_has_an_empty_history_and_no_extent() -> None:
    """Nothing is invented."""
    store = MemoryStore()
    store.save_box(BOX)
    assert box_extent(store, BOX, NOW) is None
    for days in (1, 30, 1000):
        assert len(box_history(store, BOX, NOW - days * MS_PER_DAY, NOW)) == 0
