"""The posterior's grid: what is read from it against the plain way of working the same out."""

import numpy as np
import pytest
from scipy.special import log_ndtr

from hilum.science import _rows
from hilum.science._cells import CELLS_Z, Ints, middles
from hilum.science._quantities import Floats
from hilum.science._rows import Counts, weights
from hilum.science.germination import Count, Evidence
from hilum.science.posterior import posteriors

SIZES = (1, 10, 50, 400, 3_000)


def counts_of(rng: np.random.Generator, lots: int) -> Counts:
    """Lots with three counts each, of one to 3,000 seeds, at losses up to 3 probits."""
    sown = rng.choice(SIZES, (lots, 3)).astype(np.float64)
    return Counts(np.floor(rng.random((lots, 3)) * (sown + 1)), sown, rng.uniform(0, 3, (lots, 3)))


def plain_log_density(counts: Counts, lot: int, k: float, v0: Floats) -> Floats:
    """Log of the standard normal prior times the binomial likelihoods, by scipy."""
    total = -0.5 * v0 * v0
    for up, sown, loss in zip(
        counts.germinated[lot], counts.sown[lot], counts.loss_probit[lot], strict=True
    ):
        ned = v0 - k * loss
        total += up * log_ndtr(ned) + (sown - up) * log_ndtr(-ned)
    return total


def test_polynomials_follow_the_likelihood(monkeypatch: pytest.MonkeyPatch) -> None:
    """Densities read from a few nodes are those worked out with scipy in every cell, to 1e-7."""
    rng = np.random.default_rng(2)
    counts = counts_of(rng, 200)
    k, y = np.ones((200, 3)), np.zeros((200, 3))
    centre, curve = _rows.most_likely(counts, k, np.zeros((200, 3)))
    width = 1.0 / np.sqrt(curve)
    seen: list[Floats] = []
    chosen: list[int] = []
    plainly = _rows._alike

    def watched(these: Counts, wide: Floats) -> list[tuple[Ints, int]]:
        found = list(plainly(these, wide))
        chosen.extend(nodes for _, nodes in found)
        return found

    def kept(cells: Floats) -> Floats:
        seen.append(cells.copy())
        return cells

    monkeypatch.setattr(_rows, "_alike", watched)
    monkeypatch.setattr(_rows, "_to_cells", kept)
    weights(counts, y, k, centre, width)
    order = np.concatenate([lots for lots, _ in plainly(counts, width)])
    found = np.concatenate(seen)
    for place, lot in enumerate(order.tolist()):
        v0 = centre[lot, 0] + width[lot, 0] * middles()
        log = plain_log_density(counts, lot, 1.0, v0)
        share = found[place, 0] / found[place, 0].max()
        assert share == pytest.approx(np.exp(log - log.max()), abs=1e-7)
    assert len(set(chosen)) > 3
    assert max(chosen) <= CELLS_Z


def test_quantiles_have_their_share_below() -> None:
    """Whatever is known, sure or next to nothing, a quantile has its share below it, to 1e-7."""
    rng = np.random.default_rng(3)
    shares = np.array([1e-5, 0.05, 0.5, 0.95, 1.0 - 1e-5])
    evidences = []
    for _ in range(150):
        sown = rng.choice(SIZES, rng.integers(0, 4)).tolist()
        tests = [Count(int(rng.integers(0, n + 1)), n, rng.uniform(0, 3)) for n in sown]
        evidences.append(Evidence(tuple(tests), float(rng.choice([1.0, 1.5, 4.0, 100.0]))))
    for chunk in posteriors(evidences):
        loss = rng.uniform(0, 4, (len(chunk.lots), 3))
        found = chunk.grid.quantiles(shares, loss)
        below = chunk.grid.share_below(found, loss)
        np.testing.assert_allclose(below, np.broadcast_to(shares, below.shape), atol=1e-7)
