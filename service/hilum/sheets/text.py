"""Tables in text: CSV, TSV and what spreadsheet programs make of them."""

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator

from hilum.domain.errors import InvalidInputError
from hilum.sheets.grid import LONGEST_CELL, MOST_COLUMNS, MOST_ROWS, Cell, Grid, Row, tidy
from hilum.sheets.safe import disarmed

SAMPLE = 200  # rows looked at to find the delimiter
RUNAWAY_LINES = 20  # a cell with more lines began with a stray quotation mark
_BOMS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)


def read_text(data: bytes, name: str) -> Grid:
    """Read a table from the bytes of a text file.

    Raises
    ------
    InvalidInputError
        It is empty, no text, or too large a table.
    """
    text, notes = _decoded(data)
    text, said = _declared(text)
    delimiter = said or _delimiter(text)
    quoting = csv.QUOTE_MINIMAL
    if text.count('"') % 2 and any(_runaway(row) for row in _records(text, delimiter, quoting)):
        quoting = csv.QUOTE_NONE
        notes.append("A quotation mark is never closed, so quotation marks are taken as text.")
    rows: list[Row] = []
    for number, record in enumerate(_records(text, delimiter, quoting), start=2 if said else 1):
        cells = tidy([_cell(cell, number) for cell in record])
        if cells:
            rows.append(Row(number, cells))
        if len(cells) > MOST_COLUMNS or len(rows) > MOST_ROWS:
            raise InvalidInputError(
                f"The table is too large: at most {MOST_COLUMNS} columns and {MOST_ROWS:,} rows "
                "can be read."
            )
    if not rows:
        raise InvalidInputError("The file is empty: there is no row with anything in it.")
    return Grid(name, tuple(rows), tuple(notes), delimiter)


def _cell(text: str, number: int) -> Cell:
    if len(text) > LONGEST_CELL:
        raise InvalidInputError(f"Row {number} holds a cell too long to be read.")
    return disarmed(text)


def _decoded(data: bytes) -> tuple[str, list[str]]:
    """Turn bytes into text, and say what was assumed."""
    for mark, encoding in _BOMS:
        if data.startswith(mark):
            try:
                return _checked(data.decode(encoding)), []
            except UnicodeDecodeError as error:
                raise InvalidInputError(
                    "The file is damaged: its text cannot be decoded."
                ) from error
    zeros = data[:2000].count(0)
    if zeros > len(data[:2000]) // 4:
        encoding = "utf-16-le" if data[1:2000:2].count(0) > zeros // 2 else "utf-16-be"
        try:
            return _checked(data.decode(encoding)), []
        except UnicodeDecodeError as error:
            raise _no_table() from error
    try:
        return _checked(data.decode("utf-8")), []
    except UnicodeDecodeError:
        pass
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    return _checked(text), ["The letters are read as Windows or Latin-1 ones; look at the accents."]


def _checked(text: str) -> str:
    """Refuse what is no text."""
    sample = text[:20_000]
    odd = len(re.findall(r"[\x00-\x08\x0e-\x1f\ufffd]", sample))
    if "\0" in sample or odd > len(sample) // 100:
        raise _no_table()
    return text.removeprefix("\ufeff")


def _no_table() -> InvalidInputError:
    return InvalidInputError(
        "This is no table that can be read. Save it as XLSX or CSV and try again."
    )


def _declared(text: str) -> tuple[str, str]:
    """Take off a first line such as ``sep=;``."""
    found = re.match(r'"?sep=(.)"?[^\S\r\n]*\r?\n', text)
    return (text[found.end() :], found[1]) if found else (text, "")


def _delimiter(text: str) -> str:
    """Find the sign between cells: the one that makes the most rows equally wide."""
    return max(";\t,|", key=lambda mark: _steadiness(text, mark))


def _steadiness(text: str, mark: str) -> float:
    widths: Counter[int] = Counter()
    for record in _records(text, mark, csv.QUOTE_MINIMAL):
        if any(cell.strip() for cell in record):
            widths[len(record)] += 1
        if widths.total() >= SAMPLE:
            break
    wide = {width: count for width, count in widths.items() if width > 1}
    if not wide:
        return 0.0
    width, count = max(wide.items(), key=lambda item: (item[1], item[0]))
    return (count / widths.total()) * min(width, 4)


def _records(text: str, delimiter: str, quoting: int) -> Iterator[list[str]]:
    backslash = '\\"' in text and '""' not in text
    reader = csv.reader(
        io.StringIO(text, newline=""),
        delimiter=delimiter,
        quoting=quoting,  # type: ignore[arg-type]
        doublequote=not backslash,
        escapechar="\\" if backslash else None,
        skipinitialspace=True,
    )
    try:
        yield from reader
    except csv.Error as error:
        raise InvalidInputError(
            f"Line {reader.line_num} cannot be read as a row of a table: a quotation mark that "
            "is never closed, or a cell far too long."
        ) from error


def _runaway(record: list[str]) -> bool:
    return any(cell.count("\n") > RUNAWAY_LINES for cell in record)
