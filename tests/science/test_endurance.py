"""The loss lots can bear, against a plain search and a case with a closed answer."""

import numpy as np
import pytest
from scipy import stats

from hilum.science.endurance import bearable_loss
from hilum.science.errors import OutOfRangeError
from hilum.science.germination import MAX_LOSS_PROBIT, Count, Evidence
from hilum.science.posterior import posteriors

LOTS = (
    Evidence((Count(360, 400),), 4.0),
    Evidence((Count(360, 400), Count(30, 50, 0.8)), 5.0),
    Evidence((Count(9, 10),), 8.0),
    Evidence((), 4.0),
)


@pytest.mark.parametrize("share", [0.05, 0.5, 0.9])
def test_half_of_the_posterior_is_below_there(share: float) -> None:
    """At the loss that is given just that share is below the minimum, or it was from the start."""
    for chunk in posteriors(LOTS):
        minimum = np.full(len(chunk.lots), 70.0)
        loss = bearable_loss(chunk, minimum, share)
        below = chunk.prob_below(minimum, loss[:, None])[:, 0]
        assert np.where(loss > 0.0, np.abs(below - share) < 1e-5, below >= share).all()


def test_known_seed_bears_the_difference_in_probits() -> None:
    """Without doubt v0 - L reaches the minimum at L = v0 - minimum; probits from scipy."""
    chunk = next(posteriors([Evidence((Count(930_000, 1_000_000),), 1.0)]))
    expected = stats.norm.ppf(0.93) - stats.norm.ppf(0.80)
    assert bearable_loss(chunk, np.array([80.0]))[0] == pytest.approx(expected, abs=1e-3)


def test_ends_are_named() -> None:
    """Seed that starts below bears nothing; what never happens is the largest loss there is."""
    chunk = next(posteriors([Evidence((Count(100, 400),), 4.0)]))
    assert bearable_loss(chunk, np.array([70.0]))[0] == 0.0
    never = bearable_loss(chunk, np.array([1e-9]), 1.0 - 1e-9)[0]
    assert 0.0 < never <= MAX_LOSS_PROBIT
    with pytest.raises(OutOfRangeError, match="minimum"):
        bearable_loss(chunk, np.array([100.0]))
