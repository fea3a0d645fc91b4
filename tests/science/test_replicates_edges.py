"""Replicates at the edges of the table, and where there is none."""

import itertools

import pytest

from hilum.science.errors import OutOfRangeError
from hilum.science.replicates import replicates_agree


@pytest.mark.parametrize(
    ("counts", "agree"),
    [
        ((61, 41, 51, 51), True),  # mean 51: 20 points
        ((62, 41, 51, 50), False),
        ((60, 40, 50, 50), True),  # mean 50 is looked up as 51: 20 points
        ((61, 40, 50, 49), False),
        ((59, 39, 49, 49), True),  # mean 49 as 52: 20 points
        ((60, 39, 49, 48), False),
    ],
)
def test_about_the_middle_twenty_points(counts: tuple[int, ...], *, agree: bool) -> None:
    """ISTA table 5B as recalled: 55 to 51 %, and what mirrors them, 20 points; the words say so."""
    found = replicates_agree(counts)
    assert found.tolerated_pct == 20
    assert found.agree is agree
    assert ("They agree." in found.words) is agree
    assert ("uneven" in found.words) is not agree


def test_two_good_replicates_cannot_lie_too_far_apart() -> None:
    """7 CFR 201.55 gives no figure for two replicates at 98 % and more: any two counts will do."""
    for counts in itertools.product(range(94, 101), repeat=2):
        if sum(counts) >= 195:
            assert replicates_agree(counts).agree is True, counts


def test_other_sizes_are_told_their_range_in_points() -> None:
    """8 and 5 of ten seeds lie 30 points apart; one of one and none of one, 100."""
    assert replicates_agree((8, 5), 10).range_pct == 30
    assert replicates_agree((1, 0), 1).range_pct == 100
    assert replicates_agree((19, 13, 17), 20).range_pct == 30


def test_two_of_the_size_of_quarters_are_no_pair_of_hundreds() -> None:
    """Two replicates of 25 add up to half a replicate: no tolerance is published for that."""
    assert replicates_agree((20, 24), 25).agree is None
    assert replicates_agree((45, 47), 50).agree is None


def test_no_seeds_are_no_replicate() -> None:
    """A replicate of no seeds is refused."""
    with pytest.raises(OutOfRangeError, match="seeds in a replicate"):
        replicates_agree((0,), 0)
