"""Alerts, notices and settings of rules in memory."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from hilum.domain.alerts import (
    Alert,
    AlertChange,
    AlertState,
    Notice,
    NoticeState,
    RuleSetting,
    TellingSetting,
)
from hilum.stores import rules
from hilum.stores.memory.state import State, found


class AlertSection:
    """What was noticed, and what is told."""

    _state: State

    def alerts(
        self, *, open_only: bool = False, box: str | None = None, limit: int = 1000
    ) -> Sequence[Alert]:
        """See the port."""
        with self._state.held():
            kept = [
                alert
                for alert in self._state.alerts.values()
                if box in (None, alert.box)
                and not (open_only and alert.state is AlertState.CLEARED)
            ]
        return sorted(kept, key=lambda alert: (alert.since_ms, alert.id), reverse=True)[:limit]

    def alert(self, alert_id: str) -> Alert:
        """See the port."""
        with self._state.held():
            return found(self._state.alerts, alert_id, "alert")

    def change_alerts(self, changes: Sequence[AlertChange]) -> int:
        """See the port."""
        with self._state.held():
            for change in changes:
                self._check(change)
            return sum(map(self._step, changes))

    def _check(self, change: AlertChange) -> None:
        alert, state = change.alert, self._state
        for kept, name, what in (
            (state.boxes, alert.box, "box"),
            (state.sensors, alert.sensor, "sensor"),
            (state.lots, alert.lot, "lot"),
        ):
            if name is not None and name not in kept:
                raise rules.missing(what, name)
        if change.event is not None:
            rules.check_event(change.event)

    def _step(self, change: AlertChange) -> bool:
        alert, state = change.alert, self._state
        kept = state.alerts.get(alert.id)
        if (None if kept is None else kept.state) != change.was:
            return False
        if kept is None and any(_same(alert, other) for other in state.alerts.values()):
            return False
        state.alerts[alert.id] = alert
        if change.event is not None:
            added = replace(change.event, id=len(state.events) + 1)
            state.events[added.id] = added
        for notice in change.notices:
            self._keep(notice)
        return True

    def _keep(self, notice: Notice) -> bool:
        name = (notice.key, notice.channel)
        if name in self._state.notice_ids:
            return False
        self._state.last_notice += 1
        added = replace(notice, id=self._state.last_notice)
        self._state.notice_ids[name] = added.id
        self._state.notices[added.id] = added
        return True

    def add_notices(self, notices: Sequence[Notice]) -> int:
        """See the port."""
        with self._state.held():
            for notice in notices:
                if notice.alert is not None:
                    found(self._state.alerts, notice.alert, "alert")
            return sum(map(self._keep, notices))

    def notices(
        self,
        *,
        state: NoticeState | None = None,
        channel: str | None = None,
        alert: str | None = None,
        limit: int = 100,
    ) -> Sequence[Notice]:
        """See the port."""
        with self._state.held():
            kept = [
                notice
                for notice in self._state.notices.values()
                if state in (None, notice.state)
                and channel in (None, notice.channel)
                and alert in (None, notice.alert)
            ]
        return kept[::-1][:limit]

    def has_notice(self, key: str) -> bool:
        """See the port."""
        with self._state.held():
            return any(known == key for known, _ in self._state.notice_ids)

    def due_notices(self, channel: str, now_ms: int, limit: int = 20) -> Sequence[Notice]:
        """See the port."""
        due, seen = [], set()
        with self._state.held():
            for notice in self._state.notices.values():
                if notice.state is not NoticeState.PENDING or notice.channel != channel:
                    continue
                first = notice.alert is None or notice.alert not in seen
                seen.add(notice.alert)
                if first and notice.due_ms <= now_ms:
                    due.append(notice)
        return due[:limit]

    def save_notice(self, notice: Notice) -> None:
        """See the port."""
        with self._state.held():
            kept = found(self._state.notices, notice.id, "notice")
            self._state.notices[notice.id] = replace(
                kept,
                due_ms=notice.due_ms,
                state=notice.state,
                attempts=notice.attempts,
                sent_ms=notice.sent_ms,
                error=notice.error,
            )

    def drop_notices(self, before_ms: int) -> int:
        """See the port."""
        with self._state.held():
            old = [
                notice
                for notice in self._state.notices.values()
                if notice.state is not NoticeState.PENDING and notice.made_ms < before_ms
            ]
            for notice in old:
                del self._state.notices[notice.id]
                del self._state.notice_ids[notice.key, notice.channel]
            return len(old)

    def rule_settings(self, box: str | None = None) -> Sequence[RuleSetting]:
        """See the port."""
        with self._state.held():
            return [
                setting
                for _, setting in sorted(self._state.rule_settings.items())
                if box in (None, setting.box)
            ]

    def save_rule_setting(self, setting: RuleSetting) -> None:
        """See the port."""
        with self._state.held():
            if setting.box:
                found(self._state.boxes, setting.box, "box")
            self._state.rule_settings[setting.rule, setting.box] = setting

    def drop_rule_setting(self, rule: str, box: str) -> None:
        """See the port."""
        with self._state.held():
            self._state.rule_settings.pop((rule, box), None)

    def telling(self) -> TellingSetting:
        """See the port."""
        with self._state.held():
            return self._state.telling

    def save_telling(self, setting: TellingSetting) -> None:
        """See the port."""
        with self._state.held():
            self._state.telling = setting

    def paces(self) -> Mapping[str, int]:
        """See the port."""
        with self._state.held():
            return dict(self._state.paces)

    def save_paces(self, paces: Mapping[str, int]) -> None:
        """See the port."""
        with self._state.held():
            for sensor in paces:
                found(self._state.sensors, sensor, "sensor")
            self._state.paces.update(paces)


def _same(new: Alert, other: Alert) -> bool:
    """Tell whether another open alert is about the same."""
    if other.state is AlertState.CLEARED:
        return False
    return (new.rule, new.box, new.sensor) == (other.rule, other.box, other.sensor)
