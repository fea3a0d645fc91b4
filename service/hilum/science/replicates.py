"""Whether the replicates of a germination test agree, or the test was uneven."""

from collections.abc import Sequence
from dataclasses import dataclass

from hilum.science.errors import OutOfRangeError
from hilum.science.tables import rows

_HUNDRED = 100


@dataclass(frozen=True, slots=True)
class Agreement:
    """Whether replicates agree.

    Attributes
    ----------
    agree : bool or None
        None: no published tolerance for such a test.
    range_pct : int
        Highest less lowest replicate [points].
    tolerated_pct : int or None
        Largest range that chance explains [points]; None with ``agree`` None.
    words : str
        One sentence for the grower.
    source, status : str
        Where the tolerance comes from; empty with ``agree`` None.
    """

    agree: bool | None
    range_pct: int
    tolerated_pct: int | None
    words: str
    source: str = ""
    status: str = ""


def replicates_agree(counts: Sequence[int], n_each: int = _HUNDRED) -> Agreement:
    """Compare the range of the replicates with the tolerated range at their mean.

    Parameters
    ----------
    counts : sequence of int
        Seeds germinated in each replicate [seeds], 0 to ``n_each``; at least one.
    n_each : int
        Seeds in each replicate [seeds]: 25, 50 or 100 have a tolerance; 1 or more is accepted.

    Returns
    -------
    Agreement
        The verdict, the range and the largest tolerated one.

    Raises
    ------
    OutOfRangeError
        A count, or the number of seeds or replicates, lies outside its range.

    Notes
    -----
    The table is for 2 or 4 replicates of 100 seeds. Replicates of 25 or 50 are added up in the
    order given to replicates of 100 (ISTA practice; status: memory) if that gives 2 or 4. The mean
    is rounded to whole per cent, halves up; a mean of 50 or less is looked up at 101 less the mean,
    as the second column of the table has it (2 % stands beside 99 %).

    References
    ----------
    7 CFR 201.55, means of 71 to 99 %; status: read. ISTA Rules, table 5B, means of 51 to 70 %;
    status: memory.
    """
    if n_each < 1:
        raise OutOfRangeError("seeds in a replicate", n_each, 1, 1_000_000, "seeds")
    if not counts:
        raise OutOfRangeError("replicates", 0, 1, 1_000, "replicates")
    for count in counts:
        if not 0 <= count <= n_each:
            raise OutOfRangeError("seeds germinated in a replicate", count, 0, n_each, "seeds")
    hundreds = _hundreds(counts, n_each)
    if hundreds is None:
        spread = round(100 * (max(counts) - min(counts)) / n_each)
        words = "There is no published tolerance for replicates of this size and number."
        return Agreement(None, spread, None, words)
    return _look_up(hundreds)


def _hundreds(counts: Sequence[int], n_each: int) -> list[int] | None:
    """Counts of 2 or 4 replicates of 100 seeds, or None."""
    if n_each not in {25, 50, _HUNDRED}:
        return None
    step = _HUNDRED // n_each
    if len(counts) not in {2 * step, 4 * step}:
        return None
    return [sum(counts[i : i + step]) for i in range(0, len(counts), step)]


def _look_up(hundreds: list[int]) -> Agreement:
    mean = (2 * sum(hundreds) + len(hundreds)) // (2 * len(hundreds))  # halves up
    upper = 101 - mean if mean <= 50 else mean
    spread = max(hundreds) - min(hundreds)
    column = "range_2" if len(hundreds) == 2 else "range_4"
    row = next(row for row in rows("replicate_tolerance") if int(row["mean_pct"]) == min(upper, 99))
    tolerated = int(row[column]) if row[column] else None
    if tolerated is None and upper >= 98:
        tolerated = 2 * (_HUNDRED - min(upper, 99)) + 2  # no two counts can lie further apart
    if tolerated is None:
        words = "There is no published tolerance for two replicates at this mean."
        return Agreement(None, spread, None, words)
    agree = spread <= tolerated
    words = f"The replicates lie {spread} points apart; chance explains up to {tolerated}. " + (
        "They agree." if agree else "The test was uneven: better made again."
    )
    return Agreement(agree, spread, tolerated, words, row["source"], row["status"])
