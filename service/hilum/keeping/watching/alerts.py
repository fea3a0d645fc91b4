"""The life of alerts: waiting, raised, seen, cleared.

Each round looks at everything once, works out the steps that are due and hands them to the store,
which makes a step together with its journal line and everything there is to tell about it, or not
at all. What was decided is read back from the store, so it does not matter when the program ends:
the next round goes on from what was kept. Telling is another worker's job (``hilum.notify``).
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace

from hilum.domain.alerts import Alert, AlertChange, AlertState
from hilum.domain.errors import ConflictError
from hilum.domain.model import Event, EventType
from hilum.domain.ports import Clock, Store
from hilum.keeping.watching.judging import Sign, Turn, Verdict, judge
from hilum.keeping.watching.quiet import Quiet
from hilum.keeping.watching.rules import RULES
from hilum.keeping.watching.scene import about
from hilum.keeping.watching.telling import CLEARED, RAISED, REMINDER, SEEN, ChannelPlan, notices_for
from hilum.keeping.watching.watch import Watch

Plans = tuple[ChannelPlan, ...]


@dataclass(frozen=True, slots=True)
class Round:
    """How many steps a round made, and which boxes could not be looked at, with the reason."""

    steps: int
    problems: Mapping[str, str]


class AlertEngine:
    """Takes alerts through their lives.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    clock : Clock
        Tells the time.
    watch : Watch
        Looks at boxes and sensors.
    plans : tuple of ChannelPlan
        Channels that are told.
    quiet : Quiet, optional
        When people are not to be disturbed.
    """

    def __init__(
        self,
        store: Store,
        clock: Clock,
        watch: Watch,
        plans: Plans = (),
        quiet: Quiet | None = None,
    ) -> None:
        self._store = store
        self._clock = clock
        self._watch = watch
        self._plans = plans
        self._quiet = quiet

    def round(self) -> Round:
        """Look at everything once and make the steps that are due."""
        now_ms = self._clock.now_ms()
        open_alerts = {about(alert): alert for alert in self._store.alerts(open_only=True)}
        view = self._watch.look(now_ms, open_alerts)
        changes = []
        for sign in view.signs:
            change = self._turn(sign, open_alerts.pop(sign.about, None), now_ms)
            if change is not None:
                changes.append(change)
        for what, alert in open_alerts.items():
            if not view.is_unknown(what):
                changes.append(self._unwatched(alert, now_ms))
        return Round(self._store.change_alerts(changes), view.problems)

    def _turn(self, sign: Sign, alert: Alert | None, now_ms: int) -> AlertChange | None:
        verdict = judge(sign, alert)
        if verdict.turn is Turn.WAIT:
            return AlertChange(_new(sign, verdict, AlertState.WAITING, now_ms), None)
        if verdict.turn is Turn.RAISE:
            return self._raise(sign, verdict, alert, now_ms)
        if alert is None or verdict.turn is Turn.NONE:
            return self._remind(sign, alert, now_ms)
        over = sign.text(sign.rule.over, verdict.value)
        cleared = replace(
            alert,
            state=AlertState.CLEARED,
            sentence=over if verdict.turn is Turn.CLEAR else alert.sentence,
            value=verdict.value,
            limit=sign.limits.release,
            reading_ms=verdict.reading_ms,
            cleared_ms=now_ms,
        )
        if verdict.turn is Turn.PASS:
            return AlertChange(cleared, alert.state)
        return self._told(cleared, alert.state, CLEARED, now_ms)

    def _raise(self, sign: Sign, verdict: Verdict, alert: Alert | None, now_ms: int) -> AlertChange:
        raised = replace(
            _new(sign, verdict, AlertState.RAISED, now_ms),
            raised_ms=now_ms,
            told=1,
            told_ms=now_ms,
        )
        if alert is not None:
            raised = replace(raised, id=alert.id)
        return self._told(raised, None if alert is None else alert.state, RAISED, now_ms)

    def _remind(self, sign: Sign, alert: Alert | None, now_ms: int) -> AlertChange | None:
        """Tell again what was raised long ago, is still so, and nobody has taken note of."""
        every_ms = sign.limits.repeat_s * 1000
        if (
            alert is None
            or alert.state is not AlertState.RAISED
            or alert.told_ms is None
            or not every_ms
            or now_ms - alert.told_ms < every_ms
        ):
            return None
        again = replace(alert, told=alert.told + 1, told_ms=now_ms)
        if len(sign.values):
            value = float(sign.values[-1])
            sentence = sign.text(sign.rule.sentence, value)
            again = replace(again, sentence=sentence, value=value, reading_ms=int(sign.time_ms[-1]))
        return self._told(again, alert.state, REMINDER, now_ms)

    def _unwatched(self, alert: Alert, now_ms: int) -> AlertChange:
        """End an alert about something that is no longer looked at."""
        cleared = replace(alert, state=AlertState.CLEARED, cleared_ms=now_ms)
        if alert.state is AlertState.WAITING:
            return AlertChange(cleared, alert.state)
        title = RULES[alert.rule].title if alert.rule in RULES else alert.rule
        sentence = f"“{title}” no longer applies here: {alert.sentence}"
        if alert.rule not in RULES:
            return AlertChange(cleared, alert.state)
        return self._told(replace(cleared, sentence=sentence), alert.state, CLEARED, now_ms)

    def _told(self, alert: Alert, was: AlertState | None, step: str, now_ms: int) -> AlertChange:
        notices = notices_for(alert, step, self._plans, self._quiet, now_ms)
        return AlertChange(alert, was, journal_line(alert, step, now_ms), notices)


def _new(sign: Sign, verdict: Verdict, state: AlertState, now_ms: int) -> Alert:
    return Alert(
        id=_name(sign, verdict.since_ms, now_ms),
        rule=sign.rule.key,
        state=state,
        since_ms=verdict.since_ms,
        sentence=sign.text(sign.rule.sentence, verdict.value),
        advice=sign.text(sign.rule.advice, verdict.value),
        box=sign.box,
        sensor=sign.sensor,
        lot=sign.lot,
        value=verdict.value,
        limit=sign.limits.limit,
        reading_ms=verdict.reading_ms,
        until_ms=sign.until_ms,
    )


def _name(sign: Sign, since_ms: int, now_ms: int) -> str:
    """Name an alert: the same rounds at the same times give the same names."""
    parts = (sign.rule.key, sign.box or "", sign.sensor or "", str(since_ms), str(now_ms))
    about = "\n".join(parts)
    return f"{sign.rule.key}-{hashlib.sha256(about.encode()).hexdigest()[:12]}"


def journal_line(alert: Alert, step: str, now_ms: int) -> Event:
    """Write a step into the journal, with the reading it rests on."""
    return Event(
        0,
        now_ms,
        EventType.ALERT,
        box=alert.box,
        lot=alert.lot,
        sensor=alert.sensor,
        text=alert.sentence,
        data=(
            ("alert", alert.id),
            ("rule", alert.rule),
            ("step", step),
            ("value", alert.value),
            ("limit", alert.limit),
            ("reading_ms", alert.reading_ms),
            ("since_ms", alert.since_ms),
        ),
    )


def see(store: Store, alert_id: str, now_ms: int, plans: Plans = ()) -> Alert:
    """Take note of an alert: it is told no more until it is over.

    Parameters
    ----------
    store : Store
        Where it is kept.
    alert_id : str
        Its id.
    now_ms : int
        The time.
    plans : tuple of ChannelPlan
        Channels for machines are told.

    Raises
    ------
    NotFoundError
        There is no such alert.
    ConflictError
        It is not raised (any more).
    """
    alert = store.alert(alert_id)
    if alert.state is AlertState.SEEN:
        return alert
    seen = replace(alert, state=AlertState.SEEN, seen_ms=now_ms)
    if alert.state is AlertState.RAISED:
        notices = notices_for(seen, SEEN, plans, None, now_ms)
        line = journal_line(seen, SEEN, now_ms)
        if store.change_alerts([AlertChange(seen, alert.state, line, notices)]):
            return seen
    raise ConflictError(f"The alert “{alert_id}” is not raised: it is {alert.state}.")
