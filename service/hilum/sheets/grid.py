"""A table as it was found: plain cells, nothing understood yet."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

MOST_BYTES = 25_000_000  # of a file
MOST_ROWS = 200_000  # that hold something, on one sheet
MOST_COLUMNS = 200
LONGEST_CELL = 100_000  # signs


ERROR = re.compile(r"#(REF!|N/A|DIV/0!|VALUE!|NAME\?|NUM!|NULL!|SPILL!|CALC!)")
"""What spreadsheet programs show in a cell they cannot work out."""


class Broken(str):
    """A cell that shows no value; the text says why."""

    __slots__ = ()


Cell = str | float | int | date | None
"""Text, number, date (or date with time), or nothing. Yes and no are text."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row, its cells as written; ``number`` is what a spreadsheet program shows beside it."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, index: int) -> Cell:
        """Give a cell; blank text is nothing, and a row may be shorter than its table."""
        cell = self.cells[index] if index < len(self.cells) else None
        return None if isinstance(cell, str) and not cell.strip() else cell


@dataclass(frozen=True, slots=True)
class Grid:
    """One sheet: the rows that hold something.

    ``notes`` say what was assumed in reading it; ``delimiter`` is empty unless it was text.
    """

    name: str
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()
    delimiter: str = ""

    def column(self, index: int, start: int = 0) -> list[Cell]:
        """Give the cells of a column that hold something, from a row on."""
        cells = (row.cell(index) for row in self.rows[start:])
        return [cell for cell in cells if cell is not None]

    @property
    def width(self) -> int:
        """Most cells in a row."""
        return max((len(row.cells) for row in self.rows), default=0)


def tidy(cells: Sequence[Cell]) -> tuple[Cell, ...]:
    """Drop the empty end of a row; a row of blanks only is empty."""
    if not any(cell.strip() if isinstance(cell, str) else cell is not None for cell in cells):
        return ()
    kept = [None if cell == "" else cell for cell in cells]
    while kept[-1] is None:
        kept.pop()
    return tuple(kept)


def text_of(cell: Cell) -> str:
    """Write a cell as text, spaces tidied; a whole number without its point."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return " ".join(str(cell).split())
