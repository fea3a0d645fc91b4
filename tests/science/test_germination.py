"""What a packet says, turned into a count."""

import math

import pytest

from hilum.science.errors import OutOfRangeError
from hilum.science.germination import CANNOT_TELL, Count, Evidence, start_from_label


def test_a_label_counts_as_400_seeds() -> None:
    """A label without a number of seeds is taken as the ISTA working sample of 400."""
    start = start_from_label(90.0)
    assert start.count == Count(360.0, 400.0)
    assert "400" in start.words
    assert start.status == "read"


def test_a_stated_number_of_seeds_is_used() -> None:
    """A label with its number of seeds counts as that many, even where the count is not whole."""
    assert start_from_label(86.5, 100).count == Count(86.5, 100.0)


def test_a_figure_without_a_date_counts_little() -> None:
    """A figure that has no date counts as four seeds, and fewer if fewer were tested."""
    assert start_from_label(90.0, dated=False).count == Count(3.6, 4.0)
    assert start_from_label(50.0, 400, dated=False).count == Count(2.0, 4.0)
    assert start_from_label(50.0, 2, dated=False).count == Count(1.0, 2.0)
    assert "4 seeds" in start_from_label(90.0, dated=False).words


def test_no_figure_is_an_assumption_in_words() -> None:
    """Without a figure ten seeds half-way above the minimum are assumed, and it is said."""
    start = start_from_label(None, minimum_pct=70.0)
    assert start.count == Count(8.5, 10.0)
    assert "assumption" in start.words
    assert start.status == "derived"
    assert start_from_label(None).count is None
    undated = start_from_label(None, dated=False, minimum_pct=70.0)
    assert undated.count == Count(3.4, 4.0)
    assert "no figure, no date" in undated.words


@pytest.mark.parametrize(
    ("germinated", "sown", "loss"),
    [(-1, 10, 0), (11, 10, 0), (0, 0, 0), (1, 10, -0.1), (1, 10, math.inf), (math.nan, 10, 0)],
)
def test_impossible_counts_are_refused(germinated: float, sown: float, loss: float) -> None:
    """A count no test can have is an error that names the quantity."""
    with pytest.raises(OutOfRangeError, match=r"seeds|loss"):
        Count(germinated, sown, loss)


def test_impossible_factors_and_percentages_are_refused() -> None:
    """A factor below one, and a germination above 100 %, are errors."""
    with pytest.raises(OutOfRangeError, match="factor"):
        Evidence((), 0.9)
    with pytest.raises(OutOfRangeError, match="germination"):
        start_from_label(101.0)
    with pytest.raises(OutOfRangeError, match="minimum"):
        start_from_label(None, minimum_pct=-1.0)


def test_the_factor_is_a_95_per_cent_factor() -> None:
    """exp(1.96 x spread) is the factor."""
    assert math.exp(1.96 * Evidence((), 4.0).log_spread) == pytest.approx(4.0)


def test_dormancy_and_hard_seed_are_named() -> None:
    """The note says what a test cannot tell from death."""
    assert "dormant" in CANNOT_TELL
    assert "hard seed" in CANNOT_TELL
