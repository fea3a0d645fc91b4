"""Where the loss of a lot came about: before the box, measured, estimated.

The ledger keeps, for each hour, how much of it was backed by readings, not how much of its loss.
The split is found on asking, for one lot, by halving the time until each part is of one sort.
"""

from dataclasses import dataclass

import numpy as np

from hilum.domain.model import MS_PER_HOUR, Floats, Ints
from hilum.keeping.lots.life import Lives
from hilum.keeping.reckoning.course import NEVER_MS

LEAST_S = 1.0
"""Less time than this is none: sums of seconds run over years."""

HALVINGS = 24
"""More than it takes to come from a thousand years to an hour."""


@dataclass(frozen=True, slots=True)
class LossParts:
    """Loss of a lot [probit] by what is known of it; the three add up to the whole.

    Attributes
    ----------
    before_probit : float
        From its origin until it came into its first box: nobody measured.
    measured_probit : float
        In boxes, backed by readings.
    estimated_probit : float
        In boxes while their sensors were silent, in boxes without one, and between boxes.
    """

    before_probit: float
    measured_probit: float
    estimated_probit: float

    @property
    def total_probit(self) -> float:
        """All of it."""
        return self.before_probit + self.measured_probit + self.estimated_probit


def loss_parts(lives: Lives, lot: int, at_ms: int, first_ms: int | None) -> LossParts:
    """Split what one lot lost up to a time.

    Parameters
    ----------
    lives : Lives
        The lot's life, loaded.
    lot : int
        Its place among these lives.
    at_ms : int
        The time.
    first_ms : int or None
        Start of its first stay; ``None``: it never was in a box.

    Returns
    -------
    LossParts
        All zero where it has no origin.
    """
    origin_ms = int(lives.origin_ms[lot])
    if origin_ms == NEVER_MS or origin_ms >= at_ms:
        return LossParts(0.0, 0.0, 0.0)
    came_ms = at_ms if first_ms is None else int(np.clip(first_ms, origin_ms, at_ms))
    begun, came, now = _sums(lives, lot, np.array([origin_ms, came_ms, at_ms]))
    before = _loss(came - begun)
    measured = _measured(lives, lot, came_ms, at_ms)
    return LossParts(before, measured, _loss(now - came) - measured)


def _measured(lives: Lives, lot: int, from_ms: int, to_ms: int) -> float:
    """Loss backed by readings; an hour that is so in part counts for that part."""
    starts, ends = np.array([from_ms]), np.array([to_ms])
    found = 0.0
    for _ in range(HALVINGS):
        sums = _sums(lives, lot, np.concatenate([starts, ends]))
        part = sums[len(starts) :] - sums[: len(starts)]
        loss, covered_s, estimated_s = part[:, 0], part[:, 1], part[:, 2]
        mixed = (covered_s > LEAST_S) & (estimated_s > LEAST_S) & (ends - starts > MS_PER_HOUR)
        whole = ~mixed
        share = covered_s[whole] / np.maximum(covered_s[whole] + estimated_s[whole], LEAST_S)
        found += float(loss[whole] @ share)
        if not mixed.any():
            break
        middle = (starts[mixed] + ends[mixed]) // 2
        starts, ends = (
            np.concatenate([starts[mixed], middle]),
            np.concatenate([middle, ends[mixed]]),
        )
    return found


def _sums(lives: Lives, lot: int, times_ms: Ints) -> Floats:
    """Loss in boxes, time covered and estimated there, and loss elsewhere, up to times."""
    seen = lives.states(np.full(len(times_ms), lot), times_ms)
    return np.concatenate([seen.observed[:, :3], seen.unobserved[:, :1]], axis=1)


def _loss(sums: Floats) -> float:
    return float(sums[0] + sums[3])
