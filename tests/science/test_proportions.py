"""Intervals of counts, against another library."""

import pytest
from statsmodels.stats.proportion import proportion_confint

from hilum.science.errors import OutOfRangeError
from hilum.science.proportions import count_interval


@pytest.mark.parametrize("counted", [(0, 10), (10, 10), (24, 50), (64, 100), (399, 400), (0, 1)])
@pytest.mark.parametrize("level", [0.9, 0.95])
def test_intervals_are_wilsons(counted: tuple[int, int], level: float) -> None:
    """Wilson's interval as statsmodels gives it agrees to nine digits, at the ends too."""
    low, high = proportion_confint(*counted, alpha=1.0 - level, method="wilson")
    assert count_interval(*counted, level) == pytest.approx((low, high), abs=1e-9)


@pytest.mark.parametrize("wrong", [(1, 0, 0.9), (-1, 5, 0.9), (6, 5, 0.9), (2, 5, 1.0)])
def test_what_is_no_count_is_refused(wrong: tuple[int, int, float]) -> None:
    """No seeds, fewer than none, more than were sown, or certainty."""
    with pytest.raises(OutOfRangeError):
        count_interval(*wrong)
