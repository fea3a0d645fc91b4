import numpy as np
import pytest

from hilum.domain.model import MS_PER_DAY
from hilum.simulate.weather import (
    FREEZER,
    ClimateSpec,
    ColdSpec,
    Drift,
    RoomSpec,
    SteadySpec,
    follow,
    share_of,
    surroundings,
)

YEAR = 365 * 144


@pytest.mark.parametrize("spec", [SteadySpec(), RoomSpec(), ColdSpec(), FREEZER])
def test_a_climate_in_pieces_is_the_climate_at_once(spec: ClimateSpec) -> None:
    """Same seed, same weather, however it is asked for; another seed is other weather."""
    whole = surroundings(spec, 0, 3).advance(1000)
    parts = surroundings(spec, 0, 3)
    first, second = parts.advance(333), parts.advance(667)
    for name in ("time_ms", "temp_c", "rh_pct"):
        joined = np.concatenate((getattr(first, name), getattr(second, name)))
        assert np.array_equal(joined, getattr(whole, name))
    other = surroundings(spec, 0, 4).advance(1000)
    assert np.array_equal(other.rh_pct, whole.rh_pct) == isinstance(spec, SteadySpec)


def test_a_room_is_warm_and_moist_in_summer() -> None:
    """July is warmer and holds more water than January; the room stays a place to live in."""
    room = surroundings(RoomSpec(), 0, 1).advance(YEAR)
    month = (room.time_ms // MS_PER_DAY) // 30
    assert room.temp_c[month == 6].mean() - room.temp_c[month == 0].mean() > 4
    assert room.rh_pct[month == 6].mean() > room.rh_pct[month == 0].mean()
    assert room.temp_c.min() > 8
    assert room.temp_c.max() < 28
    assert 45 < room.rh_pct.mean() < 65


def test_a_fridge_swings_about_its_setting_and_a_freezer_stays_frozen() -> None:
    """A fridge lies between 2 and 10 °C on all but rare occasions; a freezer below -10 °C."""
    fridge = surroundings(ColdSpec(), 0, 1).advance(30 * 144)
    assert np.mean((fridge.temp_c > 2) & (fridge.temp_c < 10)) > 0.98
    assert 0.5 < fridge.temp_c.std() < 2
    assert surroundings(FREEZER, 0, 1).advance(30 * 144).temp_c.max() < -10


def test_drift_has_the_spread_and_memory_asked_for() -> None:
    """Standard deviation as given, correlation 1/e after one time constant."""
    values = Drift(2.0, 10.0, 600, (1, 2)).advance(400_000)
    assert values.std() == pytest.approx(2.0, rel=0.05)
    assert np.corrcoef(values[:-60], values[60:])[0, 1] == pytest.approx(np.exp(-1), abs=0.05)


def test_follow_is_the_exact_lag_of_a_step() -> None:
    """After n steps towards a constant, exp(-n dt/tau) of the distance is left."""
    out = follow(np.ones(30), 0.0, share_of(600, 3600))
    assert out[-1] == pytest.approx(1 - np.exp(-30 * 600 / 3600), rel=1e-12)
