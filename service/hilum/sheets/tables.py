"""Hilum's own tables: every record as a row, exact to the last bit, and back.

Numbers are written so that they come back the same, times as UTC with milliseconds, and text is
armed against being run (see :mod:`hilum.sheets.safe`).
"""

import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from typing import Any

from hilum.domain.model import PREPARED, Box, Event, GerminationTest, Lot, Stay, Wrap
from hilum.sheets.grid import Cell

_ZERO = datetime(1970, 1, 1, tzinfo=UTC)
_HEADINGS = {
    "label_pct": "Germination %",
    "label_n": "Seeds tested",
    "label_date": "Test date",
    "minimum_pct": "Minimum germination %",
    "prior_temp_c": "Temperature before, °C",
    "prior_rh_pct": "Humidity before, %",
    "from_ms": "From",
    "to_ms": "To",
    "time_ms": "Time",
    "since_ms": "In box since",
    "start_mc_wet_pct": "Moisture on arrival, %",
    "target_low_pct": "Target low, %",
    "target_high_pct": "Target high, %",
    "gap_limit_s": "Gap limit, s",
    "volume_l": "Volume, L",
}


@dataclass(frozen=True, slots=True)
class Where:
    """Where a lot lies now, beside it in the table of lots."""

    box: str | None = None  # name
    wrap: Wrap | None = None
    since_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """How one sort of record is written: its columns and the type of each."""

    name: str
    columns: tuple[tuple[str, Any], ...]  # field and its type
    added: int = 0  # columns at the end that files of earlier versions lack

    @property
    def headings(self) -> tuple[str, ...]:
        """What stands above the columns."""
        return tuple(
            _HEADINGS.get(name, name.replace("_", " ").capitalize()) for name, _ in self.columns
        )

    def row(self, *records: object) -> list[Cell]:
        """Write a record (a lot and its place) as cells."""
        found = {name: getattr(each, name) for each in records for name in _names(each)}
        return [_cell(found[name], name) for name, _ in self.columns]

    def values(self, cells: Sequence[Cell]) -> dict[str, object]:
        """Read a row back; ``ValueError`` in words where a cell is not as Hilum writes it."""
        padded = [*cells, *[None] * (len(self.columns) - len(cells))]
        return {
            name: _value(cell, name, kind, heading)
            for cell, (name, kind), heading in zip(
                padded, self.columns, self.headings, strict=False
            )
        }

    def is_heading(self, cells: Sequence[Cell]) -> bool:
        """Tell whether a row is exactly the headings of this table."""
        early = self.headings[: len(self.headings) - self.added]
        return tuple(cells) in {self.headings, early}


def _names(record: object) -> list[str]:
    return [each.name for each in fields(record)]  # type: ignore[arg-type]


def _columns(*records: type) -> tuple[tuple[str, Any], ...]:
    return tuple(
        (each.name, each.type) for record in records for each in fields(record) if each.name != "id"
    )


_LOT = _columns(Lot, Where)
LOTS = Table(
    "Lots",
    tuple(sorted(_LOT, key=lambda column: column[0] in PREPARED)),
    added=len(PREPARED),
)
STAYS = Table("Stays", _columns(Stay))
TESTS = Table("Tests", _columns(GerminationTest))
BOXES = Table("Boxes", _columns(Box))
JOURNAL = Table("Journal", tuple(each for each in _columns(Event) if each[0] != "sensor"))
TABLES = (LOTS, STAYS, TESTS, BOXES, JOURNAL)


def time_words(time_ms: int) -> str:
    """Write a time so that it comes back to the millisecond."""
    when = _ZERO + timedelta(milliseconds=time_ms)
    return when.strftime("%Y-%m-%dT%H:%M:%S.") + f"{when.microsecond // 1000:03d}Z"


def _cell(value: object, name: str) -> Cell:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int) and name.endswith("_ms"):
        return time_words(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return json.dumps(value, ensure_ascii=False) if value else ""
    if isinstance(value, StrEnum):
        return value.value
    return value if isinstance(value, str | int | float) else None


def _value(cell: Cell, name: str, kind: Any, heading: str) -> object:  # noqa: ANN401 - a type
    if kind is str:
        return "" if cell is None else str(cell)
    if cell is None or cell == "":
        if name in {"replicates", "data"}:
            return ()
        if name in PREPARED:
            return False
        if type(None) in getattr(kind, "__args__", ()):
            return None
        raise ValueError(f"{heading} is missing")
    wanted = next((each for each in getattr(kind, "__args__", ()) if each is not type(None)), kind)
    try:
        return _reader(name, kind if name in {"replicates", "data"} else wanted)(cell)
    except (ValueError, TypeError, KeyError, OverflowError) as error:
        raise ValueError(f"{heading}: “{cell}” is not as Hilum writes it") from error


def _reader(name: str, wanted: Any) -> Callable[[Any], object]:  # noqa: ANN401 - a type
    if name.endswith("_ms"):
        return _time_ms
    readers: Mapping[Any, Callable[[Any], object]] = {
        bool: {"yes": True, "no": False}.__getitem__,
        date: _date,
        int: _whole,
        float: float,
    }
    if name == "replicates":
        return lambda text: tuple(_whole(each) for each in json.loads(text))
    if name == "data":
        return lambda text: tuple((str(key), value) for key, value in json.loads(text))
    return readers.get(wanted, wanted)


def _time_ms(text: str) -> int:
    if not re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", text):
        raise ValueError(text)
    return (datetime.fromisoformat(text) - _ZERO) // timedelta(milliseconds=1)


def _date(value: str | date) -> date:
    return value if isinstance(value, date) else date.fromisoformat(value)


def _whole(value: str | float) -> int:
    number = int(value) if isinstance(value, str) else float(value)
    if number != int(number):
        raise ValueError(value)
    return int(number)


def rows_of(table: Table, records: Iterable[object]) -> list[list[Cell]]:
    """Write records as rows, the headings first."""
    return [list(table.headings), *[table.row(record) for record in records]]
