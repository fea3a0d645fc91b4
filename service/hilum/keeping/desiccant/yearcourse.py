"""How a room goes through the year, as far as a record tells, and how it may go on.

A level and one yearly swing, fitted with a prior so that a short record claims little; days around
it are drawn from the days that were.
"""

from dataclasses import dataclass

import numpy as np

from hilum.domain.model import Floats

YEAR_DAYS = 365.25


@dataclass(frozen=True, slots=True)
class Season:
    """Level and yearly swing, and how sure: mean and lower triangle of the covariance."""

    mean: Floats
    root: Floats

    def at(self, day: Floats) -> Floats:
        """The most likely course."""
        return np.asarray(_waves(day) @ self.mean)

    def draws(self, day: Floats, rng: np.random.Generator, count: int) -> Floats:
        """So many courses that the record allows, one a row."""
        chosen = self.mean + rng.standard_normal((count, 3)) @ self.root.T
        return np.asarray(chosen @ _waves(day).T)


def fit_season(
    day: Floats,
    values: Floats,
    *,
    swing: float,
    noise: float,
    expected: tuple[float, float] = (0.0, 0.0),
) -> Season:
    """Fit level and yearly swing.

    Parameters
    ----------
    day : ndarray
        Times [d].
    values : ndarray
        Means of a week or so, their errors independent.
    swing : float
        Half-swing of the year to be expected (root mean square), in the unit of the values.
    noise : float
        Error of one value, in their unit.
    expected : tuple of float
        Cosine and sine part of the swing, where something else tells them.
    """
    waves = _waves(day)
    prior = np.array([float(np.median(values)), *expected])
    weight = np.diag([(4.0 * swing) ** -2, 2.0 * swing**-2, 2.0 * swing**-2])
    covariance = np.linalg.inv(waves.T @ waves / noise**2 + weight)
    mean = prior + covariance @ (waves.T @ (values - waves @ prior)) / noise**2
    return Season(mean, np.linalg.cholesky(covariance))


def weekly(values: Floats) -> Floats:
    """Means of whole weeks, counted back from the end."""
    weeks = max(len(values) // 7, 1)
    return np.asarray(values[-weeks * 7 :].reshape(weeks, -1).mean(axis=1))


def redrawn(residuals: Floats, rng: np.random.Generator, count: int, days: int) -> Floats:
    """Go on with days as they were, from chosen days on, in their order; one course a row."""
    start = rng.integers(0, len(residuals), count)[:, None]
    return np.asarray(residuals[(start + np.arange(days)) % len(residuals)])


def _waves(day: Floats) -> Floats:
    angle = 2.0 * np.pi * day / YEAR_DAYS
    return np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=-1)
