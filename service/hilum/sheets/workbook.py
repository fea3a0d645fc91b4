"""XLSX workbooks, with care: a workbook is a zip file, and may be made to do harm.

openpyxl's types stop here. Formulas are never run: the result saved beside one is taken.
"""

import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any

from hilum.domain.errors import InvalidInputError
from hilum.sheets.grid import MOST_COLUMNS, MOST_ROWS, Broken, Cell, Grid, Row, tidy
from hilum.sheets.safe import disarmed

if TYPE_CHECKING:
    from openpyxl.workbook.workbook import Workbook

UNPACKING = (zipfile.BadZipFile, zlib.error, OSError, EOFError, ValueError, RuntimeError)
"""What unpacking a damaged zip file raises."""

MOST_UNPACKED = 300_000_000  # bytes
MOST_PARTS = 2_000
MOST_RATIO = 200  # of a part above a megabyte: real sheets pack 5 to 50 times
MOST_SHEETS = 100
LAST_ROW = 1_048_576  # of any XLSX sheet


def read_workbook(data: bytes) -> list[Grid]:
    """Read every sheet that holds something.

    Raises
    ------
    InvalidInputError
        It is no workbook, is damaged, would unpack to too much, or a sheet is too large.
    """
    inspect(data)
    import openpyxl  # noqa: PLC0415 - only who reads workbooks waits for it

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about colours and drop-down lists
        try:
            shown = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            formulas = _has_formulas(data)
            written = (
                openpyxl.load_workbook(io.BytesIO(data), read_only=True) if formulas else shown
            )
            return _grids(shown, written)
        except InvalidInputError:
            raise
        except Exception as error:  # openpyxl raises whatever a damaged part leads to
            raise InvalidInputError(
                "The workbook is damaged or was not made as XLSX. Open it in a spreadsheet "
                "program and save it anew, or as CSV."
            ) from error


def inspect(data: bytes) -> None:
    """Refuse a zip file that is no workbook, or that would unpack to far too much."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as pack:
            parts = pack.infolist()
            _check_size(parts)
            names = {part.filename for part in parts}
            _check_names(names)
            for part in parts:
                if part.filename.endswith((".xml", ".rels")):
                    _check_declarations(pack, part)
    except UNPACKING as error:
        raise InvalidInputError(
            "The workbook is damaged: it cannot be unpacked. Was it copied whole?"
        ) from error


def _check_size(parts: Sequence[zipfile.ZipInfo]) -> None:
    total = sum(part.file_size for part in parts)
    packed = [
        part
        for part in parts
        if part.file_size > 1_000_000 and part.file_size > MOST_RATIO * max(part.compress_size, 1)
    ]
    if total > MOST_UNPACKED or len(parts) > MOST_PARTS or packed:
        raise InvalidInputError(
            f"The workbook would unpack to {total / 1e6:,.0f} MB, far more than a list of seed "
            "needs, and is not opened. Save the sheet as CSV."
        )


def _check_names(names: set[str]) -> None:
    if "xl/workbook.xml" in names:
        return
    if "xl/workbook.bin" in names:
        raise InvalidInputError("This is a binary workbook (XLSB). Save it as XLSX or CSV.")
    if "mimetype" in names and "content.xml" in names:
        raise InvalidInputError("This is an OpenDocument sheet (ODS). Save it as XLSX or CSV.")
    if any(name.startswith("Index/") for name in names):
        raise InvalidInputError("This is no XLSX workbook. Export it as XLSX or CSV.")
    raise InvalidInputError("This is a zip file without a workbook in it. Give an XLSX or CSV.")


def _check_declarations(pack: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Refuse XML that declares entities: no spreadsheet program does, and they can be made huge."""
    with pack.open(part) as stream:
        head = stream.read(4096)
    if b"<!DOCTYPE" in head or b"<!ENTITY" in head:
        raise InvalidInputError("The workbook holds declarations no spreadsheet program writes.")


def _has_formulas(data: bytes) -> bool:
    """Tell whether a sheet holds a formula: only then the sheets must be read twice."""
    with zipfile.ZipFile(io.BytesIO(data)) as pack:
        for name in pack.namelist():
            if not name.startswith("xl/worksheets/"):
                continue
            tail = b""
            with pack.open(name) as stream:
                while block := stream.read(1_000_000):
                    if b"<f" in tail + block or b":f>" in tail + block:
                        return True
                    tail = block[-2:]
    return False


def _grids(shown: "Workbook", written: "Workbook") -> list[Grid]:
    grids = []
    names = [sheet.title for sheet in shown.worksheets][:MOST_SHEETS]
    for name in names:
        rows = tuple(_rows(shown[name], written[name]))
        if rows:
            grids.append(Grid(name, rows))
    if not grids:
        raise InvalidInputError("The workbook is empty: no sheet has anything in it.")
    return grids


def _rows(shown: Any, written: Any) -> Iterator[Row]:  # noqa: ANN401 - openpyxl's sheets
    shown.reset_dimensions()
    written.reset_dimensions()
    kept = 0
    rows = shown.iter_rows()
    formulas_too = written is not shown
    pairs = zip(rows, written.iter_rows()) if formulas_too else ((row, row) for row in rows)  # noqa: B905
    for number, (values, formulas) in enumerate(pairs, start=1):
        if number > LAST_ROW or kept > MOST_ROWS:
            raise InvalidInputError(f"A sheet is too long: at most {MOST_ROWS:,} rows can be read.")
        if len(values) > MOST_COLUMNS:
            values, formulas = _trimmed(values), formulas[:MOST_COLUMNS]  # noqa: PLW2901
        cells = tidy([_cell(*pair) for pair in zip(values, formulas, strict=False)])
        if cells:
            kept += 1
            yield Row(number, cells)


def _trimmed(values: Sequence[Any]) -> Sequence[Any]:
    if any(cell.value is not None for cell in values[MOST_COLUMNS:]):
        raise InvalidInputError(f"A sheet is too wide: at most {MOST_COLUMNS} columns can be read.")
    return values[:MOST_COLUMNS]


def _cell(shown: Any, written: Any) -> Cell:  # noqa: ANN401 - openpyxl's cells
    value = shown.value
    if value is None and written.data_type == "f":
        return Broken("holds a formula whose result was never saved")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return Broken(f"shows {value}") if shown.data_type == "e" else disarmed(value)
    if isinstance(value, int | float):
        return _number(value, str(shown.number_format or ""))
    return _moment(value)


def _moment(value: object) -> Cell:
    """Give a date without the midnight that workbooks keep beside it."""
    if isinstance(value, datetime) and value.time() == time():
        return value.date()
    if isinstance(value, time | timedelta):
        return str(value)
    return value if isinstance(value, date) else None


def _number(value: float, form: str) -> Cell:
    """Give a number as it is shown where that matters: a per cent sign multiplies by 100."""
    if "%" in form:
        return f"{round(value * 100, 10):g} %"
    zeros = re.fullmatch(r"0{2,}", form)
    if zeros and float(value).is_integer():
        return f"{int(value):0{len(form)}d}"
    return value
