"""What is known of a lot's germination: its label, its tests, and how sure the loss is.

The model: viability in probits is v0 - k * L, with v0 the viability at the start, L the loss the
conditions imply (Ellis & Roberts 1980) and k a multiplier for everything the published constants do
not know about this lot. A test is a count: so many sown, so many germinated, at a loss.
"""

import math
from dataclasses import dataclass

from hilum.science.errors import OutOfRangeError

LABEL_SEEDS = 400.0
"""Seeds behind a label that does not say: the working sample of 4 x 100.

ISTA and AOSA rules as quoted by Oregon State University; status: read.
"""

WEAK_SEEDS = 10.0
"""Seeds a start counts for that nobody measured: an assumption of this program, no source."""

UNDATED_SEEDS = 4.0
"""Seeds a start counts for whose age nobody knows: so few that one small test outweighs it; an
assumption of this program, no source."""

MAX_SEEDS = 1e6
MAX_LOSS_PROBIT = 1e6

CANNOT_TELL = (
    "A germination test counts dormant seed and hard seed as not germinated. It cannot tell them "
    "from dead seed: where a kind is known for dormancy or hard seed, a low count may mean that "
    "the seed was not ready, not that it is dead."
)
"""What no count can tell; shown beside every test result."""


@dataclass(frozen=True, slots=True)
class Count:
    """A germination count: the label's, or one of the grower's own tests.

    Parameters
    ----------
    germinated : float
        Seeds that germinated [seeds], 0 to sown; need not be whole (86.5 % of 400).
    sown : float
        Seeds tested [seeds], above 0 up to 1,000,000.
    loss_probit : float
        Loss since the start at the time of the test, multiplier 1 [probit], 0 to 1,000,000.

    Raises
    ------
    OutOfRangeError
        A number lies outside its range or is no number.
    """

    germinated: float
    sown: float
    loss_probit: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 < self.sown <= MAX_SEEDS:
            raise OutOfRangeError("seeds sown in a test", self.sown, 1, MAX_SEEDS, "seeds")
        if not 0.0 <= self.germinated <= self.sown:
            raise OutOfRangeError("seeds germinated", self.germinated, 0, self.sown, "seeds")
        if not 0.0 <= self.loss_probit <= MAX_LOSS_PROBIT:
            raise OutOfRangeError("loss at a test", self.loss_probit, 0, MAX_LOSS_PROBIT, "probits")


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that is known of one lot.

    Parameters
    ----------
    counts : tuple of Count
        The start (see ``start_from_label``) and the grower's tests, in any order; may be empty.
    factor : float
        95 % factor each way of the loss multiplier [1], 1 to 100: k is log-normal with median 1,
        and 95 % of it lies between 1/factor and factor.

    Raises
    ------
    OutOfRangeError
        The factor lies outside its range or is no number.
    """

    counts: tuple[Count, ...]
    factor: float

    def __post_init__(self) -> None:
        if not 1.0 <= self.factor <= 100.0:
            raise OutOfRangeError("factor of the loss multiplier", self.factor, 1, 100, "")

    @property
    def log_spread(self) -> float:
        """Standard deviation of ln k [1]: ln(factor) / 1.96."""
        return math.log(self.factor) / 1.96


@dataclass(frozen=True, slots=True)
class Start:
    """What the lot is taken to have been at its start, and on what ground.

    ``count`` is ``None`` when nothing at all is known: every germination from 0 to 100 % is then
    equally likely.
    """

    count: Count | None
    words: str
    status: str


def start_from_label(
    label_pct: float | None,
    label_seeds: float | None = None,
    *,
    dated: bool = True,
    minimum_pct: float | None = None,
) -> Start:
    """Turn what the packet says into a count at loss 0.

    Parameters
    ----------
    label_pct : float or None
        Germination printed on the packet or measured first [%], 0 to 100; None: not given.
    label_seeds : float or None
        Seeds behind that figure [seeds], above 0; None: 400, the ISTA working sample.
    dated : bool
        Whether the lot has a date (or at least a year), so that the loss since is known.
    minimum_pct : float or None
        Minimum germination of the kind [%], 0 to 100; used where there is no figure.

    Returns
    -------
    Start
        The count, the ground for it in words, and its status.

    Raises
    ------
    OutOfRangeError
        A percentage lies outside 0 to 100, or the number of seeds outside its range.

    Examples
    --------
    >>> start = start_from_label(90.0)
    >>> start.count.germinated, start.count.sown, start.status
    (360.0, 400.0, 'read')

    Notes
    -----
    A figure without a date counts as four seeds. No figure: as if ten seeds (four without a date)
    had been tested and had germinated half-way between the kind's minimum and 100 %. Seed sold in
    small packets below the minimum must be marked so, hence the lower end; ten seeds, because
    nobody measured; four, because the age is not known either. All are assumptions of this program,
    and one own test soon outweighs them.

    References
    ----------
    7 CFR 201.29 and 201.31 (minimum germination, marking below standard); status: read. ISTA
    working sample of 400 seeds; status: read (Oregon State University).
    """
    for what, value in (("germination", label_pct), ("minimum germination", minimum_pct)):
        if value is not None and not 0.0 <= value <= 100.0:
            raise OutOfRangeError(what, value, 0, 100, "%")
    if label_pct is not None and dated:
        return _measured(label_pct, label_seeds)
    if label_pct is not None:
        seeds = min(label_seeds or UNDATED_SEEDS, UNDATED_SEEDS)
        words = f"{label_pct:g} % without a date: counted as {seeds:g} seeds (our assumption)"
        return Start(Count(label_pct / 100.0 * seeds, seeds), words, "derived")
    if minimum_pct is not None:
        middle, seeds = (minimum_pct + 100.0) / 2.0, WEAK_SEEDS if dated else UNDATED_SEEDS
        words = (
            f"no figure{'' if dated else ', no date'}: taken as {middle:g} % of {seeds:g} seeds, "
            f"half-way between the minimum for the kind ({minimum_pct:g} %) and 100 % (our "
            "assumption)"
        )
        return Start(Count(middle / 100.0 * seeds, seeds), words, "derived")
    return Start(None, "nothing known: any germination from 0 to 100 % is as likely", "derived")


def _measured(label_pct: float, label_seeds: float | None) -> Start:
    if label_seeds is None:
        words = (
            f"{label_pct:g} % as stated, number of seeds tested not stated: "
            f"{LABEL_SEEDS:g}, the ISTA working sample"
        )
        return Start(Count(label_pct / 100.0 * LABEL_SEEDS, LABEL_SEEDS), words, "read")
    words = f"{label_pct:g} % of {label_seeds:g} seeds, as stated"
    return Start(Count(label_pct / 100.0 * label_seeds, label_seeds), words, "read")
