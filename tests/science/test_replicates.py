"""Replicates of a germination test against the tolerance table of 7 CFR 201.55."""

import pytest

from hilum.science.errors import OutOfRangeError
from hilum.science.replicates import replicates_agree
from hilum.science.tables import rows


@pytest.mark.parametrize(
    ("counts", "tolerated", "agree"),
    [
        ((99, 96, 100, 99), 5, True),  # mean 98.5, halves up: 99
        ((94, 100, 98, 98), 6, True),  # mean 97.5: 98
        ((90, 90, 90, 78), 13, True),  # mean 87
        ((92, 90, 90, 76), 13, False),  # mean 87
        ((80, 70, 75, 75), 17, True),
        ((84, 66, 75, 75), 17, False),
        ((78, 92), 11, False),  # mean 85, two replicates: 11
        ((80, 91), 11, True),  # mean 85.5: 86
        ((60, 70, 65, 65), 19, True),  # from memory
        ((2, 1, 4, 1), 5, True),  # mean 2 stands beside 99
        ((10, 2, 2, 2), 7, False),  # mean 4 stands beside 97
    ],
)
def test_the_table_decides(counts: tuple[int, ...], tolerated: int, agree: bool) -> None:
    """Ranges as printed in 7 CFR 201.55 (and ISTA 5B below 71 %) separate even from uneven."""
    found = replicates_agree(counts)
    assert (found.tolerated_pct, found.agree) == (tolerated, agree)
    assert found.range_pct == max(counts) - min(counts)
    assert str(tolerated) in found.words


def test_source_and_status_travel_with_the_verdict() -> None:
    """Above 70 % the tolerance was read in the rule, below it is recalled."""
    high, low = replicates_agree((80, 80, 80, 80)), replicates_agree((60, 60, 60, 60))
    assert (high.source, high.status) == ("7 CFR 201.55", "read")
    assert low.status == "memory"


def test_the_table_follows_the_formula_behind_it() -> None:
    """All 29 rows that were read lie within 1.04 of 3.984 sqrt(p (100 - p) / 100), four replicates.

    3.984 is the 97.5 % point of the studentized range of four (Seed testing reference, computed).
    """
    read = [row for row in rows("replicate_tolerance") if row["status"] == "read"]
    assert [int(row["mean_pct"]) for row in read] == list(range(99, 70, -1))
    for row in read:
        mean = int(row["mean_pct"])
        assert abs(int(row["range_4"]) - 3.984 * (mean * (100 - mean) / 100) ** 0.5) <= 1.04


def test_small_replicates_are_added_up() -> None:
    """Eight times 50 are four times 100, in the order given; the range is that of the hundreds."""
    found = replicates_agree((45, 45, 40, 40, 45, 45, 40, 40), 50)
    assert (found.range_pct, found.tolerated_pct, found.agree) == (10, 14, True)
    assert replicates_agree((22,) * 16, 25).agree is True


def test_all_or_none_agree() -> None:
    """Replicates that all stand at 100 % or at 0 % agree."""
    for counts in ((100, 100, 100, 100), (0, 0, 0, 0), (100, 100), (97, 100), (0, 6)):
        assert replicates_agree(counts).agree is True


@pytest.mark.parametrize(
    ("counts", "n_each"), [((8, 9), 10), ((90, 80, 85), 100), ((60, 62), 100), ((5,), 10)]
)
def test_no_tolerance_is_said(counts: tuple[int, ...], n_each: int) -> None:
    """Where the table has no value there is no verdict, and a sentence says so."""
    found = replicates_agree(counts, n_each)
    assert found.agree is None
    assert "no published tolerance" in found.words


def test_impossible_replicates_are_refused() -> None:
    """More germinated than sown, no replicates, or no seeds: an error."""
    for counts, n_each in (((101, 90), 100), ((), 100), ((0,), 0)):
        with pytest.raises(OutOfRangeError, match="replicate"):
            replicates_agree(counts, n_each)
