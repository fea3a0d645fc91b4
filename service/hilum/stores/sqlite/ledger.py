"""The derived part in SQLite: dirty marks, curves and their hourly rows."""

import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields

from hilum.domain.model import MS_PER_HOUR, CurveKey, DirtyMark, Ints, LedgerRows
from hilum.stores import rules
from hilum.stores.sqlite import dirty, revision
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.records import BOXES, CURVES, SENSORS, arrays, where

_COLUMNS = tuple(field.name for field in fields(LedgerRows))
# Every name put into these comes from the model, none from outside.
_ROWS = f"SELECT {', '.join(_COLUMNS)} FROM ledger WHERE curve_id = :curve "  # noqa: S608
_INSERT = f"INSERT INTO ledger VALUES (?, {', '.join('?' * len(_COLUMNS))})"  # noqa: S608
_DELETE = "DELETE FROM ledger WHERE curve_id = ? AND hour >= ?"
_AROUND = f"""
    SELECT :place AS place, * FROM (
        {_ROWS} AND hour <= :hour AND last_ms <= :time ORDER BY hour DESC LIMIT 1
    )
    UNION ALL
    SELECT :place, * FROM ({_ROWS} AND hour >= :hour AND last_ms > :time ORDER BY hour LIMIT 1)
"""  # noqa: S608
_CURVE_ID = (
    "SELECT id FROM curve WHERE box = ? AND model = ? AND wrap = ?"
    " AND ifnull(start_ms, -1) = ifnull(?, -1)"
    " AND ifnull(start_mc_dry_pct, -1) = ifnull(?, -1)"
)
_BOX_IDS = "SELECT id, model, wrap, start_ms, start_mc_dry_pct FROM curve WHERE box = ?"


class LedgerSection:
    """What the keeper computes; deleting it loses nothing."""

    _db: Database

    def dirty(self) -> Sequence[DirtyMark]:
        """See the port."""
        with self._db.reading() as conn:
            rows = conn.execute(
                "SELECT name, from_ms, mark FROM dirty JOIN sensor ON sensor.id = sensor_id"
                " ORDER BY name"
            )
            return [DirtyMark(*row) for row in rows]

    def clear_dirty(self, marks: Sequence[DirtyMark]) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            for mark in marks:
                dirty.clear(conn, mark.sensor, mark.mark)

        if marks:
            self._db.write(job)

    def mark_dirty(self, sensor: str, from_ms: int) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            SENSORS.require(conn, sensor)
            dirty.mark_named(conn, sensor, from_ms)

        self._db.write(job)

    def curves(self, box: str | None = None) -> Sequence[CurveKey]:
        """See the port; in the order they became known."""
        clause, given = where(box=box)
        with self._db.reading() as conn:
            return CURVES.select(conn, f"{clause}ORDER BY id", given)

    def add_curves(self, keys: Sequence[CurveKey]) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            for box in dict.fromkeys(key.box for key in keys):
                BOXES.require(conn, box)
            CURVES.insert_all(conn, [key for key in dict.fromkeys(keys) if not _ids(conn, key)])

        if keys:
            self._db.write(job)

    def drop_curves(self, keys: Sequence[CurveKey]) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            for key in keys:
                conn.executemany("DELETE FROM curve WHERE id = ?", _ids(conn, key))

        if keys:
            self._db.write(job)

    def rows(self, key: CurveKey, start_hour: int = 0, end_hour: int | None = None) -> LedgerRows:
        """See the port."""
        query = f"{_ROWS} AND hour >= :start AND hour < ifnull(:end, 9e18) ORDER BY hour"
        with self._db.reading() as conn:
            found: Iterable[tuple[object, ...]] = ()
            for (curve_id,) in _ids(conn, key):
                given = {"curve": curve_id, "start": start_hour, "end": end_hour}
                found = conn.execute(query, given)
            return LedgerRows(*arrays(found, _COLUMNS, whole=2))

    def rows_at(self, asked: Sequence[tuple[CurveKey, int]]) -> tuple[Ints, LedgerRows]:
        """See the port; before the first row it is the first row alone."""
        with self._db.reading() as conn:
            columns = arrays(_around(conn, asked), ("place", *_COLUMNS), whole=3)
        return columns[0], LedgerRows(*columns[1:])

    def replace_rows(self, changes: Sequence[tuple[CurveKey, int, LedgerRows]]) -> None:
        """See the port; a curve that is not known is a NotFoundError."""
        for _, from_hour, rows in changes:
            rules.check_rows(from_hour, rows)

        def job(conn: sqlite3.Connection) -> None:
            if _replace(conn, changes):
                conn.execute(revision.UP)

        if changes:
            self._db.write(job)

    def revision(self) -> int:
        """See the port."""
        with self._db.reading() as conn:
            return revision.current(conn)


def _around(
    conn: sqlite3.Connection, asked: Sequence[tuple[CurveKey, int]]
) -> Iterator[tuple[object, ...]]:
    """Rows around each time, after the place of what was asked."""
    ids = _ids_of(conn, [key for key, _ in asked])
    for place, (key, time_ms) in enumerate(asked):
        if key in ids:
            given = {"curve": ids[key], "time": time_ms, "hour": time_ms // MS_PER_HOUR}
            given["place"] = place
            yield from conn.execute(_AROUND, given)


def _ids(conn: sqlite3.Connection, key: CurveKey) -> list[tuple[int]]:
    given = (key.box, key.model, key.wrap, key.start_ms, key.start_mc_dry_pct)
    return conn.execute(_CURVE_ID, given).fetchall()


def _ids_of(conn: sqlite3.Connection, keys: Iterable[CurveKey]) -> dict[CurveKey, int]:
    """Ids of the curves that are known, those of a box in one go if several are asked for."""
    boxes: dict[str, set[CurveKey]] = defaultdict(set)
    for key in keys:
        boxes[key.box].add(key)
    found: dict[CurveKey, int] = {}
    for box, asked in boxes.items():
        if len(asked) == 1:
            found |= {key: curve_id for key in asked for (curve_id,) in _ids(conn, key)}
            continue
        kept = {row[1:]: row[0] for row in conn.execute(_BOX_IDS, (box,))}
        for key in asked:
            curve_id = kept.get((key.model, key.wrap, key.start_ms, key.start_mc_dry_pct))
            if curve_id is not None:
                found[key] = curve_id
    return found


def _replace(conn: sqlite3.Connection, changes: Sequence[tuple[CurveKey, int, LedgerRows]]) -> bool:
    """Put rows in the place of others; tell whether that changes more than the newest hours."""
    past = False
    few: list[tuple[object, ...]] = []  # of all curves, for one statement
    ids = _ids_of(conn, [key for key, *_ in changes])
    for key, from_hour, rows in changes:
        curve_id = ids.get(key)
        if curve_id is None:
            raise rules.unknown_curve(key)
        gone = conn.execute(_DELETE, (curve_id, from_hour)).rowcount
        past |= max(gone, len(rows)) > rules.NEWEST_ROWS
        if len(rows) > rules.NEWEST_ROWS:
            conn.executemany(_INSERT, _lines(curve_id, rows))
        else:
            few += _lines(curve_id, rows)
    conn.executemany(_INSERT, few)
    return past


def _lines(curve_id: int, rows: LedgerRows) -> Iterator[tuple[object, ...]]:
    columns = (getattr(rows, name).tolist() for name in _COLUMNS)
    return zip([curve_id] * len(rows), *columns, strict=True)
