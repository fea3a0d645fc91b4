"""Labels at both ends of their range, and the loss a lot can bear when nothing else is said."""

import numpy as np
import pytest

from hilum.science.endurance import bearable_loss
from hilum.science.germination import Count, Evidence, start_from_label
from hilum.science.posterior import posteriors


@pytest.mark.parametrize("pct", [0.0, 100.0])
def test_dead_and_perfect_labels_are_labels(pct: float) -> None:
    """0 and 100 % are figures like others, as is a minimum of 0 or 100 %."""
    assert start_from_label(pct).count == Count(4.0 * pct, 400.0)
    start = start_from_label(None, minimum_pct=pct)
    assert start.count is not None
    assert start.count.germinated == pytest.approx((pct + 100.0) / 20.0)


def test_largest_counts_and_losses_are_taken() -> None:
    """A million seeds, a million probits, a factor of 100: the ends belong to the range."""
    count = Count(1e6, 1e6, 1e6)
    assert Evidence((count,), 100.0).counts == (count,)


def test_a_lot_bears_loss_until_its_median_reaches_the_minimum() -> None:
    """Without a share it is the median: as many chances below the minimum as above it."""
    chunk = next(posteriors([Evidence((Count(360, 400),), 4.0)]))
    minimum = np.array([70.0])
    loss = bearable_loss(chunk, minimum)
    assert loss == pytest.approx(bearable_loss(chunk, minimum, 0.5))
    below = chunk.prob_below(minimum, loss[:, None])
    assert float(below[0, 0]) == pytest.approx(0.5, abs=1e-5)
