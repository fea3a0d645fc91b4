"""Laying the grid under a posterior: most likely viability for each multiplier, and the weights.

The log of a likelihood is worked out at a few nodes of each row and read from their polynomial in
all its cells.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

from hilum.science._cells import CELLS_Z, REACH_Z, Ints, few, middles
from hilum.science._quantities import Floats
from hilum.science.logviability import death_rates, log_shares

_NEWTON_STEPS = 40
_NEWTON_NEAR = 0.1  # widths: the step from so near leads to a hundredth or nearer
_NODE_COUNTS = np.array([8, 12, 16, 20, 24, 28, 32])
_NODE_ERRORS = 1e9  # one over the error of a log density for one seed
_ZERO_OF_SHARE = 2.816  # the share has its first zero at 1.916 + 2.816 i


@dataclass(frozen=True, slots=True)
class Counts:
    """Counts of lots that all have the same number of them; arrays are lots x counts."""

    germinated: Floats
    sown: Floats
    loss_probit: Floats

    def some(self, lots: Ints) -> "Counts":
        """Those of some of the lots."""
        return Counts(self.germinated[lots], self.sown[lots], self.loss_probit[lots])

    def each(self, dimensions: int) -> Iterator[tuple[Floats, Floats, Floats]]:
        """Seeds germinated, seeds not, and loss of one count after the other, as columns."""
        lift = (slice(None),) + (None,) * (dimensions - 1)
        for up, sown, loss in zip(self.germinated.T, self.sown.T, self.loss_probit.T, strict=True):
            yield up[lift], (sown - up)[lift], loss[lift]


def first_guess(counts: Counts, k: Floats, start_ned: Floats) -> Floats:
    """Likely v0 for each k: a mean over the counts."""
    guess = np.clip(start_ned, -6.0, 6.0)
    # each count speaks for v0 with about sown x density seeds; the prior with one
    say = counts.sown * np.exp(-0.5 * guess * guess)
    v0 = (say * guess).sum(axis=1)[:, None] + k * (say * counts.loss_probit).sum(axis=1)[:, None]
    return np.asarray(v0 / (1.0 + say.sum(axis=1)[:, None]))


def most_likely(counts: Counts, k: Floats, guess: Floats) -> tuple[Floats, Floats]:
    """Most likely v0 for each k to a hundredth of its width, and the curvature nearby.

    By Newton's method on a log-concave function. The grid is laid about it: it need not be exact.
    """
    v0, curve, open_ = guess.copy(), np.empty_like(guess), np.arange(len(guess))
    for _ in range(_NEWTON_STEPS):
        slope, curve[open_] = _slopes(counts.some(open_), k[open_], v0[open_])
        step = slope / curve[open_]
        v0[open_] += step
        far = np.abs(step) * np.sqrt(curve[open_]) > _NEWTON_NEAR
        open_ = open_[far.any(axis=1)]
        if not len(open_):
            break
    return v0, curve


def _slopes(counts: Counts, k: Floats, v0: Floats) -> tuple[Floats, Floats]:
    """First and minus the second derivative of the log posterior by v0."""
    slope, curve = -v0, np.zeros_like(v0)
    for up, down, loss in counts.each(v0.ndim):
        ned = v0 - k * loss
        alive, dead = death_rates(ned)
        more, less = up * alive, down * dead
        slope += more - less
        curve += more * (ned + alive) + less * (dead - ned)
    # both terms are positive; rounding far in a tail may say otherwise
    return slope, 1.0 + np.maximum(curve, 0.0)


def log_posterior(counts: Counts, k: Floats, v0: Floats) -> Floats:
    """Log of prior of v0 times likelihood, up to a constant; k is spread over v0."""
    total = -0.5 * v0 * v0
    for up, down, loss in counts.each(v0.ndim):
        alive, dead = log_shares(v0 - k * loss)
        total += up * alive + down * dead
    return total


def weights(counts: Counts, y: Floats, k: Floats, centre: Floats, width: Floats) -> Floats:
    """Weights of the cells, normalised a lot: lots x rows x cells of z."""
    weight = np.empty((*k.shape, CELLS_Z))
    for some, nodes in _alike(counts, width):
        at, mine = _nodes(nodes), counts.some(some)
        v0 = centre[some, :, None] + width[some, :, None] * at.z
        log = log_posterior(mine, k[some, :, None], v0)
        log += (np.log(width[some]) - 0.5 * y[some] * y[some])[:, :, None]
        log -= log.max(axis=(1, 2), keepdims=True)
        density = log @ at.to_cells
        cells = _to_cells(np.exp(density, out=density))
        weight[some] = cells / cells.sum(axis=(1, 2), keepdims=True)
    return weight


@dataclass(frozen=True, slots=True)
class _Nodes:
    """Places along a row where its density is worked out, and what leads from there to cells."""

    z: Floats
    to_cells: Floats  # nodes x cells


@cache
def _nodes(count: int) -> _Nodes:
    """Chebyshev's nodes with Lagrange's polynomials."""
    cells = middles()
    if count == CELLS_Z:
        return _Nodes(cells, np.eye(CELLS_Z))
    angle = (np.arange(count) + 0.5) * np.pi / count
    powers = np.arange(count)[:, None]
    at_nodes = np.cos(powers * angle)
    at_cells = np.cos(powers * np.arccos(cells / REACH_Z))
    at_nodes[0] *= 0.5
    return _Nodes(REACH_Z * np.cos(angle), (2.0 / count) * at_nodes.T @ at_cells)


def _alike(counts: Counts, width: Floats) -> Iterator[tuple[Ints, int]]:
    """Sort lots, a few at a time, by how many nodes their rows need.

    The log of a share is analytic but where the share is zero: 2.8 from the real line at least. So
    the error of its polynomial falls by a fixed factor a node (Bernstein's ellipse), the faster the
    shorter the row.
    """
    reach = REACH_Z * width.max(axis=1, initial=0.0)
    factor = _ZERO_OF_SHARE / reach + np.hypot(1.0, _ZERO_OF_SHARE / reach)
    seeds = counts.sown.sum(axis=1) + 1.0
    need = np.log(_NODE_ERRORS * seeds) / np.log(factor)
    chosen = np.append(_NODE_COUNTS, CELLS_Z)[np.searchsorted(_NODE_COUNTS, need)]
    for nodes in np.unique(chosen):
        lots = np.flatnonzero(chosen == nodes)
        for some in few(len(lots)):
            yield lots[some], int(nodes)


def _to_cells(middle: Floats) -> Floats:
    """Weights of cells from a smooth density at their middles, right to the fourth order.

    Along z a row is read as straight lines with the cell's mean under each: means are wanted, which
    adds a 24th of the second difference. Along y it is read as flat, which widens it by a twelfth
    of a cell squared: that is taken off first, a 24th of the second difference that way. What twice
    the middle adds to both cancels. The outermost cells hold next to nothing.
    """
    bend = middle[:, 1:-1, :-2] + middle[:, 1:-1, 2:]
    bend -= middle[:, :-2, 1:-1]
    bend -= middle[:, 2:, 1:-1]
    bend /= 24.0
    middle[:, 1:-1, 1:-1] += bend
    return np.maximum(middle, 0.0, out=middle)
