"""What the pages need of whoever reads spreadsheets: handed over by ``bootstrap``."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from hilum.keeping.seasons.season import Season


@dataclass(frozen=True, slots=True)
class SheetQuestion:
    """Something only the grower knows about a file; ``options`` are the answers."""

    name: str
    text: str
    options: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetProposal:
    """What was understood of a file and what it would change, in words; nothing is changed yet."""

    columns: tuple[tuple[str, str], ...]  # heading, and what it is taken for
    notes: tuple[str, ...]
    questions: tuple[SheetQuestion, ...]
    new: tuple[str, ...]
    changed: tuple[str, ...]
    same: int
    boxes: tuple[str, ...]
    problems: tuple[str, ...]  # rows that are not taken, with the reason
    remarks: tuple[str, ...]
    nothing: bool  # everything in it is here already, or nothing of it can be taken


FILE_TYPES = {
    ".csv": "text/csv; charset=utf-8",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
"""Formats the pages give files in, by ending."""


class SheetReader(Protocol):
    """Reads lists of seed; ``answers`` are those to questions, by name."""

    def propose(self, data: bytes, name: str, answers: Mapping[str, str]) -> SheetProposal:
        """Say what a file would change; InvalidInputError if it is no list of seed."""
        ...

    def apply(self, data: bytes, name: str, answers: Mapping[str, str]) -> str:
        """Write it, all or nothing, and say in words what was written."""
        ...

    def export(self, suffix: str) -> bytes:
        """Write all lots as ``.csv`` or ``.xlsx``."""
        ...

    def order(self, found: Season, suffix: str) -> bytes:
        """Write what to order as ``.csv``, or with all answers as ``.xlsx``."""
        ...
