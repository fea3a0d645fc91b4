"""What becomes of one row."""

from dataclasses import dataclass
from enum import StrEnum

from hilum.domain.model import Lot, Stay


class Verdict(StrEnum):
    """What a row is to the store."""

    NEW = "new"
    CHANGED = "changed"
    SAME = "unchanged"


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that would change, in words; ``field`` is a field of the lot, or ``box``."""

    field: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class LotChange:
    """One row and its lot as it will be.

    ``before`` is the lot as it is (``None``: there is none); ``ends`` the stay that ends, with its
    end, and ``begins`` the one that begins.
    """

    row: int
    verdict: Verdict
    lot: Lot
    before: Lot | None = None
    differences: tuple[Difference, ...] = ()
    ends: Stay | None = None
    begins: Stay | None = None


def words_of(value: object) -> str:
    """Write a value for a person."""
    if value is None or value == "":
        return "nothing"
    return f"{value:g}" if isinstance(value, float) else str(value)
