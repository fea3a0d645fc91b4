"""Desiccants of which only printed points are known."""

import numpy as np
import pytest

from hilum.science.desiccant import FRESH_LOAD_PCT, gel_load_pct, gel_rh_pct
from hilum.science.errors import OutOfRangeError

# "Typical manufacturer isotherm", g per 100 g at 25 °C, recalled (medium; clay low).
PRINTED = {
    "gel-typical": {10: 7, 20: 12, 30: 17.5, 40: 22.5, 50: 27, 60: 31, 70: 33.5, 80: 35, 90: 36.5},
    "zeolite-4a": {5: 15, 10: 18, 20: 19.5, 30: 20, 40: 20.5, 50: 21, 60: 21.5, 80: 22.5, 90: 23},
    "clay": {10: 6, 20: 10.5, 30: 14.5, 40: 18.5, 50: 21, 60: 23.5, 70: 26, 80: 29, 90: 33},
}


@pytest.mark.parametrize("key", PRINTED)
def test_printed_points_come_back(key: str) -> None:
    """Each printed point is met, at any temperature, and its load leads back to its humidity."""
    for rh_pct, load in PRINTED[key].items():
        assert gel_load_pct(key, float(rh_pct), 25.0) == pytest.approx(load)
        assert gel_load_pct(key, float(rh_pct), 5.0) == pytest.approx(load)
        assert gel_rh_pct(key, float(load), 35.0) == pytest.approx(rh_pct)


@pytest.mark.parametrize("key", PRINTED)
def test_between_and_beyond_the_points_lines_are_straight(key: str) -> None:
    """From dry to the first point, half-way between points, and on from the last as before it."""
    points = sorted(PRINTED[key].items())
    (first_rh, first), (before_rh, before), (last_rh, last) = points[0], points[-2], points[-1]
    assert gel_load_pct(key, 0.0, 20.0) == 0.0
    assert gel_load_pct(key, first_rh / 2.0, 20.0) == pytest.approx(first / 2.0)
    middle = gel_load_pct(key, (before_rh + last_rh) / 2.0, 20.0)
    assert middle == pytest.approx((before + last) / 2.0)
    beyond = last + 5.0 * (last - before) / (last_rh - before_rh)
    assert gel_load_pct(key, last_rh + 5.0, 20.0) == pytest.approx(beyond)
    assert gel_rh_pct(key, beyond, 20.0) == pytest.approx(last_rh + 5.0)


def test_many_humidities_and_temperatures_at_once() -> None:
    """A desiccant of points takes arrays as the fits do, of temperature too."""
    loads = gel_load_pct("clay", 20.0, np.array([5.0, 15.0]))
    assert loads.tolist() == [10.5, 10.5]


def test_more_than_it_can_hold_is_refused() -> None:
    """More than at 99.9 % humidity, at the warmest of the temperatures, is no load."""
    most = gel_load_pct("silica-gel", 99.9, np.array([5.0, 35.0]))
    with pytest.raises(OutOfRangeError):
        gel_rh_pct("silica-gel", 1.01 * float(most.min()), np.array([5.0, 35.0]))
    assert gel_rh_pct("silica-gel", float(most.min()), 35.0) == pytest.approx(99.9)


def test_fresh_gel_is_counted_with_two_grams_of_water() -> None:
    """Residual moisture up to 3 % (a maker's figure, read): 2 % of the dry weight is taken."""
    assert FRESH_LOAD_PCT.value == 2.0
    assert FRESH_LOAD_PCT.status == "derived"
