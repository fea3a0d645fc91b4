"""Alerts, notices and settings of rules in SQLite."""

import json
import sqlite3
from collections.abc import Mapping, Sequence
from datetime import time

from hilum.domain.alerts import (
    Alert,
    AlertChange,
    AlertState,
    DigestTime,
    Notice,
    NoticeState,
    QuietTimes,
    RuleSetting,
    TellingSetting,
)
from hilum.stores import rules
from hilum.stores.sqlite.database import Database
from hilum.stores.sqlite.records import BOXES, EVENTS, LOTS, SENSORS, Table, where


def _pairs(text: str) -> tuple[tuple[str, float | str | None], ...]:
    return tuple((name, value) for name, value in json.loads(text))


ALERTS = Table(Alert, "alert", "id", "alert", {"state": AlertState})
NOTICES = Table(
    Notice, "notice", "id", "notice", {"urgent": bool, "data": _pairs, "state": NoticeState}
)
SETTINGS = Table(RuleSetting, "rule_setting", "rule, box", "setting of a rule", {"on": bool})

_CHANGING = ("due_ms", "state", "attempts", "sent_ms", "error", "id")
_SAME = """
    SELECT 1 FROM alert WHERE state <> 'cleared' AND rule = ? AND box IS ? AND sensor IS ?
"""
_SAVE_ALERT = """
    INSERT INTO alert (id, rule, state, since_ms, sentence, advice, box, sensor, lot, value,
        "limit", reading_ms, raised_ms, seen_ms, cleared_ms, told, told_ms, until_ms)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
    ON CONFLICT (id) DO UPDATE SET state = excluded.state, since_ms = excluded.since_ms,
        sentence = excluded.sentence, advice = excluded.advice, lot = excluded.lot,
        value = excluded.value, "limit" = excluded."limit", reading_ms = excluded.reading_ms,
        raised_ms = excluded.raised_ms, seen_ms = excluded.seen_ms,
        cleared_ms = excluded.cleared_ms, told = excluded.told, told_ms = excluded.told_ms,
        until_ms = excluded.until_ms
"""
_DUE = """
    WHERE state = 'pending' AND channel = ? AND due_ms <= ? AND NOT EXISTS (
        SELECT 1 FROM notice AS earlier WHERE earlier.state = 'pending'
        AND earlier.channel = notice.channel AND earlier.alert = notice.alert
        AND earlier.id < notice.id)
    ORDER BY id LIMIT ?
"""


