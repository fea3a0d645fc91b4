"""How frozen records lie in tables: a column per field, of the same name."""

import json
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields, replace
from datetime import date
from operator import attrgetter
from typing import Any, Generic, TypeVar

import numpy as np
import numpy.typing as npt

from hilum.domain.model import (
    PREPARED,
    Box,
    BoxType,
    CurveKey,
    Event,
    EventType,
    GerminationTest,
    Lot,
    Placement,
    Reject,
    RejectReason,
    Role,
    Sensor,
    Stay,
    Wrap,
)
from hilum.stores.rules import missing

T = TypeVar("T")
Decode = Mapping[str, Callable[[Any], object]]


def _column(value: object) -> object:
    """Give a field's value as SQLite keeps it."""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return json.dumps(value)
    return value


class Table(Generic[T]):
    """One record type in one table.

    Parameters
    ----------
    record : type
        The dataclass.
    name : str
        The table.
    key : str
        The field that identifies a record; ``id`` is given by the table.
    what : str
        What one is called in a message.
    decode : mapping
        How to turn columns back into fields that are not plain numbers or texts.
    """

    def __init__(
        self, record: type[T], name: str, key: str, what: str, decode: Decode | None = None
    ) -> None:
        self.name = name
        self.what = what
        names = [field.name for field in fields(record)]  # type: ignore[arg-type]
        given = [column for column in names if column != "id"]
        self._record = record
        self._decode = [(i, (decode or {})[n]) for i, n in enumerate(names) if n in (decode or {})]
        self._values = attrgetter(*given)
        into = ", ".join(f'"{column}"' for column in given)
        changes = ", ".join(f'"{column}" = excluded."{column}"' for column in given)
        columns = ", ".join(f'"{column}"' for column in names)
        # Every name here comes from the model, none from outside.
        self._insert = f"INSERT INTO {name} ({into}) VALUES ({', '.join('?' * len(given))})"  # noqa: S608
        self._upsert = f"{self._insert} ON CONFLICT ({key}) DO UPDATE SET {changes}"
        kept = ", ".join(f'"{column}" = ?' for column in given)
        self._update = f"UPDATE {name} SET {kept} WHERE {key} = ?"  # noqa: S608
        self._select = f"SELECT {columns} FROM {name} "  # noqa: S608
        self._exists = f"SELECT 1 FROM {name} WHERE {key} = ?"  # noqa: S608
        self._by_key = f"WHERE {key} = ?"

    def _row(self, record: T) -> tuple[object, ...]:
        return tuple(map(_column, self._values(record)))

    def insert(self, conn: sqlite3.Connection, record: T) -> T:
        """Add a record and give it back with the id the table gave it."""
        cursor = conn.execute(self._insert, self._row(record))
        return replace(record, id=cursor.lastrowid)  # type: ignore[type-var]

    def insert_all(self, conn: sqlite3.Connection, records: Iterable[T]) -> None:
        """Add records whose ids nobody needs."""
        conn.executemany(self._insert, map(self._row, records))

    def save_all(self, conn: sqlite3.Connection, records: Iterable[T]) -> None:
        """Add records, or replace those with the same key."""
        conn.executemany(self._upsert, map(self._row, records))

    def put(self, conn: sqlite3.Connection, record: T) -> T:
        """Add a record with id 0, or replace the one that has its id, which must be there."""
        number = record.id  # type: ignore[attr-defined]
        if not number:
            return self.insert(conn, record)
        self.require(conn, number)
        conn.execute(self._update, (*self._row(record), number))
        return record

    def select(
        self, conn: sqlite3.Connection, rest: str = "", given: Sequence[object] = ()
    ) -> list[T]:
        """Give the records that the rest of a SELECT names."""
        rows = conn.execute(self._select + rest, given)
        return [self._from_row(row) for row in rows]

    def get(self, conn: sqlite3.Connection, key: object) -> T:
        """Give one record, or raise NotFoundError."""
        found = self.select(conn, self._by_key, (key,))
        if not found:
            raise missing(self.what, key)
        return found[0]

    def require(self, conn: sqlite3.Connection, key: object) -> None:
        """Raise NotFoundError unless there is a record with this key; ``None`` refers to none."""
        if key is not None and conn.execute(self._exists, (key,)).fetchone() is None:
            raise missing(self.what, key)

    def _from_row(self, row: tuple[Any, ...]) -> T:
        if not self._decode:
            return self._record(*row)
        given = list(row)
        for at, turn in self._decode:
            if given[at] is not None:
                given[at] = turn(given[at])
        return self._record(*given)


def _pairs(text: str) -> tuple[tuple[str, float | str | None], ...]:
    return tuple((name, value) for name, value in json.loads(text))


def _numbers(text: str) -> tuple[int, ...]:
    return tuple(json.loads(text))


SENSORS = Table(Sensor, "sensor", "name", "sensor", {"online": bool})
BOXES = Table(Box, "box", "slug", "box", {"type": BoxType, "archived": bool})
PLACEMENTS = Table(Placement, "placement", "id", "placement", {"role": Role})
_TICKS = dict.fromkeys(("archived", *PREPARED), bool)
LOTS = Table(Lot, "lot", "code", "lot", {"label_date": date.fromisoformat, **_TICKS})
STAYS = Table(Stay, "stay", "id", "stay", {"wrap": Wrap})
TESTS = Table(
    GerminationTest,
    "germination_test",
    "id",
    "germination test",
    {"on": date.fromisoformat, "replicates": _numbers},
)
EVENTS = Table(Event, "event", "id", "event", {"type": EventType, "data": _pairs, "struck": bool})
REJECTS = Table(Reject, "reject", "id", "reject", {"reason": RejectReason})
CURVES = Table(CurveKey, "curve", "id", "curve", {"wrap": Wrap})


def where(**given: object) -> tuple[str, tuple[object, ...]]:
    """Give the WHERE clause for columns that must equal what is given; ``None`` asks nothing."""
    asked = {column: value for column, value in given.items() if value is not None}
    clause = " AND ".join(f"{column} = ?" for column in asked)
    return (f"WHERE {clause} " if asked else ""), tuple(asked.values())


def arrays(
    rows: Iterable[tuple[Any, ...]], names: Sequence[str], whole: int
) -> tuple[npt.NDArray[Any], ...]:
    """Columns of a query as arrays: the first ``whole`` integers, the rest floats, NULL as NaN."""
    kinds = [(name, np.int64 if i < whole else np.float64) for i, name in enumerate(names)]
    table: npt.NDArray[Any] = np.fromiter(rows, dtype=kinds)
    return tuple(np.ascontiguousarray(table[name]) for name in names)
