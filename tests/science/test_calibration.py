"""Whether the 90 % band holds 90 %: lots simulated from the prior, tested, and looked at later."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pytest
from scipy import stats

from hilum.science.germination import Count, Evidence
from hilum.science.posterior import posteriors

Floats = npt.NDArray[np.float64]


def simulate(rng: np.random.Generator) -> tuple[Evidence, float, float]:
    """Give evidence of one lot, a loss to look at, and the true viability there [probit]."""
    factor = float(rng.choice([4.0, 5.0, 8.0]))
    v0 = stats.norm.ppf(rng.uniform())
    k = np.exp(rng.normal() * np.log(factor) / 1.96)
    losses = np.cumsum(rng.exponential(0.5, rng.integers(0, 5)))
    tests = [(400, 0.0)] if rng.uniform() < 0.7 else []
    tests += [(int(rng.choice([10, 25, 50, 100])), float(loss)) for loss in losses]
    counts = [
        Count(int(rng.binomial(sown, stats.norm.cdf(v0 - k * loss))), sown, loss)
        for sown, loss in tests
    ]
    later = float(rng.exponential(0.5)) + (float(losses[-1]) if len(losses) else 0.0)
    return Evidence(tuple(counts), factor), later, float(v0 - k * later)


def ranks(lots: Sequence[tuple[Evidence, float, float]]) -> Floats:
    """Share of each lot's posterior below its true viability; uniform if all is right."""
    found = np.empty(len(lots))
    later = np.array([lot[1] for lot in lots])[:, None]
    truth = np.array([lot[2] for lot in lots])[:, None, None]
    for chunk in posteriors([lot[0] for lot in lots]):
        share = chunk.grid.share_below(truth[chunk.lots], later[chunk.lots])
        found[chunk.lots] = share[:, 0, 0]
    return found


def check(count: int, seed: int, low: float, high: float) -> None:
    """Check the cover of the 90 % band and the flatness of the ranks in twenty classes."""
    rng = np.random.default_rng(seed)
    rank = ranks([simulate(rng) for _ in range(count)])
    covered = float(((rank > 0.05) & (rank < 0.95)).mean())
    assert low <= covered <= high
    classes = np.histogram(rank, 20, (0.0, 1.0))[0]
    assert stats.chisquare(classes).pvalue > 0.01


def test_band_covers_what_it_claims_on_few() -> None:
    """200 lots (seed 20): the band covers 85 to 95 %, and the ranks are flat (chi-square)."""
    check(200, 20, 0.85, 0.95)


@pytest.mark.slow
def test_band_covers_what_it_claims() -> None:
    """2,000 lots (seed 2000): the band covers 88 to 92 %, and the ranks are flat (chi-square)."""
    check(2000, 2000, 0.88, 0.92)
