"""Tables into files: cells no program runs, and workbooks that are fit to be looked at."""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from hilum.domain.errors import InvalidInputError
from hilum.sheets.grid import Cell
from hilum.sheets.safe import armed

LONGEST_XLSX_CELL = 32_767  # signs; a limit of the format
NARROW, WIDE = 8, 60  # signs; between these a column is as wide as its longest cell


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet of a workbook: its name, and rows of which the first holds the headings."""

    name: str
    rows: Sequence[Sequence[Cell]]
    frozen: str = "B2"  # cell from which on the sheet scrolls


def csv_bytes(rows: Iterable[Sequence[Cell]]) -> bytes:
    """Write rows as CSV with a mark by which spreadsheet programs know its letters."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, quoting=csv.QUOTE_ALL)
    writer.writerows(
        [armed(cell) if isinstance(cell, str) else cell for cell in row] for row in rows
    )
    return b"\xef\xbb\xbf" + text.getvalue().encode("utf-8")


def xlsx_bytes(sheets: Sequence[Sheet]) -> bytes:
    """Write a workbook: headings bold and always in sight, columns as wide as what is in them.

    Raises
    ------
    InvalidInputError
        A text is longer than the format can hold.
    """
    from openpyxl import Workbook  # noqa: PLC0415 - only who writes workbooks waits for it

    fitting = [  # checked first: a workbook half written cannot be put away quietly
        [[_fitting(value, sheet.name) for value in row] for row in sheet.rows] for sheet in sheets
    ]
    book = Workbook(write_only=True)
    for sheet, rows in zip(sheets, fitting, strict=True):
        page = book.create_sheet(sheet.name)
        page.freeze_panes = sheet.frozen
        _set_widths(page, rows)
        for number, row in enumerate(rows):
            page.append([_cell(page, value, heading=number == 0) for value in row])
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def _set_widths(page: Any, rows: Sequence[Sequence[str | float | None]]) -> None:  # noqa: ANN401 - openpyxl's
    from openpyxl.utils import get_column_letter  # noqa: PLC0415

    for at in range(max((len(row) for row in rows), default=0)):
        longest = max(len(str(row[at])) for row in rows if at < len(row) and row[at] is not None)
        width = min(max(longest + 2, NARROW), WIDE)
        page.column_dimensions[get_column_letter(at + 1)].width = width


def _cell(page: Any, value: str | float | None, *, heading: bool) -> Any:  # noqa: ANN401
    from openpyxl.cell import WriteOnlyCell  # noqa: PLC0415
    from openpyxl.styles import Alignment, Font  # noqa: PLC0415

    cell = WriteOnlyCell(page, value=value)
    if isinstance(value, str):
        cell.data_type = "s"  # text, whatever it begins with
        if len(value) > WIDE:
            cell.alignment = Alignment(wrap_text=True, vertical="top")
    if heading:
        cell.font = Font(bold=True)
    return cell


def _fitting(value: Cell, name: str) -> str | float | None:
    """Give a cell as XLSX keeps it: openpyxl writes 16 digits, so 17 are written as text."""
    if isinstance(value, float):
        return value if float(f"{value:.16g}") == value else repr(value)
    if not isinstance(value, str):
        return value if isinstance(value, int) else None
    plain = armed(value)
    if len(plain) > LONGEST_XLSX_CELL:
        raise InvalidInputError(
            f"A text in {name.lower()} is longer than XLSX can hold. Export to .zip instead.",
            "to",
        )
    return plain
