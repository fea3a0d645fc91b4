"""Sensors, boxes and lots, and where they were, in SQLite."""

import sqlite3
from collections.abc import Sequence
from dataclasses import replace

from hilum.domain.model import Box, Lot, Placement, Role, Sensor, Stay
from hilum.stores import rules
from hilum.stores.sqlite import dirty
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.readings import register
from hilum.stores.sqlite.records import BOXES, LOTS, PLACEMENTS, SENSORS, STAYS, where


class KeepingSection:
    """Everything people enter about things and places."""

    _db: Database

    # Sensors

    def sensors(self) -> Sequence[Sensor]:
        """See the port."""
        with self._db.reading() as conn:
            return SENSORS.select(conn, "ORDER BY name")

    def sensor(self, name: str) -> Sensor:
        """See the port."""
        with self._db.reading() as conn:
            return SENSORS.get(conn, name)

    def save_sensor(self, sensor: Sensor) -> None:
        """See the port."""
        rules.check_sensor(sensor)
        self._db.write(lambda conn: SENSORS.save_all(conn, [sensor]))

    def set_presence(self, name: str, online: bool, received_ms: int) -> None:
        """See the port; a last will is the broker's word, so the sensor has not spoken by it."""

        def job(conn: sqlite3.Connection) -> None:
            sensor_id = register(conn, name, received_ms)
            conn.execute("UPDATE sensor SET online = ? WHERE id = ?", (online, sensor_id))

        self._db.write(job)

    # Boxes

    def boxes(self) -> Sequence[Box]:
        """See the port."""
        with self._db.reading() as conn:
            return BOXES.select(conn, "ORDER BY name, slug")

    def box(self, slug: str) -> Box:
        """See the port."""
        with self._db.reading() as conn:
            return BOXES.get(conn, slug)

    def save_box(self, box: Box) -> None:
        """See the port."""
        rules.check_box(box)

        def job(conn: sqlite3.Connection) -> None:
            kept = BOXES.select(conn, "WHERE slug = ?", (box.slug,))
            if any(old.gap_limit_s != box.gap_limit_s for old in kept):
                inside = "WHERE box = ? AND role = ?"
                for placement in PLACEMENTS.select(conn, inside, (box.slug, Role.INSIDE)):
                    dirty.mark_named(conn, placement.sensor, placement.from_ms)
            BOXES.save_all(conn, [box])

        self._db.write(job)

    def placements(
        self, *, box: str | None = None, sensor: str | None = None
    ) -> Sequence[Placement]:
        """See the port."""
        clause, given = where(box=box, sensor=sensor)
        with self._db.reading() as conn:
            return PLACEMENTS.select(conn, f"{clause}ORDER BY from_ms, id", given)

    def add_placement(self, placement: Placement) -> Placement:
        """See the port."""

        def job(conn: sqlite3.Connection) -> Placement:
            BOXES.require(conn, placement.box)
            SENSORS.require(conn, placement.sensor)
            _check_placement(conn, placement)
            dirty.mark_named(conn, placement.sensor, placement.from_ms)
            return PLACEMENTS.insert(conn, placement)

        return self._db.write(job)

    def end_placement(self, placement_id: int, to_ms: int) -> None:
        """See the port; moving the end of one that has ended marks from the earlier end on."""

        def job(conn: sqlite3.Connection) -> None:
            kept = PLACEMENTS.get(conn, placement_id)
            _check_placement(conn, replace(kept, to_ms=to_ms))
            conn.execute("UPDATE placement SET to_ms = ? WHERE id = ?", (to_ms, placement_id))
            changed_ms = to_ms if kept.to_ms is None else min(to_ms, kept.to_ms)
            dirty.mark_named(conn, kept.sensor, changed_ms)

        self._db.write(job)

    # Lots

    def lots(self) -> Sequence[Lot]:
        """See the port."""
        with self._db.reading() as conn:
            return LOTS.select(conn, "ORDER BY code")

    def lot(self, code: str) -> Lot:
        """See the port."""
        with self._db.reading() as conn:
            return LOTS.get(conn, code)

    def save_lot(self, lot: Lot) -> None:
        """See the port."""
        self.save_lots([lot])

    def save_lots(self, lots: Sequence[Lot]) -> None:
        """See the port."""
        for lot in lots:
            rules.check_lot(lot)
        self._db.write(lambda conn: LOTS.save_all(conn, lots))

    def stays(self, *, lot: str | None = None, box: str | None = None) -> Sequence[Stay]:
        """See the port."""
        clause, given = where(lot=lot, box=box)
        with self._db.reading() as conn:
            return STAYS.select(conn, f"{clause}ORDER BY from_ms, id", given)

    def add_stay(self, stay: Stay) -> Stay:
        """See the port; an open stay that began at the same time is left empty: a correction."""

        def job(conn: sqlite3.Connection) -> Stay:
            LOTS.require(conn, stay.lot)
            BOXES.require(conn, stay.box)
            ended = rules.settle_stay(stay, STAYS.select(conn, "WHERE lot = ?", (stay.lot,)))
            if ended is not None:
                _end_stay(conn, ended)
            return STAYS.insert(conn, stay)

        return self._db.write(job)

    def end_stay(self, stay_id: int, to_ms: int) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            ended = replace(STAYS.get(conn, stay_id), to_ms=to_ms)
            rules.check_stay(ended, STAYS.select(conn, "WHERE lot = ?", (ended.lot,)))
            _end_stay(conn, ended)

        self._db.write(job)


def _check_placement(conn: sqlite3.Connection, placement: Placement) -> None:
    others = PLACEMENTS.select(
        conn, "WHERE sensor = ? OR box = ?", (placement.sensor, placement.box)
    )
    rules.check_placement(placement, others)


def _end_stay(conn: sqlite3.Connection, stay: Stay) -> None:
    conn.execute("UPDATE stay SET to_ms = ? WHERE id = ?", (stay.to_ms, stay.id))
