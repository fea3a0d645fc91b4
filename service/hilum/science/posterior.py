"""How alive a lot is, and how sure that is: label, tests and storage put together.

For every lot two numbers are unknown: v0, viability at the start [probit], and k, what the loss has
to be multiplied with [1]. Before any count every germination at the start is equally likely (so v0
is standard normal), and k is log-normal. Counts are binomial. The posterior stands on a grid
(``grid.py``) and is normalised there; nothing is drawn at random, nothing is taken as normal.

Why flat on germination and not on probits: flat on probits has no finite total, and after 10 of 10
it says nothing at all. Flat on germination gives, for a single test of n seeds with x germinated,
the beta distribution with x + 1 and n - x + 1 (Bayes and Laplace), whose ends lie near the exact
binomial ones also for 0 and n of n.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from hilum.science._quantities import Floats, Quantity, as_floats, as_given, checked
from hilum.science._rows import Counts
from hilum.science.germination import MAX_LOSS_PROBIT, Evidence
from hilum.science.grid import Grid, make_grid
from hilum.science.normal import ned, viability_fraction
from hilum.science.sowing import Levels

LEAST_MARGIN_PCT = 5.0
"""Least counting error of the start test in a shown range [points each side]; status: derived.

Part of the rule that was checked against published storage trials.
"""

_SHARES = np.array([0.05, 0.5, 0.95])
_CHUNK = 128
_LEVELS = 160
_ENDS_ENOUGH = 0.5  # of the log odds before the last step: where levels end need not be exact
_LEVEL_ENDS = (-4.0, 4.5)  # probits: beyond, seed is as good as dead or alive


@dataclass(frozen=True, slots=True)
class Band:
    """A median and the 90 % band about it, in per cent of the seed; floats or arrays alike."""

    median_pct: Quantity
    low_pct: Quantity
    high_pct: Quantity


@dataclass(frozen=True, slots=True)
class Summary:
    """Median and 90 % band of one unknown, in its own unit."""

    median: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Posteriors:
    """The posteriors of some lots.

    Parameters
    ----------
    lots : ndarray of int
        Where these lots stood in the sequence that was given.
    grid : Grid
        The posteriors themselves, in the same order.

    Examples
    --------
    >>> from hilum.science.germination import Count, Evidence
    >>> (two,) = posteriors([Evidence((Count(x, 400),), factor=4.0) for x in (200, 360)])
    >>> two.viability(np.zeros((2, 1))).median_pct.round().tolist()
    [[50.0], [90.0]]

    References
    ----------
    Ellis & Roberts 1980, Ann. Bot. 45:13-30 (probit loss; status memory). Bayes-Laplace interval:
    Brown, Cai & DasGupta 2001, Statistical Science 16:101-133 (status memory).
    """

    lots: npt.NDArray[np.int64]
    grid: Grid

    def viability(self, loss_probit: Floats) -> Band:
        """Viability at losses: median and 90 % band (5 and 95 % points), as calibrated.

        Parameters
        ----------
        loss_probit : ndarray
            Loss with multiplier 1 [probit], lots x losses, 0 to 1,000,000.

        Returns
        -------
        Band
            [%], lots x losses.

        Raises
        ------
        OutOfRangeError
            A loss lies outside its range.
        """
        loss = checked("loss", loss_probit, 0.0, MAX_LOSS_PROBIT, "probits")
        pct = 100.0 * viability_fraction(self.grid.quantiles(_SHARES, loss))
        return Band(median_pct=pct[..., 1], low_pct=pct[..., 0], high_pct=pct[..., 2])

    def shown(self, loss_probit: Floats) -> Band:
        """Viability with the range to show: never nearer than five points each side.

        Parameters
        ----------
        loss_probit : ndarray
            Loss with multiplier 1 [probit], lots x losses, 0 to 1,000,000.

        Returns
        -------
        Band
            [%], lots x losses, within 0 to 100.

        Raises
        ------
        OutOfRangeError
            A loss lies outside its range.

        Notes
        -----
        The rule: the counting error of the start test belongs to every shown range, at least five
        points each side. The posterior carries the counting error already; what is missing to five
        points at the start is added on both sides at every loss, and the range is never nearer to
        the median than five points. So one rule serves lots with and without own tests, it changes
        smoothly, and a test of ten seeds moves the range only as far as ten seeds can.
        """
        none = np.zeros((len(self.lots), 1))
        every = self.viability(np.concatenate([none, loss_probit], axis=1))
        ends = np.stack([every.median_pct, every.low_pct, every.high_pct])
        start, (median, low, high) = ends[:, :, :1], ends[:, :, 1:]
        below = LEAST_MARGIN_PCT - (start[0] - start[1])
        above = LEAST_MARGIN_PCT - (start[2] - start[0])
        low = np.minimum(low - np.maximum(below, 0.0), median - LEAST_MARGIN_PCT)
        high = np.maximum(high + np.maximum(above, 0.0), median + LEAST_MARGIN_PCT)
        return Band(median, np.maximum(low, 0.0), np.minimum(high, 100.0))

    def prob_below(self, minimum_pct: Floats, loss_probit: Floats) -> Floats:
        """Chance that viability is below a minimum.

        Parameters
        ----------
        minimum_pct : ndarray
            Minimum germination [%], lots, 0 to 100.
        loss_probit : ndarray
            Loss with multiplier 1 [probit], lots x losses, 0 to 1,000,000.

        Returns
        -------
        ndarray
            Chance [1], lots x losses.

        Raises
        ------
        OutOfRangeError
            A minimum or loss lies outside its range.
        """
        minimum = checked("minimum germination", minimum_pct, 0.0, 100.0, "%")
        loss = checked("loss", loss_probit, 0.0, MAX_LOSS_PROBIT, "probits")
        # no grid reaches 40 probits above zero; far below, the minimum of 0 % is never undercut
        limit = np.clip(ned(minimum / 100.0), -1e9, 40.0)
        limits = np.broadcast_to(limit[:, None, None], (*loss.shape, 1))
        share = self.grid.share_below(limits, loss)[..., 0]
        return np.where(minimum[:, None] <= 0.0, 0.0, share)

    def levels(self, loss_probit: Floats, count: int = _LEVELS) -> Levels:
        """Distribution of germination at a loss, cut into 160 levels or another number.

        Parameters
        ----------
        loss_probit : ndarray
            Loss with multiplier 1 [probit], one a lot, 0 to 1,000,000.
        count : int
            How many levels [1], 1 or more; 64 do for hundreds of plants.

        Returns
        -------
        Levels
            Lots x levels.

        Raises
        ------
        OutOfRangeError
            A loss lies outside its range.
        """
        loss = checked("loss", loss_probit, 0.0, MAX_LOSS_PROBIT, "probits")[:, None]
        ends = self.grid.quantiles(np.array([1e-5, 1.0 - 1e-5]), loss, _ENDS_ENOUGH)
        ends = np.clip(ends, *_LEVEL_ENDS)
        low, high = ends[..., :1], np.maximum(ends[..., 1:], ends[..., :1] + 1e-3)
        edges = low + (high - low) * (np.arange(count + 1) / count)
        below = self.grid.share_below(edges, loss)[:, 0]
        below[:, 0], below[:, -1] = 0.0, 1.0
        middle = 0.5 * (edges[:, 0, :-1] + edges[:, 0, 1:])
        weight = np.maximum(np.diff(below, axis=1), 0.0)
        return Levels(viability_fraction(middle), weight / weight.sum(axis=1, keepdims=True))


@dataclass(frozen=True, slots=True)
class Posterior:
    """The posterior of one lot; losses may be a float (float out) or an array in one dimension.

    Examples
    --------
    >>> from hilum.science.germination import Count, Evidence
    >>> half = posterior(Evidence((Count(200, 400),), factor=4.0))
    >>> round(float(half.prob_below(50.0, 0.0)), 6)
    0.5

    References
    ----------
    Ellis & Roberts 1980, Ann. Bot. 45:13-30 (probit loss; status memory). Bayes-Laplace interval:
    Brown, Cai & DasGupta 2001, Statistical Science 16:101-133 (status memory).
    """

    one: Posteriors

    def viability(self, loss_probit: Quantity) -> Band:
        """Viability at a loss: median and 90 % band, as calibrated.

        Parameters
        ----------
        loss_probit : float or ndarray
            Loss with multiplier 1 [probit], 0 to 1,000,000.

        Returns
        -------
        Band
            [%], shape of ``loss_probit``.

        Raises
        ------
        OutOfRangeError
            A loss lies outside its range.
        """
        return _given_back(self.one.viability(_row(loss_probit)), loss_probit)

    def shown(self, loss_probit: Quantity) -> Band:
        """Viability with the range to show; see ``Posteriors.shown``.

        Parameters
        ----------
        loss_probit : float or ndarray
            Loss with multiplier 1 [probit], 0 to 1,000,000.

        Returns
        -------
        Band
            [%], shape of ``loss_probit``.

        Raises
        ------
        OutOfRangeError
            A loss lies outside its range.
        """
        return _given_back(self.one.shown(_row(loss_probit)), loss_probit)

    def prob_below(self, minimum_pct: float, loss_probit: Quantity) -> Quantity:
        """Chance that viability is below a minimum.

        Parameters
        ----------
        minimum_pct : float
            Minimum germination [%], 0 to 100.
        loss_probit : float or ndarray
            Loss with multiplier 1 [probit], 0 to 1,000,000.

        Returns
        -------
        float or ndarray
            Chance [1], shape of ``loss_probit``.

        Raises
        ------
        OutOfRangeError
            The minimum or a loss lies outside its range.
        """
        chance = self.one.prob_below(np.array([minimum_pct]), _row(loss_probit))
        return as_given(chance[0].reshape(np.shape(loss_probit)))

    def levels(self, loss_probit: float) -> Levels:
        """Distribution of germination at a loss, cut into 160 levels.

        Parameters
        ----------
        loss_probit : float
            Loss with multiplier 1 [probit], 0 to 1,000,000.

        Returns
        -------
        Levels
            One lot.

        Raises
        ------
        OutOfRangeError
            The loss lies outside its range.
        """
        many = self.one.levels(np.array([loss_probit]))
        return Levels(many.fraction[0], many.weight[0])

    def predictive(self, sown: int, loss_probit: float) -> Floats:
        """Chance of each number of seeds germinating out of so many.

        Parameters
        ----------
        sown : int
            Seeds in the test [seeds], 0 or more.
        loss_probit : float
            Loss with multiplier 1 [probit], 0 to 1,000,000.

        Returns
        -------
        ndarray
            Chances of 0, 1, ... ``sown`` [1].

        Raises
        ------
        OutOfRangeError
            The loss lies outside its range.
        """
        return self.levels(loss_probit).predictive(sown)

    def k(self) -> Summary:
        """What the evidence says of the true loss against the model's.

        Returns
        -------
        Summary
            Loss multiplier [1].
        """
        below = np.concatenate([[0.0], np.cumsum(self.one.grid.row_weight[0])])
        low, median, high = np.interp(_SHARES, below, self.one.grid.k_edges[0])
        return Summary(float(median), float(low), float(high))

    def v0(self) -> Summary:
        """What the evidence says of the start.

        Returns
        -------
        Summary
            Viability at loss 0 [probit].
        """
        low, median, high = self.one.grid.quantiles(_SHARES, np.zeros((1, 1)))[0, 0]
        return Summary(float(median), float(low), float(high))

    def sample(self, rng: np.random.Generator, draws: int) -> tuple[Floats, Floats]:
        """Draw pairs from the posterior.

        Parameters
        ----------
        rng : numpy.random.Generator
            Where chance comes from.
        draws : int
            How many pairs, 0 or more.

        Returns
        -------
        tuple of ndarray
            v0 [probit] and k [1], of equal length.
        """
        return self.one.grid.draw(0, rng, draws)


def posterior(evidence: Evidence) -> Posterior:
    """Put label, tests and the doubt about the loss of one lot together.

    Parameters
    ----------
    evidence : Evidence
        Counts (0 or more) and the 95 % factor of the loss multiplier [1].

    Returns
    -------
    Posterior
        Normalised; answers at any loss [probit].

    Examples
    --------
    >>> from hilum.science.germination import Count, Evidence
    >>> lot = posterior(Evidence((Count(360, 400),), factor=4.0))
    >>> round(float(lot.viability(0.0).median_pct))
    90

    References
    ----------
    Ellis & Roberts 1980, Ann. Bot. 45:13-30 (probit loss; status memory). Bayes-Laplace interval:
    Brown, Cai & DasGupta 2001, Statistical Science 16:101-133 (status memory).
    """
    return Posterior(next(posteriors((evidence,))))


def posteriors(evidences: Sequence[Evidence]) -> Iterator[Posteriors]:
    """Do the same for many lots, in chunks that bound the memory (about 20 MB).

    Parameters
    ----------
    evidences : sequence of Evidence
        One a lot.

    Yields
    ------
    Posteriors
        At most 128 lots with equally many counts; ``lots`` says which. Every lot comes once.
    """
    # alike ones side by side: they can share a grid
    order = sorted(range(len(evidences)), key=lambda lot: _sorting(evidences[lot]))
    size = np.array([len(evidences[lot].counts) for lot in order], dtype=np.int64)
    for counts in np.unique(size):
        same = np.array(order)[size == counts]
        for first in range(0, len(same), _CHUNK):
            lots = same[first : first + _CHUNK]
            yield Posteriors(lots, _grid([evidences[lot] for lot in lots]))


def bands(evidences: Sequence[Evidence], loss_probit: Floats) -> Band:
    """Shown viability of many lots at their losses.

    Parameters
    ----------
    evidences : sequence of Evidence
        One a lot.
    loss_probit : ndarray
        Loss with multiplier 1 [probit], lots x losses, 0 to 1,000,000.

    Returns
    -------
    Band
        [%], lots x losses, as ``Posteriors.shown``.

    Raises
    ------
    OutOfRangeError
        A loss lies outside its range.

    Examples
    --------
    >>> from hilum.science.germination import Count, Evidence
    >>> lots = [Evidence((Count(x, 400),), factor=4.0) for x in (360, 200)]
    >>> bands(lots, np.zeros((2, 1))).median_pct.round().tolist()
    [[90.0], [50.0]]

    References
    ----------
    Ellis & Roberts 1980, Ann. Bot. 45:13-30 (probit loss; status memory). Bayes-Laplace interval:
    Brown, Cai & DasGupta 2001, Statistical Science 16:101-133 (status memory).
    """
    out = np.empty((3, *loss_probit.shape))
    for chunk in posteriors(evidences):
        band = chunk.shown(loss_probit[chunk.lots])
        out[:, chunk.lots] = band.median_pct, band.low_pct, band.high_pct
    return Band(out[0], out[1], out[2])


def _grid(evidences: Sequence[Evidence]) -> Grid:
    rows = [
        [(count.germinated, count.sown, count.loss_probit) for count in evidence.counts]
        for evidence in evidences
    ]
    table = np.array(rows, dtype=np.float64).reshape(len(evidences), -1, 3)
    germinated, sown, loss = (np.ascontiguousarray(table[:, :, i]) for i in range(3))
    spread = np.array([evidence.log_spread for evidence in evidences])
    start = ned((germinated + 0.5) / (sown + 1.0))
    if loss.any():
        return make_grid(Counts(germinated, sown, loss), spread, start)
    # without loss nothing but the multiplier itself depends on its spread
    _, first, which = np.unique(table, axis=0, return_index=True, return_inverse=True)
    alike = Counts(germinated[first], sown[first], loss[first])
    grid = make_grid(alike, spread[first], start[first])
    return replace(grid, spread=spread, shape=which.reshape(-1))


def _sorting(evidence: Evidence) -> tuple[tuple[float, float, float], ...]:
    return tuple((each.loss_probit, each.germinated, each.sown) for each in evidence.counts)


def _row(loss_probit: Quantity) -> Floats:
    return as_floats(loss_probit).reshape(1, -1)


def _given_back(band: Band, loss_probit: Quantity) -> Band:
    shape = np.shape(loss_probit)
    median, low, high = (
        as_given(as_floats(value)[0].reshape(shape))
        for value in (band.median_pct, band.low_pct, band.high_pct)
    )
    return Band(median, low, high)
