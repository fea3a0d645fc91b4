"""Laying the grid under a posterior: most likely viability for each multiplier, and the weights.

The log of a likelihood is worked out at a few nodes of each row and read from their polynomial in
all its cells.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

from hilum.science._cells import CELLS_Y, CELLS_Z, REACH_Z, Ints, few, middles
from hilum.science._quantities import Floats
from hilum.science.logviability import death_rates, log_shares

_NEWTON_STEPS = 40
_NODE_COUNTS = np.array([8, 12, 16, 20, 24, 28, 32])
_NODE_ERRORS = 1e12  # one over the error of a log density for one seed
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


def most_likely(counts: Counts, k: Floats, start_ned: Floats) -> tuple[Floats, Floats]:
    """Most likely v0 for each k, and the curvature there: Newton on a log-concave function."""
    guess = np.clip(start_ned, -6.0, 6.0)
    # each count speaks for v0 with about sown x density seeds; the prior with one
    say = counts.sown * np.exp(-0.5 * guess * guess)
    v0 = (say * guess).sum(axis=1)[:, None] + k * (say * counts.loss_probit).sum(axis=1)[:, None]
    v0 /= 1.0 + say.sum(axis=1)[:, None]
    done = np.zeros(v0.shape, dtype=bool)
    for _ in range(_NEWTON_STEPS):
        slope, curve = _slopes(counts, k, v0)
        step = slope / curve
        v0 += np.where(done, 0.0, step)
        done |= np.abs(step) * np.sqrt(curve) < 0.02
        if done.all():
            break
    return v0, _slopes(counts, k, v0)[1]


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
        density = log_posterior(mine, k[some, :, None], v0) @ at.to_cells
        density += (np.log(width[some]) - 0.5 * y[some] * y[some])[:, :, None]
        density -= density.max(axis=(1, 2), keepdims=True)
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

    Along z a row is read as straight lines with the cell's mean under each: means are wanted. Along
    y it is read as flat, which widens it by a twelfth of a cell squared: that is taken off first.
    """
    weight = middle.copy()
    _bend(weight[:, :, 1:-1], 24.0, [middle[:, :, at : CELLS_Z - 2 + at] for at in range(3)])
    _bend(weight[:, 1:-1], -24.0, [middle[:, at : CELLS_Y - 2 + at] for at in range(3)])
    return np.maximum(weight, 0.0, out=weight)


def _bend(weight: Floats, by: float, beside: list[Floats]) -> None:
    """Add a part of the second difference of three neighbours."""
    bend = beside[0] + beside[2]
    bend -= 2.0 * beside[1]
    bend /= by
    weight += bend
