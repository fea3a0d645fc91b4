"""The grid under a posterior of starting viability and loss multiplier, for many lots at once.

``y`` is ln k in units of its prior standard deviation. A window of y, wide enough for all that
matters, is cut into cells. In each, v0 is gridded about its own most likely value, in units of its
own width, so that a ridge between v0 and k, however narrow, is followed. Within a cell the
posterior counts as flat; what is read from the grid is exact for that.

First index of every array: the lot. All numbers are finite for counts of up to 1,000,000 seeds.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from hilum.science._quantities import Floats
from hilum.science.logviability import death_rate, log_viability_fraction

CELLS_Y = 48
CELLS_Z = 48
REACH_Z = 8.0  # half-width of a row in units of its own width: log-concave, so tails are light
_STEP_Z = 2.0 * REACH_Z / CELLS_Z
_WINDOW_Y = 8.0  # prior mass outside: 1e-15
_DROP = 14.0  # cells whose log density is this far below the best do not matter (8e-7)
_PASSES = 6
_NEWTON_STEPS = 40
_ROOT_STEPS = 60
_LEAST_SLANT = 1e-5  # a row is slanted by at least this, so that the mean over it can be taken


@dataclass(frozen=True, slots=True)
class Counts:
    """Counts of lots that all have the same number of them; arrays are lots x counts."""

    germinated: Floats
    sown: Floats
    loss_probit: Floats


@dataclass(frozen=True)
class Grid:
    """The posterior of some lots.

    Parameters
    ----------
    y_edges : ndarray
        Edges of the cells of y [prior standard deviations of ln k], lots x (cells + 1).
    spread : ndarray
        Prior standard deviation of ln k [1], lots.
    centre_edges : ndarray
        Most likely v0 at those edges [probit], lots x (cells + 1).
    width : ndarray
        Width of v0 within a cell of y [probit], lots x cells.
    weight : ndarray
        Share of the posterior in each cell [1], lots x cells of y x cells of z; sums to 1 a lot.

    Examples
    --------
    One lot, 200 of 400: the median at its start is one half, which is 0 probits.

    >>> half = Counts(np.array([[200.0]]), np.array([[400.0]]), np.zeros((1, 1)))
    >>> grid = make_grid(half, np.array([0.7]), np.zeros((1, 1)))
    >>> bool(abs(grid.quantiles(np.array([0.5]), np.zeros((1, 1)))[0, 0, 0]) < 1e-6)
    True

    References
    ----------
    Ellis & Roberts 1980, Ann. Bot. 45:13-30 (probit loss); status: memory. Dowell & Jarratt 1971,
    BIT 11:168-174 (Illinois); status: memory.
    """

    y_edges: Floats
    spread: Floats
    centre_edges: Floats
    width: Floats
    weight: Floats

    @cached_property
    def k_edges(self) -> Floats:
        """Loss multiplier at the edges of the cells of y [1], lots x (cells + 1)."""
        return np.exp(self.spread[:, None] * self.y_edges)

    @cached_property
    def row_weight(self) -> Floats:
        """Share of the posterior in each cell of y [1], lots x cells."""
        return np.asarray(self.weight.sum(axis=2))

    @cached_property
    def _tables(self) -> Floats:
        """By row and cell of z: the cubic that runs on the integral of the share below z.

        Within a cell the density is a straight line with the cell's share under it.
        """
        lots, rows, _ = self.weight.shape
        tables = np.zeros((lots, rows, CELLS_Z + 2, 4))
        level = self.weight / _STEP_Z
        tilt = np.zeros_like(level)
        tilt[:, :, 1:-1] = (level[:, :, 2:] - level[:, :, :-2]) / (2.0 * _STEP_Z)
        tilt = np.clip(tilt, -2.0 * level / _STEP_Z, 2.0 * level / _STEP_Z)
        cell = tables[:, :, 1:-1]
        cell[..., 2] = 0.5 * level - 0.25 * tilt * _STEP_Z
        cell[..., 3] = tilt / 6.0
        np.cumsum(self.weight, axis=2, out=tables[:, :, 2:, 1])
        step = _STEP_Z * (cell[..., 1] + _STEP_Z * (cell[..., 2] + _STEP_Z * cell[..., 3]))
        np.cumsum(step, axis=2, out=tables[:, :, 2:, 0])
        return tables.reshape(-1, 4)

    def ends(self, loss_probit: Floats) -> tuple[Floats, Floats]:
        """Lowest and highest viability on the grid.

        Parameters
        ----------
        loss_probit : ndarray
            Losses [probit], lots x losses, 0 to 1,000,000.

        Returns
        -------
        tuple of ndarray
            Lowest and highest viability [probit], each lots x losses.
        """
        middle = self.centre_edges[:, None, :] - self.k_edges[:, None, :] * loss_probit[:, :, None]
        reach = REACH_Z * self.width[:, None, :]
        low = np.minimum(middle[:, :, :-1], middle[:, :, 1:]) - reach
        high = np.maximum(middle[:, :, :-1], middle[:, :, 1:]) + reach
        return low.min(axis=2), high.max(axis=2)

    def share_below(self, ned: Floats, loss_probit: Floats) -> Floats:
        """Share of the posterior with viability below a limit.

        Parameters
        ----------
        ned : ndarray
            Limits [probit], lots x losses x limits, any finite value.
        loss_probit : ndarray
            Losses [probit], lots x losses, 0 to 1,000,000.

        Returns
        -------
        ndarray
            Shares [1], shape of ``ned``.
        """
        middle = self.centre_edges[:, None, :] - self.k_edges[:, None, :] * loss_probit[:, :, None]
        scale = self.width[:, None, None, :]
        left = (ned[..., None] - middle[:, :, None, :-1]) / scale
        right = (ned[..., None] - middle[:, :, None, 1:]) / scale
        middle_z, slant = 0.5 * (left + right), np.abs(right - left)
        slant = np.maximum(slant, _LEAST_SLANT)
        # a row wholly on one side is all or nothing wherever it is: kept near, no digits are lost
        beside = REACH_Z + 1.0 + 0.5 * slant
        middle_z = np.clip(middle_z, -beside, beside)
        upper = self._integral(middle_z + 0.5 * slant)
        lower = self._integral(middle_z - 0.5 * slant)
        share: Floats = np.clip(((upper - lower) / slant).sum(axis=3), 0.0, 1.0)
        return share

    def _integral(self, z: Floats) -> Floats:
        """Integral of the share of each row from the far left up to z; last index: the row."""
        lots, rows, _ = self.weight.shape
        cell = np.floor(np.clip((z + REACH_Z) / _STEP_Z + 1.0, 0.0, CELLS_Z + 1.0))
        past = z - ((cell - 1.0) * _STEP_Z - REACH_Z)
        row = np.arange(lots * rows).reshape((lots,) + (1,) * (z.ndim - 2) + (rows,))
        c = self._tables.take(row * (CELLS_Z + 2) + cell.astype(np.int64), axis=0)
        return np.asarray(c[..., 0] + past * (c[..., 1] + past * (c[..., 2] + past * c[..., 3])))

    def quantiles(self, shares: Floats, loss_probit: Floats) -> Floats:
        """Viability below which given shares of the posterior lie.

        Parameters
        ----------
        shares : ndarray
            Shares [1], each above 0 and below 1, one dimension.
        loss_probit : ndarray
            Losses [probit], lots x losses, 0 to 1,000,000.

        Returns
        -------
        ndarray
            Viability [probit], lots x losses x shares; found to 1e-8 of the range of the
            grid, in 60 steps at most.
        """
        low, high = (
            np.repeat(end[:, :, None], len(shares), axis=2) for end in self.ends(loss_probit)
        )
        goal = np.log(shares / (1.0 - shares))
        below, above = np.full(low.shape, -40.0) - goal, np.full(low.shape, 40.0) - goal
        enough = 1e-8 * (high - low) + 1e-12
        done = np.zeros(low.shape, dtype=bool)
        guess = 0.5 * (low + high)
        before = np.full(guess.shape, 2)  # neither side
        for _ in range(_ROOT_STEPS):
            share = np.clip(self.share_below(guess, loss_probit), 1e-17, 1.0 - 1e-16)
            miss = np.log(share / (1.0 - share)) - goal
            left = miss < 0.0
            # regula falsi; an end that stays twice running counts half (Illinois)
            stale = np.where(left == before, 0.5, 1.0)
            below = np.where(left, miss, stale * below)
            above = np.where(left, stale * above, miss)
            before = left
            low, high = np.where(left, guess, low), np.where(left, high, guess)
            after = low + (high - low) * np.clip(below / (below - above), 0.02, 0.98)
            done |= np.abs(after - guess) < enough
            guess = np.where(done, guess, after)
            if done.all():
                break
        return guess

    def draw(self, lot: int, rng: np.random.Generator, draws: int) -> tuple[Floats, Floats]:
        """Draw pairs from the posterior of one lot.

        Parameters
        ----------
        lot : int
            Which lot, 0 to the last.
        rng : numpy.random.Generator
            Where chance comes from.
        draws : int
            How many pairs, 0 or more.

        Returns
        -------
        tuple of ndarray
            v0 [probit] and k [1], of equal length.
        """
        flat = self.weight[lot].reshape(-1)
        cell = rng.choice(flat.size, size=draws, p=flat / flat.sum())
        row, column = np.divmod(cell, self.weight.shape[2])
        along = rng.random(draws)
        centres = self.centre_edges[lot]
        # viability is linear in k along a cell, so draws are spread evenly in k
        k_edges = self.k_edges[lot]
        k = k_edges[row] + along * (k_edges[row + 1] - k_edges[row])
        centre = centres[row] + along * (centres[row + 1] - centres[row])
        z = (column + rng.random(draws)) * _STEP_Z - REACH_Z
        return centre + self.width[lot][row] * z, k


def make_grid(counts: Counts, spread: Floats, start_ned: Floats) -> Grid:
    """Lay the grid for lots that have the same number of counts, and weigh its cells.

    Parameters
    ----------
    counts : Counts
        Germination counts; there may be none (no columns).
    spread : ndarray
        Prior standard deviation of ln k [1], lots, 0 or more.
    start_ned : ndarray
        A first guess at the viability at each count [probit], lots x counts, any finite value.

    Returns
    -------
    Grid
        The posterior, normalised a lot.

    Examples
    --------
    >>> half = Counts(np.array([[200.0]]), np.array([[400.0]]), np.zeros((1, 1)))
    >>> round(float(make_grid(half, np.array([0.7]), np.zeros((1, 1))).weight.sum()), 9)
    1.0

    References
    ----------
    Ellis & Roberts 1980, Ann. Bot. 45:13-30 (probit loss); status: memory. Bayes-Laplace interval:
    Brown, Cai & DasGupta 2001, Statistical Science 16:101-133; status: memory.
    """
    y_edges = _window(counts, spread, start_ned)
    y = 0.5 * (y_edges[:, :-1] + y_edges[:, 1:])
    k = np.exp(spread[:, None] * y)
    centre, curve = _most_likely(counts, k, start_ned)
    width = 1.0 / np.sqrt(curve)
    z = (np.arange(CELLS_Z) + 0.5) * _STEP_Z - REACH_Z
    v0 = centre[:, :, None] + width[:, :, None] * z
    density = _log_posterior(counts, k[:, :, None], v0) - 0.5 * (y * y)[:, :, None]
    density += np.log(width)[:, :, None]
    density -= density.max(axis=(1, 2), keepdims=True)
    weight = _to_cells(np.exp(density))
    weight /= weight.sum(axis=(1, 2), keepdims=True)
    return Grid(y_edges, spread, _at_edges(centre), width, weight)


def _window(counts: Counts, spread: Floats, start_ned: Floats) -> Floats:
    """Edges of equal cells of y over all that matters, found by zooming in."""
    lots = len(spread)
    low, high = np.full(lots, -_WINDOW_Y), np.full(lots, _WINDOW_Y)
    parts = np.arange(CELLS_Y + 1) / CELLS_Y
    edges: Floats = low[:, None] + (high - low)[:, None] * parts
    settled = np.zeros(lots, dtype=bool)  # a lot stops by itself, whatever its neighbours do
    for _ in range(_PASSES):
        y = 0.5 * (edges[:, :-1] + edges[:, 1:])
        k = np.exp(spread[:, None] * y)
        centre, curve = _most_likely(counts, k, start_ned)
        # Laplace: good enough to see where the posterior is
        height = _log_posterior(counts, k, centre) - 0.5 * np.log(curve) - 0.5 * y * y
        matters = height > height.max(axis=1, keepdims=True) - _DROP
        first = np.maximum(matters.argmax(axis=1) - 1, 0)
        last = np.minimum(CELLS_Y - matters[:, ::-1].argmax(axis=1), CELLS_Y - 1) + 1
        every = np.arange(lots)
        low_after, high_after = edges[every, first], edges[every, last]
        settled_now = high_after - low_after > 0.6 * (high - low)
        low, high = np.where(settled, low, low_after), np.where(settled, high, high_after)
        edges = low[:, None] + (high - low)[:, None] * parts
        settled |= settled_now
        if settled.all():
            break
    return edges


def _most_likely(counts: Counts, k: Floats, start_ned: Floats) -> tuple[Floats, Floats]:
    """Most likely v0 for each k, and the curvature there: Newton on a log-concave function."""
    shift = k[:, :, None] * counts.loss_probit[:, None, :]
    guess = np.clip(start_ned, -6.0, 6.0)
    # each count speaks for v0 with about sown x density seeds; the prior with one
    say = counts.sown * np.exp(-0.5 * guess * guess)
    v0 = ((guess[:, None, :] + shift) * say[:, None, :]).sum(axis=2)
    v0 /= 1.0 + say.sum(axis=1)[:, None]
    done = np.zeros(v0.shape, dtype=bool)
    for _ in range(_NEWTON_STEPS):
        slope, curve = _slopes(counts, shift, v0)
        step = slope / curve
        v0 += np.where(done, 0.0, step)
        done |= np.abs(step) * np.sqrt(curve) < 0.02
        if done.all():
            break
    return v0, _slopes(counts, shift, v0)[1]


def _slopes(counts: Counts, shift: Floats, v0: Floats) -> tuple[Floats, Floats]:
    """First and minus the second derivative of the log posterior by v0."""
    ned = v0[:, :, None] - shift
    alive, dead = death_rate(ned), death_rate(-ned)
    up = counts.germinated[:, None, :]
    down = (counts.sown - counts.germinated)[:, None, :]
    slope = (up * alive - down * dead).sum(axis=2) - v0
    curve = (up * alive * (ned + alive) + down * dead * (dead - ned)).sum(axis=2)
    # both terms are positive; rounding far in a tail may say otherwise
    return slope, 1.0 + np.maximum(curve, 0.0)


def _log_posterior(counts: Counts, k: Floats, v0: Floats) -> Floats:
    """Log of prior of v0 times likelihood, up to a constant; k is spread over v0."""
    total = -0.5 * v0 * v0
    lift = (slice(None),) + (None,) * (v0.ndim - 1)
    for j in range(counts.sown.shape[1]):
        ned = v0 - k * counts.loss_probit[:, j][lift]
        up = counts.germinated[:, j][lift]
        down = (counts.sown - counts.germinated)[:, j][lift]
        total += up * log_viability_fraction(ned) + down * log_viability_fraction(-ned)
    return total


def _to_cells(middle: Floats) -> Floats:
    """Weights of cells from a smooth density at their middles, right to the fourth order.

    Along z a row is read as straight lines with the cell's mean under each: means are wanted. Along
    y it is read as flat, which widens it by a twelfth of a cell squared: that is taken off first.
    """
    weight = middle.copy()
    weight[:, :, 1:-1] += np.diff(middle, n=2, axis=2) / 24.0
    weight[:, 1:-1] -= np.diff(middle, n=2, axis=1) / 24.0
    return np.maximum(weight, 0.0)


def _at_edges(centre: Floats) -> Floats:
    """Values at cell edges from values at cell middles, straight lines between and beyond."""
    inner = 0.5 * (centre[:, :-1] + centre[:, 1:])
    first = 2.0 * centre[:, :1] - inner[:, :1]
    last = 2.0 * centre[:, -1:] - inner[:, -1:]
    return np.concatenate([first, inner, last], axis=1)
