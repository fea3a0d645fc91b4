"""Seeds for plants against scipy's binomial and beta-binomial."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from hilum.science.errors import OutOfRangeError
from hilum.science.germination import Count, Evidence
from hilum.science.posterior import posterior
from hilum.science.sowing import (
    Levels,
    binomial_at_least,
    packets_to_order,
    plants_pmf,
    seeds_to_sow,
)

CHANCES = np.array([0.0, 1e-9, 0.003, 0.3, 0.5, 0.77, 0.9, 0.9999, 1.0])


def beta_levels(germinated: int, sown: int) -> Levels:
    """Germination at the start after one test: beta, cut into levels by the posterior."""
    return posterior(Evidence((Count(germinated, sown),), 4.0)).levels(0.0)


@given(st.integers(0, 3000), st.integers(0, 3000))
def test_at_least_is_scipys_survival_function(wanted: int, seeds: int) -> None:
    """P(at least so many) is scipy.stats.binom.sf of one less, for any numbers and chance."""
    expected = stats.binom.sf(wanted - 1, seeds, CHANCES)
    assert binomial_at_least(wanted, seeds, CHANCES) == pytest.approx(expected, abs=1e-10)


def test_at_least_holds_for_a_hundred_thousand_seeds() -> None:
    """Also with 100,000 seeds the chance is scipy's."""
    expected = stats.binom.sf(89_999, 100_000, [0.899, 0.9, 0.901])
    found = binomial_at_least(90_000, 100_000, [0.899, 0.9, 0.901])
    assert found == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("germinated", "sown", "wanted"), [(360, 400, 50), (8, 10, 12), (10, 10, 200), (30, 50, 3)]
)
def test_seeds_to_sow_are_the_beta_binomials(germinated: int, sown: int, wanted: int) -> None:
    """The fewest seeds whose scipy.stats.betabinom reaches the plants nine times in ten, ±1 in 100.

    The levels cut the beta distribution, so the number may differ by one seed in a hundred.
    """
    expected = next(
        n
        for n in range(wanted, 5000)
        if stats.betabinom(n, germinated + 1, sown - germinated + 1).sf(wanted - 1) >= 0.9
    )
    found = int(seeds_to_sow(beta_levels(germinated, sown), wanted))
    assert found == pytest.approx(expected, rel=0.01, abs=0.5)


@given(st.floats(0.05, 1.0), st.integers(1, 300), st.floats(0, 60), st.floats(0.5, 0.99))
def test_seeds_to_sow_are_the_fewest(
    share: float, wanted: int, loss_pct: float, probability: float
) -> None:
    """With germination known, scipy's binomial is content with N seeds and not with N - 1."""
    seeds = int(seeds_to_sow(Levels.exactly(100 * share), wanted, loss_pct, probability))
    chance = share * (1 - loss_pct / 100)
    assert stats.binom.sf(wanted - 1, seeds, chance) >= probability - 1e-9
    assert stats.binom.sf(wanted - 1, seeds - 1, chance) < probability + 1e-9


def test_many_lots_at_once() -> None:
    """Lots as rows get what each gets alone."""
    lots = [beta_levels(360, 400), beta_levels(3, 10), beta_levels(0, 400)]
    rows = Levels(np.stack([x.fraction for x in lots]), np.stack([x.weight for x in lots]))
    found = seeds_to_sow(rows, 20, 10.0)
    assert found.tolist() == [int(seeds_to_sow(one, 20, 10.0)) for one in lots]


def test_dead_seed_is_never_enough() -> None:
    """Where no number of seeds would do the answer is -1, and no plants need no seeds."""
    assert int(seeds_to_sow(Levels.exactly(0.0), 1)) == -1
    assert int(seeds_to_sow(Levels.exactly(0.0), 0)) == 0


def test_a_test_updates_levels_as_the_beta_does() -> None:
    """17 of 20 on top of 8 of 10: the mean of beta(8 + 1 + 17, 2 + 1 + 3)."""
    after = beta_levels(8, 10).after(17, 20)
    mean = float((after.fraction * after.weight).sum())
    assert mean == pytest.approx(stats.beta(26, 6).mean(), abs=2e-4)


def test_plants_are_the_beta_binomials_cut_at_the_wanted() -> None:
    """Chances of 0 to 29 plants are scipy's beta-binomial; the rest is "30 or more"."""
    pmf = plants_pmf(beta_levels(30, 50), 40, 30)
    expected = stats.betabinom(40, 31, 21)
    assert pmf[:30] == pytest.approx(expected.pmf(np.arange(30)), abs=1e-4)
    assert pmf[30] == pytest.approx(expected.sf(29), abs=1e-3)
    few = plants_pmf(Levels.exactly(50.0), 2, 10)
    assert few[:3].tolist() == pytest.approx([0.25, 0.5, 0.25])
    assert few.sum() == pytest.approx(1.0)


def convolved(own: npt.NDArray[np.float64], seeds: int, chance: float, wanted: int) -> float:
    """Chance of the wanted plants from own and new seed, by numpy's convolution."""
    fresh = stats.binom.pmf(np.arange(seeds + 1), seeds, chance)
    return float(np.convolve(own, fresh)[wanted:].sum())


@given(st.integers(0, 60), st.integers(1, 60), st.integers(1, 40), st.integers(20, 100))
def test_packets_are_the_fewest(own: int, wanted: int, packet: int, germination: int) -> None:
    """Own and new seed together reach nine in ten with so many packets and not with one fewer."""
    levels = beta_levels(6, 10)
    pmf = plants_pmf(levels, own, wanted)
    fresh = Levels.exactly(germination)
    packets = packets_to_order(pmf, fresh, packet)
    assert convolved(pmf, packets * packet, germination / 100, wanted) >= 0.9 - 1e-9
    if packets:
        assert convolved(pmf, (packets - 1) * packet, germination / 100, wanted) < 0.9 + 1e-9


def test_numbers_that_cannot_be_are_refused() -> None:
    """A negative number of plants, a full loss, or certainty: errors that name the quantity."""
    levels = Levels.exactly(80.0)
    with pytest.raises(OutOfRangeError, match="plants"):
        seeds_to_sow(levels, -1)
    with pytest.raises(OutOfRangeError, match="emergence"):
        seeds_to_sow(levels, 1, 100.0)
    with pytest.raises(OutOfRangeError, match="chance"):
        seeds_to_sow(levels, 1, 0.0, 1.0)
    with pytest.raises(OutOfRangeError, match="germination"):
        Levels.exactly(120.0)
    with pytest.raises(OutOfRangeError, match="packet"):
        packets_to_order(np.array([1.0, 0.0]), levels, 0)
