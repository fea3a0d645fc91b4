"""Counts of one lot that contradict each other, against scipy's tests."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from hilum.science.germination import Count, Evidence
from hilum.science.posterior import posterior
from hilum.science.retests import CHANCE, Reconciled, is_far_lower, outdone, reconciled


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


@pytest.mark.parametrize(("up", "sown"), [(30, 50), (5, 50), (12, 20), (60, 100)])
def test_a_far_lower_test_leaves_one_count_of_few_seeds(up: int, sown: int) -> None:
    """Midway of expected and found; the seeds of the test by chi-squared (scipy)."""
    before = [Count(360, 400, 0.1), Count(9, 10, 0.15)]
    belief = posterior(Evidence(tuple(before), 4.0))
    alive = float(belief.viability(0.2).median_pct) / 100.0
    even = np.array([[alive * sown, (1.0 - alive) * sown], [up, sown - up]])
    factor = stats.chi2_contingency(even, correction=False).statistic
    both = reconciled([*before, Count(up, sown, 0.2)], 4.0)
    (found,) = both.counts
    assert found.sown == pytest.approx(sown / factor)
    assert found.germinated == pytest.approx(0.5 * (alive * sown + up) / factor)
    assert (found.loss_probit, both.since_probit, both.contradicted) == (0.0, 0.2, True)


@pytest.mark.parametrize(
    "counts",
    [
        [(360, 400), (43, 50)],  # 86 %: chance
        [(360, 400), (50, 50)],
        [(3.6, 4), (0, 50)],  # four seeds contradict nothing
        [(20, 24), (5, 50)],
        [(0, 0.5), (0, 50)],
        [(45, 50)],
        [],
    ],
)
def test_counts_that_agree_keep_their_weight(counts: list[tuple[float, float]]) -> None:
    """Nothing is taken where chance explains the difference, or little was known before."""
    given_counts = [Count(*each) for each in counts]
    assert reconciled(given_counts, 4.0) == Reconciled(tuple(given_counts))


def test_half_as_many_seeds_can_contradict() -> None:
    """27 of 30, then ten of forty: no chance, and neither is believed."""
    assert reconciled([Count(27, 30), Count(10, 40)], 4.0).contradicted


def test_storage_may_explain_a_low_test() -> None:
    """30 of 50 after a loss of one probit from 90 % is what the equation says: 61 % (ned 0.28)."""
    label, test = Count(360, 400), Count(30, 50, 1.0)
    assert not is_far_lower([label], test, 4.0)
    assert is_far_lower([label], Count(30, 50, 0.0), 4.0)
    assert reconciled([label, test], 4.0).counts == (label, test)


@pytest.mark.parametrize("truth_pct", [60, 90])
def test_the_range_holds_the_truth_whichever_count_was_wrong(truth_pct: int) -> None:
    """A packet of 90 %, then a test at 60 %: it faded, or the test went wrong; the bands hold both.

    Simulated: 200 labels of 400 seeds and tests of 50, seed 5.
    """
    rng = np.random.default_rng(5)
    held = 0
    for label, test in zip(rng.binomial(400, 0.9, 200), rng.binomial(50, 0.6, 200), strict=True):
        counts = reconciled([Count(int(label), 400), Count(int(test), 50)], 4.0)
        band = posterior(Evidence(counts.counts, 4.0)).shown(0.0)
        held += float(band.low_pct) <= truth_pct <= float(band.high_pct)
    assert held >= 180


def test_a_third_test_settles_it() -> None:
    """30 of 50 and then 31 of 50: the range narrows again about 61 %."""
    found = reconciled([Count(360, 400), Count(30, 50, 0.1), Count(31, 50, 0.15)], 4.0)
    assert (found.since_probit, found.contradicted) == (0.1, False)
    assert found.counts[1].loss_probit == pytest.approx(0.05)
    band = posterior(Evidence(found.counts, 4.0)).shown(0.05)
    assert 55.0 < float(band.median_pct) < 68.0
    assert float(band.high_pct) - float(band.low_pct) < 25.0
