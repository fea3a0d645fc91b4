"""The lag of seed against a general solver of differential equations and its own algebra."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from hilum.science import tables
from hilum.science.errors import OutOfRangeError, UnknownNameError
from hilum.science.lag import lag_series, relax, relax_ramp, tau_days

Floats = npt.NDArray[np.float64]
VALUES = st.floats(-50.0, 50.0)
STEPS = st.floats(0.0, 400.0)
TAUS = st.floats(0.01, 1e4)


def solved(times: Floats, target: Floats, start: float, tau: float) -> float:
    """Value at the end of one straight piece of target, by scipy's general solver."""

    def slope(time: float, value: Floats) -> Floats:
        return (np.interp(time, times, target) - value) / tau

    span = float(times[0]), float(times[1])
    path = solve_ivp(slope, span, np.array([start]), rtol=1e-10, atol=1e-12, method="LSODA")
    return float(path.y[0, -1])


@pytest.mark.parametrize("seed", range(8))
def test_random_histories_equal_a_general_solver(seed: int) -> None:
    """Irregular steps under a broken-line target equal scipy's solve_ivp to 1e-7."""
    draw = np.random.default_rng(seed)
    tau = float(10 ** draw.uniform(-1, 2))
    times = np.concatenate([[0.0], np.cumsum(10 ** draw.uniform(-3, 1, 30))])
    target = draw.uniform(2.0, 20.0, 31)
    ours = lag_series(times, target, 8.0, tau)
    value = 8.0
    for i in range(30):
        value = solved(times[i : i + 2], target[i : i + 2], value, tau)
        assert ours[i + 1] == pytest.approx(value, abs=1e-7)


def test_a_standing_target_equals_a_general_solver() -> None:
    """One step to a standing target equals scipy's solve_ivp."""
    theirs = solved(np.array([0.0, 7.0]), np.array([12.0, 12.0]), 6.0, 4.0)
    assert relax(6.0, 12.0, 7.0, 4.0) == pytest.approx(theirs, abs=1e-8)


@given(st.tuples(VALUES, VALUES, VALUES), STEPS, TAUS, st.floats(0.0, 1.0))
def test_splitting_a_step_changes_nothing(
    values: tuple[float, float, float], step: float, tau: float, cut: float
) -> None:
    """Two pieces of a ramp lead to the same value as the whole."""
    start, first, last = values
    middle = first + (last - first) * cut
    halfway = relax_ramp(start, first, middle, step * cut, tau)
    whole = relax_ramp(start, first, last, step, tau)
    assert relax_ramp(halfway, middle, last, step * (1 - cut), tau) == pytest.approx(
        whole, abs=1e-9
    )


@given(VALUES, VALUES, STEPS, TAUS)
def test_seed_stays_between_start_and_target(
    start: float, target: float, step: float, tau: float
) -> None:
    """A value never passes its target, and a flat ramp is a standing target."""
    value = relax(start, target, step, tau)
    assert min(start, target) - 1e-12 <= value <= max(start, target) + 1e-12
    assert relax_ramp(start, target, target, step, tau) == pytest.approx(value, abs=1e-12)


@given(VALUES, VALUES, VALUES, STEPS)
def test_sealed_seed_keeps_its_moisture(
    start: float, first: float, last: float, step: float
) -> None:
    """With an infinite time constant, or in no time, the start comes back to the last bit."""
    assert relax(start, last, step, float("inf")) == start
    assert relax_ramp(start, first, last, step, float("inf")) == start
    assert relax(start, last, 0.0, 3.0) == start
    assert relax_ramp(start, first, last, 0.0, 3.0) == start


def test_arrays_go_through_the_steps() -> None:
    """Arrays of starts, targets, steps or time constants give arrays of the single answers."""
    start = np.array([1.0, 5.0, 9.0])
    np.testing.assert_array_equal(
        relax(start, 4.0, 2.0, 3.0), [relax(float(each), 4.0, 2.0, 3.0) for each in start]
    )
    np.testing.assert_array_equal(
        relax(4.0, start, 2.0, 3.0), [relax(4.0, float(each), 2.0, 3.0) for each in start]
    )
    np.testing.assert_array_equal(
        relax(4.0, 2.0, start, 3.0), [relax(4.0, 2.0, float(each), 3.0) for each in start]
    )
    ramp = relax_ramp(start, 2.0, 8.0, np.array([0.0, 1.0, 2.0]), np.array([1.0, 2.0, np.inf]))
    assert ramp[1] == relax_ramp(5.0, 2.0, 8.0, 1.0, 2.0)
    assert ramp[2] == 9.0


def test_time_constants_may_change_from_step_to_step() -> None:
    """A series with one time constant a step is the chain of its steps; none or one point stand."""
    times, target = np.array([0.0, 1.0, 3.0]), np.array([10.0, 12.0, 8.0])
    after_one = relax_ramp(5.0, 10.0, 12.0, 1.0, 2.0)
    after_two = relax_ramp(after_one, 12.0, 8.0, 2.0, 7.0)
    np.testing.assert_array_equal(
        lag_series(times, target, 5.0, np.array([2.0, 7.0])), [5.0, after_one, after_two]
    )
    assert lag_series(times[:1], target[:1], 5.0, 2.0).tolist() == [5.0]
    assert lag_series(times[:0], target[:0], 5.0, 2.0).tolist() == []


def test_time_constants_lie_in_the_remembered_ranges() -> None:
    """Thin layers take 0.5 to 2 d (small) or 3 to 7 d (large), packets 3 to 10 times that."""
    assert 0.5 <= tau_days("open", "small", 20.0) <= 2.0
    assert 3.0 <= tau_days("open", "large", 20.0) <= 7.0
    for size in ("small", "large"):
        assert 3.0 <= tau_days("paper", size, 20.0) / tau_days("open", size, 20.0) <= 10.0
        assert 60.0 <= tau_days("poly", size, 20.0) <= 365.0
        assert tau_days("foil", size, -18.0) == tau_days("jar", size, 20.0) == float("inf")


def test_cold_slows_the_exchange() -> None:
    """Every 10 °C below 20 °C double the time constant; warmth does not shorten it."""
    at = tau_days("paper", "large", np.array([40.0, 20.0, 10.0, 0.0, -20.0]))
    np.testing.assert_allclose(at / at[1], [1.0, 1.0, 2.0, 4.0, 16.0], rtol=1e-12)


def test_unknown_wraps_and_temperatures_are_refused() -> None:
    """A wrap, size or temperature outside the table is named."""
    with pytest.raises(UnknownNameError, match="hessian"):
        tau_days("hessian", "small", 20.0)
    with pytest.raises(UnknownNameError, match="huge"):
        tau_days("paper", "huge", 20.0)
    with pytest.raises(OutOfRangeError, match="temperature"):
        tau_days("paper", "small", 101.0)


def test_every_wrap_says_where_it_comes_from() -> None:
    """Each row of the table carries its source and is marked as derived."""
    for row in tables.rows("wraps"):
        assert row["source"]
        assert row["status"] == "derived"
