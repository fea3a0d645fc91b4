"""What the pages need of whoever reads spreadsheets: handed over by ``bootstrap``."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from hilum.domain.model import Event
from hilum.keeping.seasons.season import Season


@dataclass(frozen=True, slots=True)
class SheetQuestion:
    """Something only the grower knows about a file; ``options`` are the answers."""

    name: str
    text: str
    options: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetColumn:
    """One column of a file: what it is taken for, and the first things in it."""

    name: str  # the answer that says otherwise: ``column-0``
    heading: str  # or its letter, where it has none
    field: str  # name of what it is taken for; ``ignore``: left out
    words: str  # why
    samples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetOutline:
    """What a file looks like: its sheets, the one that is read, and its columns."""

    sheets: tuple[str, ...]
    sheet: str
    columns: tuple[SheetColumn, ...]
    fields: tuple[tuple[str, str], ...]  # what a column can be, and in words


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row as it is understood."""

    number: int
    lot: str  # kind and variety
    code: str
    facts: tuple[str, ...]  # source, year, germination, amount
    box: str
    note: str
    changes: tuple[str, ...]  # what would change, where the lot is here already


@dataclass(frozen=True, slots=True)
class SheetProposal:
    """What was understood of a file and what it would change, in words; nothing is changed yet."""

    notes: tuple[str, ...]
    questions: tuple[SheetQuestion, ...]
    new: tuple[SheetRow, ...]
    changed: tuple[SheetRow, ...]
    same: int
    boxes: tuple[str, ...]
    problems: tuple[str, ...]  # rows that are not taken, with the reason
    remarks: tuple[str, ...]
    nothing: bool  # everything in it is here already, or nothing of it can be taken


@dataclass(frozen=True, slots=True)
class SheetDone:
    """What was written."""

    new: int
    changed: int
    same: int
    boxes: int
    problems: tuple[str, ...]
    rejected: bytes  # the rows that were not taken, as CSV


COLUMN = "column-"
"""Beginning of the name of an answer that says what a column is; its place follows."""


@dataclass(frozen=True, slots=True)
class SheetLabel:
    """One label for a packet or a box."""

    title: str
    lines: tuple[str, ...]
    code: str
    drawing: str  # QR code as SVG; empty where nobody said how phones reach Hilum


FILE_TYPES = {
    ".csv": "text/csv; charset=utf-8",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
"""Formats the pages give files in, by ending."""


class SheetReader(Protocol):
    """Reads lists of seed; ``answers`` are those to questions, by name."""

    def outline(self, data: bytes, name: str, answers: Mapping[str, str]) -> SheetOutline:
        """Say what a file looks like; InvalidInputError if it is no table."""
        ...

    def propose(self, data: bytes, name: str, answers: Mapping[str, str]) -> SheetProposal:
        """Say what a file would change; InvalidInputError if it is no list of seed."""
        ...

    def apply(self, data: bytes, name: str, answers: Mapping[str, str]) -> SheetDone:
        """Write it, all or nothing, and say what was written."""
        ...

    def export(self, suffix: str) -> bytes:
        """Write all lots as ``.csv`` or ``.xlsx``."""
        ...

    def labels(self, codes: Sequence[str], boxes: Sequence[str], site: str) -> list[SheetLabel]:
        """Make labels for lots and boxes; ``site`` is the address of Hilum, or empty."""
        ...

    def journal(self, events: Sequence[Event]) -> bytes:
        """Write lines of the journal as ``.csv``."""
        ...

    def order(self, found: Season, suffix: str) -> bytes:
        """Write what to order as ``.csv``, or with all answers as ``.xlsx``."""
        ...
