"""Predicted ranges: the published arithmetic, and what a range must never do."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hilum.science.errors import NoLifeModelError, OutOfRangeError
from hilum.science.kinds import kind
from hilum.science.ranges import counting_error_points, predict_range
from hilum.science.surrogates import LEAST_COUNTING_ERROR_POINTS

SOME = st.sampled_from(["onion", "lettuce", "tomato", "pansy", "carrot", "sweet-pea", "sweet-corn"])


@pytest.mark.parametrize(
    ("key", "store", "start_pct", "days", "left_pct"),
    # Viability after p days from Ki, computed apart from the equation of Ellis & Roberts 1980 with
    # the constants of each species; store: % moisture (wet) and °C. Ki 2.0537, 1.6449 and 2.3263
    # are 98, 95 and 99 %.
    [
        ("pepper", (10, 25), 98, 180, 55.975),
        ("pepper", (7, 35), 98, 100, 89.034),
        ("cotton", (8, 15), 95, 3652.5, 87.357),
        ("wheat", (12, 20), 99, 365, 85.119),
        ("maize", (10, 20), 98, 1461, 85.901),
        ("rice", (13, 30), 98, 120, 79.680),
        ("onion", (8, 15), 98, 1461, 84.312),
        ("barley", (12, 15), 98, 730.5, 88.163),
        ("soybean", (10, 25), 95, 180, 77.213),
        ("sunflower", (6, 15), 98, 730.5, 87.243),
    ],
)
def test_median_is_the_equation(
    key: str, store: tuple[float, float], start_pct: float, days: float, left_pct: float
) -> None:
    """For a species with constants of its own the median is the published arithmetic."""
    mc_wet_pct, temp_c = store
    predicted = predict_range(
        kind(key), start_pct=start_pct, days=days, temp_c=temp_c, mc_wet_pct=mc_wet_pct
    )
    assert predicted.median_pct == pytest.approx(left_pct, abs=0.01)


def test_range_is_the_factor_on_sigma() -> None:
    """Onion, factor 4: one probit lost in sigma days is four, or a quarter, at the ends."""
    onion = kind("onion")
    sigma = predict_range(onion, start_pct=84.1345, days=1, temp_c=15, rh_pct=40).sigma_days
    after = predict_range(onion, start_pct=84.1345, days=sigma, temp_c=15, rh_pct=40)
    # Standard normal table: 0, -3 and 0.75 probits.
    assert after.median_pct == pytest.approx(50.0, abs=0.01)
    assert after.model_low_pct == pytest.approx(0.135, abs=0.001)
    assert after.model_high_pct == pytest.approx(77.337, abs=0.01)


def test_counting_error_joins_as_independent() -> None:
    """3 and 4 make 5: the shown end lies as far out as the root of both squares."""
    after = predict_range(kind("onion"), start_pct=90, days=400, temp_c=15, rh_pct=40)
    error = after.counting_error_points
    below = ((after.median_pct - after.model_low_pct) ** 2 + error**2) ** 0.5
    assert after.median_pct - after.low_pct == pytest.approx(below)


@pytest.mark.parametrize(
    ("germination_pct", "seeds", "points"),
    # Half width of the 95 % interval of a share, normal approximation, as tabled for samples.
    [(50, 100, 9.80), (90, 100, 5.88), (90, 400, 2.94), (80, 50, 11.09)],
)
def test_counting_error(germination_pct: float, seeds: float, points: float) -> None:
    """The counting error is that of a binomial share."""
    assert counting_error_points(germination_pct, seeds) == pytest.approx(points, abs=0.005)


def test_a_range_is_never_narrower_than_the_counting_error() -> None:
    """Even a day in the best box leaves 5 points each side, more after a small test."""
    lettuce = kind("lettuce")
    full = predict_range(lettuce, start_pct=80, days=1, temp_c=5, rh_pct=30)
    small = predict_range(lettuce, start_pct=80, days=1, temp_c=5, rh_pct=30, tested_seeds=50)
    assert full.counting_error_points == LEAST_COUNTING_ERROR_POINTS
    assert full.low_pct == pytest.approx(75.0, abs=0.1)
    assert small.low_pct == pytest.approx(80.0 - 11.09, abs=0.1)


@given(SOME, st.floats(1, 99), st.floats(0, 5000), st.floats(-40, 50), st.floats(0, 99.9))
def test_median_lies_in_range_and_range_in_0_to_100(
    key: str, start_pct: float, days: float, temp_c: float, rh_pct: float
) -> None:
    """Whatever is asked, 0 <= low <= model low <= median <= model high <= high <= 100."""
    after = predict_range(kind(key), start_pct=start_pct, days=days, temp_c=temp_c, rh_pct=rh_pct)
    ends = [after.model_low_pct, after.median_pct, after.model_high_pct]
    assert ends == sorted(ends)
    assert 0.0 <= after.low_pct <= max(after.model_low_pct, 0.0)
    assert min(after.model_high_pct, 100.0) <= after.high_pct <= 100.0


@given(SOME, st.floats(0, 3000), st.floats(0, 3000), st.floats(15, 80), st.floats(15, 80))
def test_longer_and_damper_is_never_better(
    key: str, days: float, more_days: float, rh_pct: float, more_rh_pct: float
) -> None:
    """More time, or more humidity above 15 %, never leaves more alive."""
    shorter, longer = sorted((days, more_days))
    drier, damper = sorted((rh_pct, more_rh_pct))
    good = predict_range(kind(key), start_pct=95, days=shorter, temp_c=18, rh_pct=drier)
    bad = predict_range(kind(key), start_pct=95, days=longer, temp_c=18, rh_pct=damper)
    assert bad.median_pct <= good.median_pct + 1e-9
    assert bad.sigma_days <= good.sigma_days * (1 + 1e-12)


def test_moisture_is_compared_at_equal_humidity() -> None:
    """Tomato at 6 % moisture is set beside lettuce at the same humidity, not moisture."""
    tomato = kind("tomato")
    sealed = predict_range(tomato, start_pct=95, days=1000, temp_c=20, mc_wet_pct=6)
    open_air = predict_range(tomato, start_pct=95, days=1000, temp_c=20, rh_pct=sealed.erh_pct)
    assert sealed.median_pct == pytest.approx(open_air.median_pct)
    assert sealed.mc_wet_pct == 6
    assert open_air.mc_wet_pct == pytest.approx(6)


def test_limits_are_flagged() -> None:
    """Too damp and very dry are said; very dry claims no more than 15 % humidity."""
    onion = kind("onion")
    damp = predict_range(onion, start_pct=95, days=10, temp_c=20, rh_pct=90)
    dry = predict_range(onion, start_pct=95, days=1000, temp_c=20, rh_pct=8)
    limit = predict_range(onion, start_pct=95, days=1000, temp_c=20, rh_pct=15.0001)
    assert (damp.wet, damp.very_dry) == (True, False)
    assert (dry.wet, dry.very_dry) == (False, True)
    assert (limit.wet, limit.very_dry) == (False, False)
    assert dry.sigma_days == pytest.approx(limit.sigma_days, rel=1e-4)


@pytest.mark.parametrize(
    "wrong",
    [
        {"start_pct": 101.0},
        {"days": -1.0},
        {"temp_c": 60.0},
        {"rh_pct": 100.0},
        {"tested_seeds": 0.0},
        {"mc_wet_pct": 70.0},
        {"start_pct": float("nan")},
    ],
)
def test_impossible_input_is_refused(wrong: dict[str, float]) -> None:
    """A figure outside its range is an error that names it."""
    asked = {"start_pct": 90.0, "days": 100.0, "temp_c": 20.0, "rh_pct": 40.0} | wrong
    with pytest.raises(OutOfRangeError):
        predict_range(kind("onion"), **asked)


def test_no_condition_and_no_model_are_refused() -> None:
    """Without humidity or moisture, or for acorns, there is no answer."""
    with pytest.raises(TypeError):
        predict_range(kind("onion"), start_pct=90, days=100, temp_c=20)
    with pytest.raises(NoLifeModelError):
        predict_range(kind("oak"), start_pct=90, days=100, temp_c=20, rh_pct=40)
