"""How much loss lots can bear until they are as likely below their minimum as above it."""

import numpy as np

from hilum.science._quantities import Floats, checked
from hilum.science.germination import MAX_LOSS_PROBIT
from hilum.science.normal import ned
from hilum.science.posterior import Posteriors

_STEPS = 60
_EXACT = 1e-6  # of the share, far below what anybody is shown


def bearable_loss(posteriors: Posteriors, minimum_pct: Floats, share: float = 0.5) -> Floats:
    """Loss at which so large a share of the posterior is below a minimum germination.

    Parameters
    ----------
    posteriors : Posteriors
        What is known of some lots.
    minimum_pct : ndarray
        Minimum germination [%], lots, above 0 and below 100.
    share : float
        Share below the minimum [1], above 0 and below 1; 0.5: the median reaches it.

    Returns
    -------
    ndarray
        Loss from the start with multiplier 1 [probit], lots; 0 where the share is below from the
        start on, 1,000,000 where no smaller loss does it.

    Raises
    ------
    OutOfRangeError
        A number lies outside its range.

    Examples
    --------
    >>> from hilum.science.germination import Count, Evidence
    >>> from hilum.science.posterior import posteriors
    >>> sure = next(posteriors([Evidence((Count(840_000, 1_000_000),), factor=1.0)]))
    >>> bearable_loss(sure, np.array([50.0])).round(2).tolist()
    [0.99]

    References
    ----------
    Ellis & Roberts 1980, Annals of Botany 45:13-30 (probit loss).
    """
    checked("minimum germination", minimum_pct, 1e-9, 100.0 - 1e-9, "%")
    checked("share below the minimum", share, 1e-9, 1.0 - 1e-9, "of one")
    limits = np.asarray(ned(minimum_pct / 100.0))[:, None, None]
    grid = posteriors.grid

    def miss(loss: Floats) -> Floats:
        return np.asarray(grid.share_below(limits, loss[:, None])[:, 0, 0]) - share

    low = np.zeros(len(minimum_pct))
    below = miss(low)
    middle = (grid.row_weight * grid.centre_edges[grid.shape, :-1]).sum(axis=1)
    high = np.maximum(2.0 * (middle - limits[:, 0, 0]), 0.05)
    above = miss(high)
    while np.any(short := (above < 0.0) & (high < MAX_LOSS_PROBIT)):
        low, below = np.where(short, high, low), np.where(short, above, below)
        high = np.where(short, np.minimum(4.0 * high, MAX_LOSS_PROBIT), high)
        above = miss(high)
    guess = np.where(below >= 0.0, 0.0, high)
    open_ = (below < 0.0) & (above >= 0.0)
    side = np.zeros(len(guess))
    for _ in range(_STEPS):
        if not open_.any():
            break
        step = np.clip(below / np.where(open_, below - above, -1.0), 0.02, 0.98)
        guess = np.where(open_, low + (high - low) * step, guess)
        here = miss(guess)
        left = here < 0.0
        # regula falsi; an end that stays twice running counts half (Illinois)
        stale = np.where(np.where(left, -1.0, 1.0) == side, 0.5, 1.0)
        side = np.where(left, -1.0, 1.0)
        low, high = np.where(left, guess, low), np.where(left, high, guess)
        below = np.where(left, here, stale * below)
        above = np.where(left, stale * above, here)
        open_ &= np.abs(here) > _EXACT
    return guess
