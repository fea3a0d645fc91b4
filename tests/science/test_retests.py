"""Counts that a later test outdoes, against scipy's exact test."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from hilum.science.germination import Count
from hilum.science.retests import CHANCE, outdone


@given(st.integers(1, 400), st.integers(1, 400), st.data())
def test_two_counts_are_told_apart_as_scipy_does(
    sown: int, sown_later: int, data: st.DataObject
) -> None:
    """The earlier count is left out where scipy.stats.fisher_exact, one-sided, is below 1 %."""
    up = data.draw(st.integers(0, sown))
    up_later = data.draw(st.integers(0, sown_later))
    table = np.array([[up, sown - up], [up_later, sown_later - up_later]])
    chance = stats.fisher_exact(table, alternative="less").pvalue
    if abs(chance - CHANCE) > 1e-9:
        found = outdone([Count(up, sown), Count(up_later, sown_later)])
        assert found == (chance < CHANCE, False)


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        ([(5, 50), (45, 50)], (True, False)),  # dormant, then awake
        ([(45, 50), (5, 50)], (False, False)),  # a loss, or a bad test: both are counted
        ([(20, 50), (30, 50)], (False, False)),  # chance: one-sided 3.6 % (fisher_exact)
        ([(0, 4), (3, 4)], (False, False)),  # four seeds prove nothing: 7 %
        ([(0, 10), (6, 10)], (True, False)),  # 0.5 %
        ([(360, 400), (100, 100)], (True, False)),  # a label of 90 %, and every seed of a hundred
        ([(8.5, 10), (100, 100)], (False, False)),  # a weak start: 9 of ten, 9 %
        ([(5, 50), (45, 50), (6, 50)], (True, False, False)),
        ([(2, 50), (5, 50), (45, 50)], (True, True, False)),
        ([(45, 50)], (False,)),
        ([], ()),
    ],
)
def test_what_is_left_out(counts: list[tuple[float, float]], expected: tuple[bool, ...]) -> None:
    """Only what a later, better count makes unlikely; figures from scipy.stats.fisher_exact."""
    assert outdone([Count(up, sown) for up, sown in counts]) == expected


def test_an_honest_lot_seldom_loses_a_test() -> None:
    """Of 2,000 pairs of equal tests of 50 seeds fewer than one in a hundred lose the first.

    The exact test is careful: its chance of error is at most 1 % (simulated, seed 3).
    """
    rng = stats.binom(50, 0.7)
    firsts, seconds = rng.rvs(2000, random_state=3), rng.rvs(2000, random_state=4)
    lost = sum(
        outdone([Count(int(a), 50), Count(int(b), 50)])[0]
        for a, b in zip(firsts, seconds, strict=True)
    )
    assert lost / 2000 < 0.01
