"""Everything that is kept of lots, as CSV or XLSX; :mod:`hilum.sheets.own` reads it back whole."""

import csv
import io
import zipfile
from collections.abc import Iterable, Sequence
from typing import TypeVar

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Event, GerminationTest, Stay
from hilum.domain.ports import KeepingStore
from hilum.sheets.grid import Cell
from hilum.sheets.safe import armed
from hilum.sheets.tables import BOXES, JOURNAL, LOTS, STAYS, TESTS, Table, Where, rows_of

LONGEST_XLSX_CELL = 32_767  # signs; a limit of the format
MOST_EVENTS = 10_000_000
FORMATS = (".csv", ".xlsx", ".zip")
_STAMP = (1980, 1, 1, 0, 0, 0)  # the same database gives the same file

Numbered = TypeVar("Numbered", Stay, GerminationTest, Event)
Sheets = list[tuple[Table, list[list[Cell]]]]


def export(store: KeepingStore, suffix: str) -> bytes:
    """Write what is kept of lots.

    Parameters
    ----------
    store : KeepingStore
        What is kept.
    suffix : str
        ``.csv``: the lots and where they lie now, in one table. ``.xlsx``: lots, stays, tests,
        boxes and the journal on a sheet each. ``.zip``: the same as one CSV each.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    InvalidInputError
        The format is none of these, or cannot hold a text as long as one that is kept.
    """
    if suffix == ".csv":
        return _csv(_lots(store))
    if suffix == ".xlsx":
        return _xlsx(_everything(store))
    if suffix == ".zip":
        return _zip(_everything(store))
    raise InvalidInputError(
        f"“{suffix}” is no format Hilum writes; give a name that ends in .csv, .xlsx or .zip.", "to"
    )


def _lots(store: KeepingStore) -> list[list[Cell]]:
    names = {box.slug: box.name for box in store.boxes()}
    now = {stay.lot: stay for stay in store.stays() if stay.to_ms is None}
    rows: list[list[Cell]] = [list(LOTS.headings)]
    for lot in store.lots():
        stay = now.get(lot.code)
        where = Where(names[stay.box], stay.wrap, stay.from_ms) if stay else Where()
        rows.append(LOTS.row(lot, where))
    return rows


def _everything(store: KeepingStore) -> Sheets:
    events = [event for event in reversed(store.events(limit=MOST_EVENTS)) if event.sensor is None]
    return [
        (LOTS, _lots(store)),
        (STAYS, rows_of(STAYS, _in_order(store.stays()))),
        (TESTS, rows_of(TESTS, _in_order(store.tests()))),
        (BOXES, rows_of(BOXES, store.boxes())),
        (JOURNAL, rows_of(JOURNAL, _in_order(events))),
    ]


def _in_order(records: Iterable[Numbered]) -> list[Numbered]:
    """Records in the order in which they were entered, so that they come back in the same."""
    return sorted(records, key=lambda record: record.id)


def _armed(cell: Cell) -> Cell:
    return armed(cell) if isinstance(cell, str) else cell


def _csv(rows: Iterable[Sequence[Cell]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, quoting=csv.QUOTE_ALL)
    writer.writerows([_armed(cell) for cell in row] for row in rows)
    return b"\xef\xbb\xbf" + text.getvalue().encode("utf-8")


def _zip(sheets: Sheets) -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as pack:
        for table, rows in sheets:
            part = zipfile.ZipInfo(f"{table.name.lower()}.csv", _STAMP)
            part.compress_type = zipfile.ZIP_DEFLATED
            pack.writestr(part, _csv(rows))
    return data.getvalue()


def _xlsx(sheets: Sheets) -> bytes:
    from openpyxl import Workbook  # noqa: PLC0415 - only who writes workbooks waits for it
    from openpyxl.cell import WriteOnlyCell  # noqa: PLC0415

    fitting = [  # checked first: a workbook half written cannot be put away quietly
        (table, [[_fitting(value, table) for value in row] for row in rows])
        for table, rows in sheets
    ]
    book = Workbook(write_only=True)
    for table, rows in fitting:
        sheet = book.create_sheet(table.name)
        sheet.freeze_panes = "B2"
        for row in rows:
            cells = []
            for value in row:
                cell = WriteOnlyCell(sheet, value=value)
                if isinstance(value, str):
                    cell.data_type = "s"  # text, whatever it begins with
                cells.append(cell)
            sheet.append(cells)
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def _fitting(value: Cell, table: Table) -> str | float | None:
    """Give a cell as XLSX keeps it: openpyxl writes 16 digits, so 17 are written as text."""
    if isinstance(value, float):
        return value if float(f"{value:.16g}") == value else repr(value)
    if not isinstance(value, str):
        return value if isinstance(value, int) else None
    plain = armed(value)
    if len(plain) > LONGEST_XLSX_CELL:
        raise InvalidInputError(
            f"A text in {table.name.lower()} is longer than XLSX can hold. Export to .zip instead.",
            "to",
        )
    return plain
