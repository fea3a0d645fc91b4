"""Floats and arrays: what goes in comes out, whatever the place in the array."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from hilum.science import isotherms, lag, normal, psychrometrics, seedmodel, viability
from hilum.science.errors import OutOfRangeError

ONION = seedmodel.model_for("allium-cepa/oil23.5/small")
MAIZE = seedmodel.model_for("zea-mays/d245-maize-yellow-dent/large")
ONE: list[tuple[Callable[..., Any], float, float]] = [
    (psychrometrics.saturation_pressure_water_pa, -40, 200),
    (psychrometrics.saturation_pressure_ice_pa, -100, 0),
    (isotherms.wet_from_dry_pct, 0, 2000),
    (isotherms.dry_from_wet_pct, 0, 95),
    (normal.ned, 0, 1),
    (normal.viability_fraction, -38, 38),
    (lambda temp_c: lag.tau_days("paper", "small", temp_c), -60, 100),
]
FORMS = [
    isotherms.GeneralIsotherm(0.235),
    isotherms.d245("maize yellow dent", "henderson").isotherm,
    isotherms.d245("maize yellow dent", "chung_pfost").isotherm,
    isotherms.d245("soybean", "halsey").isotherm,
    isotherms.d245("oats", "oswin").isotherm,
]
TWO: list[tuple[Callable[..., Any], tuple[float, float], tuple[float, float]]] = [
    (psychrometrics.vapour_pressure_pa, (-40, 100), (0, 100)),
    (psychrometrics.dew_point_c, (-40, 100), (0.1, 100)),
    (psychrometrics.absolute_humidity_g_m3, (-40, 100), (0, 100)),
    (psychrometrics.humidity_ratio, (-40, 60), (0, 100)),
    *((form.mc_dry_pct, (0, 99.9), (-25, 80)) for form in FORMS),
    *((form.erh_pct, (0, 2000), (-25, 80)) for form in FORMS),
    (lambda mc, t: viability.sigma_days(ONION.constants, mc, t), (1.8, 28), (-20, 90)),
]
CLAMPED: list[Callable[..., Any]] = [
    lambda mc, t: seedmodel.loss_rate_per_day(ONION, mc, t),
    lambda mc, t: seedmodel.loss_rate_per_day(MAIZE, mc, t),
    lambda rh, t: seedmodel.equilibrium_mc_dry_pct(MAIZE, rh, t),
]


@pytest.mark.parametrize(("function", "low", "high"), ONE)
def test_one_argument(function: Callable[..., Any], low: float, high: float) -> None:
    """A function of one quantity gives the same in an array, a view of it and one by one."""
    values = np.random.default_rng(1).uniform(low, high, 1003)
    values[:2] = low, high
    whole = function(values)
    assert isinstance(whole, np.ndarray)
    assert isinstance(function(float(values[0])), float)
    assert not np.any(np.isnan(whole))
    np.testing.assert_array_equal(function(values[1::7]), whole[1::7])
    np.testing.assert_array_equal([function(float(value)) for value in values], whole)
    with pytest.raises(OutOfRangeError) as caught:
        function(np.array([low, np.nan, low]))
    assert np.isnan(caught.value.value)


@pytest.mark.parametrize(
    ("function", "first", "second"),
    [*TWO, *((function, (-50.0, 150.0), (-90.0, 90.0)) for function in CLAMPED)],
)
def test_two_arguments(
    function: Callable[..., Any], first: tuple[float, float], second: tuple[float, float]
) -> None:
    """A function of two quantities does too, and takes a float beside an array."""
    draw = np.random.default_rng(2)
    a, b = draw.uniform(*first, 1003), draw.uniform(*second, 1003)
    a[:2], b[:2] = first, second[::-1]
    whole = function(a, b)
    assert isinstance(function(float(a[0]), float(b[0])), float)
    assert not np.any(np.isnan(whole))
    np.testing.assert_array_equal(function(a[1::7], b[1::7]), whole[1::7])
    each = [function(float(x), float(y)) for x, y in zip(a, b, strict=True)]
    np.testing.assert_array_equal(each, whole)
    np.testing.assert_array_equal(function(a, float(b[5])), function(a, np.full(1003, b[5])))
    np.testing.assert_array_equal(function(float(a[5]), b), function(np.full(1003, a[5]), b))


@pytest.mark.parametrize(("function", "first", "second"), TWO)
def test_nothing_outside_is_taken(
    function: Callable[..., Any], first: tuple[float, float], second: tuple[float, float]
) -> None:
    """The first value outside the range, or NaN, is named with quantity, limits and unit."""
    outside = np.array([first[0], np.nan, first[1] + 3000.0])
    with pytest.raises(OutOfRangeError) as caught:
        function(outside, second[0])
    error = caught.value
    assert np.isnan(error.value)
    assert error.low <= first[0] < first[1] <= error.high
    assert error.quantity
    assert error.unit
    with pytest.raises(OutOfRangeError):
        function(first[0], second[1] + 3000.0)


def test_a_long_series_equals_its_pieces() -> None:
    """Loss over more readings than one block equals the loss over any piece of them."""
    draw = np.random.default_rng(3)
    mc, temp = draw.uniform(1, 25, 40_001), draw.uniform(-25, 55, 40_001)
    whole = seedmodel.loss_rate_per_day(ONION, mc, temp)
    pieces = [
        seedmodel.loss_rate_per_day(ONION, mc[i : i + 997], temp[i : i + 997])
        for i in range(0, 40_001, 997)
    ]
    np.testing.assert_array_equal(whole, np.concatenate(pieces))
    row = seedmodel.loss_rate_per_day(ONION, mc.reshape(1, -1), temp.reshape(1, -1))
    np.testing.assert_array_equal(row, whole.reshape(1, -1))
