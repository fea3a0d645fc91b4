"""Reading the grid under a posterior: the share of each of its rows below a limit.

Lengths are in cells of z.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hilum.science._quantities import Floats

CELLS_Y = 48
CELLS_Z = 48
REACH_Z = 8.0  # half-width of a row in units of its own width: log-concave, so tails are light
STEP_Z = 2.0 * REACH_Z / CELLS_Z
_LEAST_SLANT = 1e-5 / STEP_Z  # a row is slanted by this at least: the mean over it can be taken
_AT_ONCE = 16  # lots whose cells are worked out together: they stay in the processor's cache
_IN_CACHE = 32_768  # numbers in an array that stays there
_RUNNING = np.triu(np.ones((CELLS_Z, CELLS_Z)))  # sums up to each cell, faster than one by one

Ints = npt.NDArray[np.int64]


def middles() -> Floats:
    """Places of the middles of the cells [widths]."""
    return np.asarray((np.arange(CELLS_Z) + 0.5) * STEP_Z - REACH_Z, dtype=np.float64)


def few(count: int) -> Iterator[slice]:
    """Cut lots into so few that their cells stay in the processor's cache."""
    for first in range(0, count, _AT_ONCE):
        yield slice(first, first + _AT_ONCE)


def tables_of(weight: Floats) -> Floats:
    """By row and cell: the cubic that runs on the integral of the share below z.

    Within a cell the density is a straight line with the cell's share under it.
    """
    tables = np.zeros((*weight.shape[:2], CELLS_Z + 2, 4))
    for some in few(len(tables)):
        here, into = weight[some], tables[some]
        most, cube = here / 3.0, np.zeros_like(here)
        np.subtract(here[:, :, 2:], here[:, :, :-2], out=cube[:, :, 1:-1])
        cube = np.clip(cube / 12.0, -most, most, out=cube)
        below = here @ _RUNNING
        into[:, :, 2:, 1] = below
        into[:, :, 1:-1, 2] = 0.5 * here - 1.5 * cube
        into[:, :, 1:-1, 3] = cube
        below -= 0.5 * (here + cube)
        into[:, :, 2:, 0] = below @ _RUNNING
    return tables.reshape(-1, 4)


@dataclass(frozen=True, slots=True)
class Cut:
    """A grid at some losses: where each row of it lies. Lengths are in cells of z."""

    tables: Floats
    row: Ints  # where its table begins, lots x 1 x 1 x rows
    scale: Floats  # cells to the probit, lots x 1 x 1 x rows
    middle: Floats  # of a row from 0 probits, lots x losses x 1 x rows
    half: Floats  # half of what it is slanted by, same shape

    @classmethod
    def of(cls, tables: Floats, shape: Ints, width: Floats, edges: Floats) -> "Cut":
        """Cut lots at viabilities of the rows' edges [probit], lots x losses x (rows + 1)."""
        scale = 1.0 / (STEP_Z * width[:, None, :])
        left, right = edges[:, :, :-1] * scale, edges[:, :, 1:] * scale
        half = np.maximum(0.5 * np.abs(right - left), 0.5 * _LEAST_SLANT)
        rows = width.shape[1]
        row = (shape[:, None, None, None] * rows + np.arange(rows)) * (CELLS_Z + 2)
        middle = (0.5 * (left + right))[:, :, None]
        return cls(tables, row, scale[:, :, None], middle, half[:, :, None])

    def some(self, lots: slice) -> "Cut":
        """Cut some of the lots."""
        parts = self.scale[lots], self.middle[lots], self.half[lots]
        return Cut(self.tables, self.row[lots], *parts)

    def each(self, lots: Ints, losses: Ints) -> "Cut":
        """Cut lots at one of the losses each."""
        parts = self.scale[lots], self.middle[lots, losses, None], self.half[lots, losses, None]
        return Cut(self.tables, self.row[lots], *parts)

    def below(self, ned: Floats, density: Floats | None = None) -> Floats:
        """Share of viabilities below limits [1]; sets how dense they are there [1/probit]."""
        share = np.empty(ned.shape)
        size = max(1, _IN_CACHE // (ned[0].size * self.row.shape[3]))
        for some in (slice(first, first + size) for first in range(0, len(ned), size)):
            part = self.some(some)
            slant = 2.0 * part.half
            upper, lower = part.look_up(ned[some])
            share[some] = ((_integral(*upper) - _integral(*lower)) / slant).sum(axis=3)
            if density is not None:
                steep = (_share(*upper) - _share(*lower)) * (part.scale / slant)
                density[some] = steep.sum(axis=3)
        return np.clip(share, 0.0, 1.0)

    def look_up(self, ned: Floats) -> Iterator[tuple[Floats, Floats]]:
        """Cubics of the cells in which both ends of each row's slant are, and how far past."""
        at = ned[..., None] * self.scale
        at -= self.middle
        # a row wholly on one side is all or nothing wherever it is: kept near, no digits are lost
        beside = (REACH_Z + 1.0) / STEP_Z + self.half
        at = np.clip(at, -beside, beside, out=at)
        at += REACH_Z / STEP_Z + 1.0
        for end in (at + self.half, at - self.half):
            cell = np.clip(end, 0.0, CELLS_Z + 1.0).astype(np.int64)
            yield self.tables.take(cell + self.row, axis=0), end - cell


def _integral(cubic: Floats, past: Floats) -> Floats:
    """Integral of the share of a row from the far left."""
    found = cubic[..., 3] * past
    for power in (2, 1):
        found += cubic[..., power]
        found *= past
    found += cubic[..., 0]
    return found


def _share(cubic: Floats, past: Floats) -> Floats:
    """Slope of the integral."""
    found = 3.0 * cubic[..., 3] * past
    found += 2.0 * cubic[..., 2]
    found *= past
    found += cubic[..., 1]
    return found
