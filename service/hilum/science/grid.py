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

from hilum.science._cells import CELLS_Y, REACH_Z, STEP_Z, Cut, Ints, middles, tables_of
from hilum.science._quantities import Floats
from hilum.science._rows import Counts, first_guess, log_posterior, most_likely, weights
from hilum.science.normal import ned as _ned

_WINDOW_Y = 8.0  # prior mass outside: 1e-15
_DROP = 14.0  # cells whose log density is this far below the best do not matter (8e-7)
_PASSES = 6
_ROOT_STEPS = 60
_ENOUGH = 1e-4  # of the log odds; one Newton step is taken from there
_LEAST_SKEW = 0.01  # as good as none


@dataclass(frozen=True)
class Grid:
    """The posterior of some lots.

    Parameters
    ----------
    y_edges : ndarray
        Edges of the cells of y [prior standard deviations of ln k], shapes x (cells + 1).
    spread : ndarray
        Prior standard deviation of ln k [1], lots.
    centre_edges : ndarray
        Most likely v0 at those edges [probit], shapes x (cells + 1).
    width : ndarray
        Width of v0 within a cell of y [probit], shapes x cells.
    weight : ndarray
        Share of the posterior in each cell [1], shapes x cells of y x cells of z; sums to 1.
    shape : ndarray of int
        For each lot, which of these shapes is its own: lots may share one.

    Examples
    --------
    One lot, 200 of 400: the median at its start is one half, which is 0 probits.

    >>> half = Counts(np.array([[200.0]]), np.array([[400.0]]), np.zeros((1, 1)))
    >>> grid = make_grid(half, np.array([0.7]), np.zeros((1, 1)))
    >>> bool(abs(grid.quantiles(np.array([0.5]), np.zeros((1, 1)))[0, 0, 0]) < 1e-6)
    True

    References
    ----------
    Ellis & Roberts 1980, Ann. Bot. 45:13-30 (probit loss); status: memory.
    """

    y_edges: Floats
    spread: Floats
    centre_edges: Floats
    width: Floats
    weight: Floats
    shape: Ints

    @cached_property
    def k_edges(self) -> Floats:
        """Loss multiplier at the edges of the cells of y [1], lots x (cells + 1)."""
        return np.exp(self.spread[:, None] * self.y_edges[self.shape])

    @cached_property
    def row_weight(self) -> Floats:
        """Share of the posterior in each cell of y [1], lots x cells."""
        return np.asarray(self.weight.sum(axis=2)[self.shape])

    @cached_property
    def _tables(self) -> Floats:
        return tables_of(self.weight)

    @cached_property
    def _moments(self) -> Floats:
        """Sums of share, share times z and share times z squared, 3 x shapes x rows."""
        z = middles()
        return np.moveaxis(self.weight @ np.stack([z**0, z, z**2], axis=1), 2, 0)

    def _middle(self, loss_probit: Floats) -> Floats:
        """Most likely viability at the edges of y [probit], lots x losses x (cells + 1)."""
        loss = self.k_edges[:, None, :] * loss_probit[:, :, None]
        return np.asarray(self.centre_edges[self.shape, None, :] - loss)

    def _cut(self, loss_probit: Floats) -> Cut:
        edges = self._middle(loss_probit)
        return Cut.of(self._tables, self.shape, self.width[self.shape], edges)

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
        middle = self._middle(loss_probit)
        reach = REACH_Z * self.width[self.shape, None, :]
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
        return self._cut(loss_probit).below(ned)

    def quantiles(self, shares: Floats, loss_probit: Floats, enough: float = _ENOUGH) -> Floats:
        """Viability below which given shares of the posterior lie.

        Parameters
        ----------
        shares : ndarray
            Shares [1], each above 0 and below 1, one dimension.
        loss_probit : ndarray
            Losses [probit], lots x losses, 0 to 1,000,000.
        enough : float
            How near the log of the odds [1] must be for the last step to be taken, above 0.

        Returns
        -------
        ndarray
            Viability [probit], lots x losses x shares; by default found to 1e-8 of the log odds, in
            60 steps at most.
        """
        guess = self._first_guess(_ned(shares), loss_probit)
        lot, loss, place = (index.reshape(-1) for index in np.indices(guess.shape))
        low, high = (end[lot, loss] for end in self.ends(loss_probit))
        found, goal = np.clip(guess.reshape(-1), low, high), np.log(shares / (1.0 - shares))[place]
        every, open_ = self._cut(loss_probit), np.arange(found.size)
        for _ in range(_ROOT_STEPS):
            at, density = found[open_], np.empty(len(open_))
            cut = every.each(lot[open_], loss[open_])
            share = cut.below(at[:, None, None], density[:, None, None])[:, 0, 0]
            share = np.clip(share, 1e-17, 1.0 - 1e-16)
            miss = goal[open_] - np.log(share / (1.0 - share))
            least = low[open_] = np.where(miss > 0.0, at, low[open_])
            most = high[open_] = np.where(miss < 0.0, at, high[open_])
            # Newton on the log odds, which are nearly straight; halving where that leads outside
            after = at + miss * share * (1.0 - share) / np.maximum(density, 1e-300)
            inside = (after >= least) & (after <= most)
            found[open_] = np.where(inside, after, 0.5 * (least + most))
            close = inside & (np.abs(miss) < enough) | (most - least < 1e-12 * np.abs(at))
            open_ = open_[~close]
            if not len(open_):
                break
        return found.reshape(guess.shape)

    def _first_guess(self, normal: Floats, loss_probit: Floats) -> Floats:
        """Viability at shares, were it log-normal: the loss multiplier is, and skews it."""
        middle, width = self._middle(loss_probit), self.width[self.shape, None, :]
        share, tilt, square_z = self._moments[:, self.shape, None]
        share = np.maximum(share, 1e-300)
        offset = width * tilt / share
        centre = 0.5 * (middle[:, :, :-1] + middle[:, :, 1:]) + offset
        within = width * width * square_z / share - offset * offset
        within = within + np.diff(middle, axis=2) ** 2 / 12.0
        mean = (share * centre).sum(axis=2, keepdims=True)
        centre -= mean
        square = (share * (centre * centre + within)).sum(axis=2, keepdims=True)
        cube = (share * centre * (centre * centre + 3.0 * within)).sum(axis=2, keepdims=True)
        deviation = np.sqrt(np.maximum(square, 1e-300))
        skew = cube / deviation**3
        skew = np.copysign(np.maximum(np.abs(skew), _LEAST_SKEW), skew)
        # variance and skewness of a log-normal, solved for what its logarithm is spread by
        growth = 2.0 * np.cosh(np.arccosh(1.0 + 0.5 * skew * skew) / 3.0) - 1.0
        spread = np.copysign(np.sqrt(np.log(growth)), skew)
        scale = np.copysign(deviation / np.sqrt(growth - 1.0), skew)
        found: Floats = mean + scale * np.expm1(spread * normal - 0.5 * spread * spread)
        return found

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
        shape = int(self.shape[lot])
        flat = self.weight[shape].reshape(-1)
        cell = rng.choice(flat.size, size=draws, p=flat / flat.sum())
        row, column = np.divmod(cell, self.weight.shape[2])
        along = rng.random(draws)
        centres = self.centre_edges[shape]
        # viability is linear in k along a cell, so draws are spread evenly in k
        k_edges = self.k_edges[lot]
        k = k_edges[row] + along * (k_edges[row + 1] - k_edges[row])
        centre = centres[row] + along * (centres[row + 1] - centres[row])
        z = (column + rng.random(draws)) * STEP_Z - REACH_Z
        return centre + self.width[shape][row] * z, k


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
    centre, curve = most_likely(counts, k, first_guess(counts, k, start_ned))
    width = 1.0 / np.sqrt(curve)
    weight = weights(counts, y, k, centre, width)
    return Grid(y_edges, spread, _at_edges(centre), width, weight, np.arange(len(spread)))


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
        centre, curve = most_likely(counts, k, first_guess(counts, k, start_ned))
        # Laplace: good enough to see where the posterior is
        height = log_posterior(counts, k, centre) - 0.5 * np.log(curve) - 0.5 * y * y
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


def _at_edges(centre: Floats) -> Floats:
    """Values at cell edges from values at cell middles, straight lines between and beyond."""
    inner = 0.5 * (centre[:, :-1] + centre[:, 1:])
    first = 2.0 * centre[:, :1] - inner[:, :1]
    last = 2.0 * centre[:, -1:] - inner[:, -1:]
    return np.concatenate([first, inner, last], axis=1)
