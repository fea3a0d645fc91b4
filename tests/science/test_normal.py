"""Probits against scipy, a printed table and each other."""

from collections.abc import Callable

import numpy as np
import pytest
import scipy.special
from hypothesis import given
from hypothesis import strategies as st

from hilum.science.normal import ned, viability_fraction

Published = Callable[[str], list[dict[str, str]]]


def test_probits_equal_the_printed_table(published: Published) -> None:
    """Viability and probit agree with the standard normal table, both ways."""
    for row in published("probits"):
        share, probit = float(row["viability_pct"]) / 100, float(row["ned"])
        assert ned(share) == pytest.approx(probit, abs=6e-4)
        assert viability_fraction(probit) == pytest.approx(share, abs=2e-4)


def test_distribution_equals_scipy() -> None:
    """The share agrees with scipy's ndtr to 1e-12 of itself down to 1e-300, to 2e-14 within ±8."""
    for width, tolerance in ((37.0, 1e-12), (8.0, 2e-14)):
        probits = np.linspace(-width, width, 100_001)
        np.testing.assert_allclose(
            viability_fraction(probits), scipy.special.ndtr(probits), rtol=tolerance, atol=0.0
        )


def test_inverse_equals_scipy() -> None:
    """The probit agrees with scipy's ndtri to 1e-13, from 1e-300 to 1 - 1e-15."""
    shares = np.concatenate(
        [np.logspace(-300, -1, 5001), np.linspace(0.01, 0.99, 5000), 1 - np.logspace(-15, -1, 500)]
    )
    np.testing.assert_allclose(ned(shares), scipy.special.ndtri(shares), rtol=1e-13, atol=1e-15)


@given(st.floats(-8.0, 5.0))
def test_there_and_back(probit: float) -> None:
    """A probit leads back to itself as closely as the share can hold it."""
    share = viability_fraction(probit)
    slope = np.exp(-probit * probit / 2) / np.sqrt(2 * np.pi)
    assert ned(share) == pytest.approx(probit, abs=1e-12 + 3e-16 * share / slope, rel=1e-12)


@given(st.floats(-40.0, 40.0), st.floats(-40.0, 40.0))
def test_more_probits_are_never_less_seed(one: float, other: float) -> None:
    """The share rises with the probit and stays between 0 and 1."""
    low, high = sorted((one, other))
    assert 0.0 <= viability_fraction(low) <= viability_fraction(high) <= 1.0


def test_the_ends_are_infinite() -> None:
    """All or none alive is infinitely many probits, both ways."""
    np.testing.assert_array_equal(ned(np.array([0.0, 0.5, 1.0])), [-np.inf, 0.0, np.inf])
    np.testing.assert_array_equal(viability_fraction(np.array([-np.inf, np.inf])), [0.0, 1.0])