class AlertSection:
    """What was noticed, and what is told."""

    _db: Database

    def alerts(
        self, *, open_only: bool = False, box: str | None = None, limit: int = 1000
    ) -> Sequence[Alert]:
        """See the port."""
        clause, given = where(box=box)
        if open_only:
            clause = f"{clause or 'WHERE 1 '}AND state <> 'cleared' "
        rest = f"{clause}ORDER BY since_ms DESC, id DESC LIMIT ?"
        with self._db.reading() as conn:
            return ALERTS.select(conn, rest, (*given, limit))

    def alert(self, alert_id: str) -> Alert:
        """See the port."""
        with self._db.reading() as conn:
            return ALERTS.get(conn, alert_id)

    def change_alerts(self, changes: Sequence[AlertChange]) -> int:
        """See the port."""
        if not changes:
            return 0
        return self._db.write(lambda conn: sum(_step(conn, change) for change in changes))

    def add_notices(self, notices: Sequence[Notice]) -> int:
        """See the port."""
        return self._db.write(lambda conn: sum(_keep(conn, notice) for notice in notices))

    def notices(
        self,
        *,
        state: NoticeState | None = None,
        channel: str | None = None,
        alert: str | None = None,
        limit: int = 100,
    ) -> Sequence[Notice]:
        """See the port."""
        clause, given = where(state=state, channel=channel, alert=alert)
        with self._db.reading() as conn:
            return NOTICES.select(conn, f"{clause}ORDER BY id DESC LIMIT ?", (*given, limit))

    def has_notice(self, key: str) -> bool:
        """See the port."""
        with self._db.reading() as conn:
            found = conn.execute("SELECT 1 FROM notice WHERE key = ? LIMIT 1", (key,))
            return found.fetchone() is not None

    def due_notices(self, channel: str, now_ms: int, limit: int = 20) -> Sequence[Notice]:
        """See the port."""
        with self._db.reading() as conn:
            return NOTICES.select(conn, _DUE, (channel, now_ms, limit))

    def save_notice(self, notice: Notice) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            NOTICES.require(conn, notice.id)
            conn.execute(
                "UPDATE notice SET due_ms = ?, state = ?, attempts = ?, sent_ms = ?, error = ?"
                " WHERE id = ?",
                [getattr(notice, name) for name in _CHANGING],
            )

        self._db.write(job)

    def drop_notices(self, before_ms: int) -> int:
        """See the port."""
        return self._db.write(
            lambda conn: (
                conn.execute(
                    "DELETE FROM notice WHERE state <> 'pending' AND made_ms < ?", (before_ms,)
                ).rowcount
            )
        )

    def rule_settings(self, box: str | None = None) -> Sequence[RuleSetting]:
        """See the port."""
        clause, given = where(box=box)
        with self._db.reading() as conn:
            return SETTINGS.select(conn, f"{clause}ORDER BY rule, box", given)

    def save_rule_setting(self, setting: RuleSetting) -> None:
        """See the port."""

        def job(conn: sqlite3.Connection) -> None:
            BOXES.require(conn, setting.box or None)
            SETTINGS.save_all(conn, [setting])

        self._db.write(job)

    def drop_rule_setting(self, rule: str, box: str) -> None:
        """See the port."""
        self._db.write(
            lambda conn: conn.execute(
                "DELETE FROM rule_setting WHERE rule = ? AND box = ?", (rule, box)
            )
        )

    def telling(self) -> TellingSetting:
        """See the port."""
        with self._db.reading() as conn:
            row = conn.execute("SELECT * FROM telling").fetchone()
        if row is None:
            return TellingSetting()
        start, end, on, weekday, hour, set_ms = row
        return TellingSetting(
            None if start is None else QuietTimes(*map(time.fromisoformat, (start, end))),
            None if on is None else DigestTime(bool(on), weekday, hour),
            set_ms,
        )

    def save_telling(self, setting: TellingSetting) -> None:
        """See the port."""
        quiet, digest = setting.quiet, setting.digest
        row = (
            *((quiet.start.isoformat(), quiet.end.isoformat()) if quiet else (None, None)),
            *((digest.on, digest.weekday, digest.hour) if digest else (None, None, None)),
            setting.digest_set_ms,
        )

        def job(conn: sqlite3.Connection) -> None:
            conn.execute("DELETE FROM telling")
            conn.execute("INSERT INTO telling VALUES (?, ?, ?, ?, ?, ?)", row)

        self._db.write(job)

    def paces(self) -> Mapping[str, int]:
        """See the port."""
        with self._db.reading() as conn:
            return dict(conn.execute("SELECT sensor, seconds FROM pace"))

    def save_paces(self, paces: Mapping[str, int]) -> None:
        """See the port."""
        if paces:
            self._db.write(
                lambda conn: conn.executemany("REPLACE INTO pace VALUES (?, ?)", paces.items())
            )


def _step(conn: sqlite3.Connection, change: AlertChange) -> bool:
    """Make one step if its alert still is as the step says."""
    alert, event = change.alert, change.event
    found = conn.execute("SELECT state FROM alert WHERE id = ?", (alert.id,)).fetchone()
    if (None if found is None else AlertState(found[0])) != change.was:
        return False
    about = (alert.rule, alert.box, alert.sensor)
    if found is None and conn.execute(_SAME, about).fetchone() is not None:
        return False
    BOXES.require(conn, alert.box)
    SENSORS.require(conn, alert.sensor)
    LOTS.require(conn, alert.lot)
    conn.execute(_SAVE_ALERT, _columns(alert))
    if event is not None:
        rules.check_event(event)
        EVENTS.insert(conn, event)
    for notice in change.notices:
        _keep(conn, notice)
    return True


def _columns(alert: Alert) -> tuple[object, ...]:
    return tuple(getattr(alert, name) for name in Alert.__dataclass_fields__)


def _keep(conn: sqlite3.Connection, notice: Notice) -> bool:
    """Keep a notice unless it is there already."""
    known = conn.execute(
        "SELECT 1 FROM notice WHERE key = ? AND channel = ?", (notice.key, notice.channel)
    )
    if known.fetchone() is not None:
        return False
    ALERTS.require(conn, notice.alert)
    NOTICES.insert(conn, notice)
    return True
