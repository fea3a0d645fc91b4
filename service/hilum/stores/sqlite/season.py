"""Plans for a season in SQLite, and the tables they lie in."""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date

from hilum.domain.model import PlanLine, SeasonPlan
from hilum.stores import rules
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.records import Table

SEASON_TABLES = (
    """
    CREATE TABLE season_plan (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL,
        sow_on TEXT NOT NULL,
        storage TEXT NOT NULL,
        temp_c REAL,
        rh_pct REAL,
        note TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE plan_line (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        plan INTEGER NOT NULL REFERENCES season_plan (id) ON DELETE CASCADE,
        kind TEXT NOT NULL,
        plants INTEGER NOT NULL,
        variety TEXT NOT NULL,
        packet_seeds INTEGER,
        packet_plants INTEGER,
        loss_pct REAL NOT NULL,
        field_factor REAL NOT NULL,
        note TEXT NOT NULL
    )
    """,
    "CREATE INDEX plan_line_by_plan ON plan_line (plan, id)",
)

_LINE = tuple(field.name for field in fields(PlanLine))


@dataclass(frozen=True, slots=True)
class _Kept:
    """A line with the plan it belongs to, as it lies in its table."""

    id: int
    plan: int
    kind: str
    plants: int
    variety: str
    packet_seeds: int | None
    packet_plants: int | None
    loss_pct: float
    field_factor: float
    note: str


PLANS = Table(SeasonPlan, "season_plan", "id", "season plan", {"sow_on": date.fromisoformat})
LINES = Table(_Kept, "plan_line", "id", "line of a plan")


class SeasonSection:
    """What is to be sown."""

    _db: Database

    def season_plans(self) -> Sequence[SeasonPlan]:
        """See the port."""
        with self._db.reading() as conn:
            return PLANS.select(conn, "ORDER BY sow_on, id")

    def season_plan(self, plan_id: int) -> SeasonPlan:
        """See the port."""
        with self._db.reading() as conn:
            return PLANS.get(conn, plan_id)

    def plan_lines(self, plan_id: int) -> Sequence[PlanLine]:
        """See the port."""
        with self._db.reading() as conn:
            PLANS.require(conn, plan_id)
            kept = LINES.select(conn, "WHERE plan = ? ORDER BY id", (plan_id,))
            return [PlanLine(**{name: getattr(line, name) for name in _LINE}) for line in kept]

    def save_plan(self, plan: SeasonPlan, lines: Sequence[PlanLine]) -> SeasonPlan:
        """See the port."""
        rules.check_plan(plan, lines)

        def job(conn: sqlite3.Connection) -> SeasonPlan:
            if plan.id:
                PLANS.require(conn, plan.id)
                conn.execute("DELETE FROM plan_line WHERE plan = ?", (plan.id,))
            kept = PLANS.put(conn, plan)
            values = [{name: getattr(line, name) for name in _LINE} for line in lines]
            LINES.insert_all(conn, [_Kept(0, kept.id, **each) for each in values])
            return kept

        return self._db.write(job)

    def drop_plan(self, plan_id: int) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            PLANS.require(conn, plan_id)
            conn.execute("DELETE FROM season_plan WHERE id = ?", (plan_id,))

        self._db.write(job)
