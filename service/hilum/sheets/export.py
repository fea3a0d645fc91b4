"""Everything that is kept of lots, as CSV or XLSX; :mod:`hilum.sheets.own` reads it back whole."""

import io
import zipfile
from collections.abc import Iterable
from typing import TypeVar

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Event, GerminationTest, Stay
from hilum.domain.ports import KeepingStore
from hilum.sheets.grid import Cell
from hilum.sheets.tables import BOXES, JOURNAL, LOTS, STAYS, TESTS, Table, Where, rows_of
from hilum.sheets.writing import Sheet, csv_bytes, xlsx_bytes

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
        return csv_bytes(_lots(store))
    if suffix == ".xlsx":
        return xlsx_bytes([Sheet(table.name, rows) for table, rows in _everything(store)])
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


def _zip(sheets: Sheets) -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as pack:
        for table, rows in sheets:
            part = zipfile.ZipInfo(f"{table.name.lower()}.csv", _STAMP)
            part.compress_type = zipfile.ZIP_DEFLATED
            pack.writestr(part, csv_bytes(rows))
    return data.getvalue()
