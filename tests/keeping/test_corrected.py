"""Corrections on the way from readings to the ledger and the pages."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import psychrolib
import pytest

import hilum
from hilum.domain.corrections import Correction
from hilum.domain.model import Box, HourTier, Lot, Placement, Reading, Role, Sensor, Stay, Wrap
from hilum.domain.ports import Store
from hilum.keeping.desiccant.boxdays import hour_series
from hilum.keeping.overview import Tier, box_history, box_overview, newest_conditions
from hilum.keeping.reckoning import corrected
from hilum.keeping.reckoning.conditions import box_conditions
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.keeping.seasons.review import review_box
from hilum.keeping.watching.frost import shut_advice
from hilum.stores.memory import MemoryStore
from keeping.worlds import (
    DAY_MS,
    HOUR_MS,
    SENSOR,
    STORES,
    T0,
    Conditions,
    add_box,
    add_readings,
    bits,
    history,
    row_bits,
)

READINGS = history(3, 1200, 900.0)
MIDDLE, LATER = READINGS[497][0] + 1, READINGS[800][0]  # after one reading, and at one
FIRST = Correction(0, SENSOR, MIDDLE, -0.4, 1.08, -3.0)
SECOND = Correction(0, SENSOR, LATER, 0.2, 0.95, 2.5)
END = 2**53


@pytest.fixture(params=STORES)
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """Each store in turn, with readings of a box and two lots in it."""
    made = STORES[request.param](tmp_path)
    yield furnished(made, READINGS)
    made.close()


def furnished(store: Store, readings: list[Conditions]) -> Store:
    """One box with its readings, lots in paper and foil, and a ledger that is up to date."""
    add_box(store)
    for code, wrap in (("L1", Wrap.PAPER), ("L2", Wrap.FOIL)):
        store.save_lot(Lot(code, "onion"))
        store.add_stay(Stay(0, code, "tub", wrap, T0 + DAY_MS))
    add_readings(store, readings)
    keep_up(store)
    return store


def keep_up(store: Store) -> None:
    """What the service does after a change."""
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()


def by_hand(readings: list[Conditions]) -> list[Conditions]:
    """Readings corrected beforehand, by the two corrections written out."""
    done = []
    for time_ms, temp_c, rh_pct in readings:
        if time_ms >= LATER:
            done.append((time_ms, temp_c + 0.2, min(max(0.95 * rh_pct + 2.5, 0.0), 100.0)))
        elif time_ms >= MIDDLE:
            done.append((time_ms, temp_c - 0.4, min(max(1.08 * rh_pct - 3.0, 0.0), 100.0)))
        else:
            done.append((time_ms, temp_c, rh_pct))
    return done


def test_ledger_follows_a_correction_dated_in_the_middle(store: Store) -> None:
    """From its date on the ledger is that of readings corrected beforehand; before, untouched."""
    was = {key: store.rows(key) for key in store.curves()}
    for correction in (SECOND, FIRST):
        store.add_correction(correction)
        keep_up(store)
    told = furnished(MemoryStore(), by_hand(READINGS))
    assert set(store.curves()) == set(told.curves()) == set(was)
    hour = MIDDLE // HOUR_MS
    for key, old in was.items():
        new, other = store.rows(key), told.rows(key)
        assert row_bits(store.rows(key, 0, hour)) == row_bits(told.rows(key, 0, hour))
        assert (
            new.loss_probit[old.hour < hour].tolist() == old.loss_probit[old.hour < hour].tolist()
        )
        for name in ("temp_c", "rh_pct", "mc_dry_pct", "loss_probit", "wet_s", "covered_s"):
            np.testing.assert_allclose(getattr(new, name), getattr(other, name), 1e-12, 1e-12)
        assert abs(new.temp_c[-1] - old.temp_c[-1]) > 0.1
    kept_up = bits(store)
    LedgerKeeper(store).rebuild()
    assert bits(store) == kept_up


def test_removing_corrections_restores_the_same_bits(store: Store) -> None:
    """Raw readings were kept: without the corrections all is as it was before them."""
    was = bits(store)
    numbers = [store.add_correction(each).id for each in (FIRST, SECOND)]
    keep_up(store)
    assert bits(store) != was
    for number in numbers:
        store.remove_correction(number)
        keep_up(store)
    assert bits(store) == was


def test_half_readings_are_corrected_by_their_own_time(store: Store) -> None:
    """A value from before the date completes a reading after it, and stays uncorrected."""
    store.add_correction(replace(FIRST, from_ms=T0 + 60 * DAY_MS))
    for ago_ms, values in ((60_000, {"temp_c": 20.0}), (-60_000, {"rh_pct": 50.0})):
        store.add([Reading(SENSOR, T0 + 60 * DAY_MS - ago_ms, **values)], T0)
    found = box_conditions(store, store.placements(box="tub"), T0 + 60 * DAY_MS, END)
    assert found.temp_c.tolist() == [20.0]
    assert found.rh_pct.tolist() == pytest.approx([1.08 * 50.0 - 3.0], abs=1e-12)


@pytest.mark.parametrize("by_day", [False, True])
def test_summaries_are_those_of_corrected_readings(store: Store, by_day: bool) -> None:
    """Lowest, mean and highest are those of readings corrected beforehand, on every date.

    Humidity kept away from the ends of the scale, where single values are held.
    """
    period_ms = DAY_MS if by_day else HOUR_MS
    for border in (MIDDLE, LATER):  # the correction begins among readings of one period
        sides = {t >= border for t, _, _ in READINGS if t // period_ms == border // period_ms}
        assert sides == {False, True}
    readings = [(t + DAY_MS * 100, c, 20.0 + 0.6 * rh) for t, c, rh in READINGS]
    add_readings(store, readings)
    for each in (FIRST, SECOND):
        store.add_correction(replace(each, from_ms=each.from_ms + DAY_MS * 100))
    keep_up(store)
    told = furnished(
        MemoryStore(),
        [
            (t + DAY_MS * 100, c, rh)
            for t, c, rh in by_hand([(t - DAY_MS * 100, c, rh) for t, c, rh in readings])
        ],
    )
    start = (T0 // DAY_MS + 100) * DAY_MS
    ask = corrected.days if by_day else corrected.hours
    tier = ask(store, SENSOR, start, END)
    expected = (told.days if by_day else told.hours)(SENSOR, start, END)
    assert len(tier) == len(expected) > (5 if by_day else 100)
    for name in HourTier.__dataclass_fields__:
        np.testing.assert_allclose(getattr(tier, name), getattr(expected, name), 1e-12, 1e-12)


def test_humidity_is_held_within_its_scale(store: Store) -> None:
    """No corrected reading or summary leaves 0 to 100 %, and the raw ones stay as they were."""
    store.add_correction(Correction(0, SENSOR, 0, rh_gain=1.4, rh_offset_pct=-20.0))
    raw = store.series(SENSOR, 0, END).rh_pct
    found = corrected.series(store, SENSOR, 0, END).rh_pct
    assert (found.min(), found.max()) == (0.0, 100.0)
    assert raw.tolist() == [rh for _, _, rh in READINGS]
    tier = corrected.hours(store, SENSOR, 0, END)
    assert (tier.rh_min.min(), tier.rh_max.max()) == (0.0, 100.0)


def test_everything_shown_of_a_box_is_corrected(store: Store) -> None:
    """Newest values, histories of all tiers, hours for the desiccant and the review agree."""
    told = furnished(MemoryStore(), [(t, c + 0.5, 0.9 * rh + 4.0) for t, c, rh in READINGS])
    store.add_correction(Correction(0, SENSOR, 0, 0.5, 0.9, 4.0))
    keep_up(store)
    box, now_ms = store.box("tub"), READINGS[-1][0]
    assert newest_conditions(store, box, now_ms) == newest_conditions(told, box, now_ms)
    ours, theirs = (box_overview(each, box, now_ms) for each in (store, told))
    assert ours.week is not None
    assert theirs.week is not None
    assert ours.week.p50 == pytest.approx(theirs.week.p50, abs=1e-9)
    for days, tier in ((6, Tier.RAW), (30, Tier.HOUR), (500, Tier.DAY)):
        ours_drawn, drawn = (
            box_history(each, box, now_ms - days * DAY_MS, now_ms) for each in (store, told)
        )
        assert ours_drawn.tier is tier
        for name in ("temp_lo", "temp_mid", "erh_mid", "erh_hi", "mc_oily_pct"):
            np.testing.assert_allclose(getattr(ours_drawn, name), getattr(drawn, name), 1e-9)
    for column in ("temp_c", "rh_pct"):
        hours, expected = (
            hour_series(each, each.placements(box="tub"), Role.INSIDE, 0, END)
            for each in (store, told)
        )
        np.testing.assert_allclose(getattr(hours, column), getattr(expected, column), 1e-9)
    reviews = [review_box(each, "tub", T0, now_ms) for each in (store, told)]
    assert reviews[0].erh_median_pct == pytest.approx(reviews[1].erh_median_pct, abs=1e-9)


def test_air_of_the_room_is_corrected(store: Store) -> None:
    """The dew point a cold box waits for is that of the corrected sensor outside (psychrolib)."""
    box, now_ms = Box("jar", "Jar", store.box("tub").type), LATER + 40 * DAY_MS
    store.save_box(box)
    for name, role, reading in (
        ("lane/in", Role.INSIDE, (4.0, 30.0)),
        ("lane/out", Role.OUTSIDE, (20.0, 60.0)),
    ):
        store.save_sensor(Sensor(name, 0))
        store.add_placement(Placement(0, name, "jar", role, 0))
        store.add([Reading(name, now_ms, *reading)], now_ms)
    was = shut_advice(store, box, now_ms)
    store.add_correction(Correction(0, "lane/out", 0, rh_offset_pct=-10.0))
    now = shut_advice(store, box, now_ms)
    assert was is not None
    assert now is not None
    psychrolib.SetUnitSystem(psychrolib.SI)
    expected = [psychrolib.GetTDewPointFromRelHum(20.0, rh) for rh in (0.6, 0.5)]
    assert [was.dew_point_c, now.dew_point_c] == pytest.approx(expected, abs=0.02)


RAW = {
    "keeping/reckoning/corrected.py": "corrects",
    "keeping/reckoning/keeper.py": "the time of the newest reading",
    "keeping/watching/asitwas.py": "a store itself: passes on what was there at a moment",
    "keeping/watching/pace.py": "times",
    "keeping/watching/sensorsigns.py": "health of the sensor itself, battery",
    "bootstrap/checks.py": "times",
    "cli/keep.py": "says what the sensor itself sent beside the corrected value",
    "web/pages.py": "says the same on the page of sensors",
    "web/deeds/correctiondeeds.py": "what a sensor itself says over salts",
}
"""Files that may ask the store for raw readings, with what they want of them."""


def test_nobody_else_asks_for_raw_readings() -> None:
    """All that is shown or computed asks for corrected readings; who does not is named above."""
    root = Path(hilum.__file__).parent
    asks = re.compile(r"(?<!corrected)\.(series|hours|days|newest|before)\((?!\))")
    found = {
        path.relative_to(root).as_posix()
        for part in ("keeping", "web", "notify", "bootstrap", "cli")
        for path in (root / part).rglob("*.py")
        if asks.search(path.read_text(encoding="utf-8"))
    }
    assert found <= set(RAW)
    assert "keeping/reckoning/corrected.py" in found
