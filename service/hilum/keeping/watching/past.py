"""Watching a past that nobody watched: the rules go over it as if they had looked at the time.

For a history that came to be all at once, such as that of an invented world. The steps are those
of :mod:`hilum.keeping.watching.alerts`, made over the store as it was at each moment. Nobody is
told: what is long past is no news.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import tzinfo

from hilum.domain.alerts import AlertChange, AlertState
from hilum.domain.model import MS_PER_HOUR
from hilum.domain.ports import Store
from hilum.keeping.watching.alerts import AlertEngine, see
from hilum.keeping.watching.asitwas import AsItWas
from hilum.keeping.watching.boxsigns import Desiccant
from hilum.keeping.watching.pace import Paces
from hilum.keeping.watching.scene import Slow, about
from hilum.keeping.watching.watch import Watch

LOOK_MS = 2 * MS_PER_HOUR
"""The past is looked at every two hours: what came and went in between is not seen."""

SELDOM = 6
"""What is costly is looked at so many times more rarely than in the present: the health of sensors
every six hours, desiccant every 36, the loss of life every six days."""


def watch_past(
    past: AsItWas,
    zone: tzinfo,
    desiccant: Desiccant,
    span: tuple[int, int],
    seen_ms: Sequence[int] = (),
) -> Iterator[int]:
    """Go over a past, every ``LOOK_MS``; the steps are found in its ``changes``.

    Parameters
    ----------
    past : AsItWas
        Readings and everything that was done; the ledger is up to date.
    zone : tzinfo
        For times in sentences.
    desiccant : callable
        Tells the days until the desiccant of a box must be swapped.
    span : tuple of int
        First moment, and the end, which is not looked at [ms since 1970 UTC].
    seen_ms : sequence of int
        When somebody took note of all that was raised.

    Yields
    ------
    int
        Each moment that was looked at.
    """
    watch = Watch(
        past.store,
        zone,
        desiccant,
        pause_ms=2 * LOOK_MS,
        slow=Slow(SELDOM),
        paces=Paces(past.store, by_arrival=False),
    )
    engine = AlertEngine(past.store, past, watch)
    notes = sorted(seen_ms, reverse=True)
    for moment_ms in range(*span, LOOK_MS):
        while notes and notes[-1] <= moment_ms:
            past.moment_ms = notes.pop()
            _take_note(past)
        past.moment_ms = moment_ms
        engine.round()
        yield moment_ms


def _take_note(past: AsItWas) -> None:
    for alert in past.alerts(open_only=True):
        if alert.state is AlertState.RAISED:
            see(past.store, alert.id, past.moment_ms)


def keep_past(store: Store, changes: Sequence[AlertChange]) -> int:
    """Keep the steps of a past; give how many were kept.

    An alert that is open at its end is the same as one the present has about the same thing: that
    one keeps its name, and gets its past.

    Parameters
    ----------
    store : Store
        Where alerts of the present are.
    changes : sequence of AlertChange
        Steps in order, of all alerts of a past.
    """
    last = {change.alert.id: change.alert for change in changes}
    known = {about(alert) for alert in last.values()}
    still = {about(a): a for a in last.values() if a.state is not AlertState.CLEARED}
    aside, back, names = [], [], {}
    for here in store.alerts(open_only=True):
        if about(here) not in known:
            continue
        aside.append(AlertChange(replace(here, state=AlertState.CLEARED), here.state))
        then = still.get(about(here))
        if then is None:
            back.append(AlertChange(here, AlertState.CLEARED))
            continue
        names[then.id] = here.id
        if here.state is AlertState.SEEN:
            seen = replace(then, id=here.id, state=here.state, seen_ms=here.seen_ms)
            back.append(AlertChange(seen, then.state))
    return store.change_alerts([*aside, *(_named(change, names) for change in changes), *back])


def _named(change: AlertChange, names: Mapping[str, str]) -> AlertChange:
    """Give a step the name its alert has in the present."""
    name = names.get(change.alert.id)
    if name is None:
        return change
    event = change.event
    if event is not None:
        data = tuple((key, name if key == "alert" else value) for key, value in event.data)
        event = replace(event, data=data)
    was = AlertState.CLEARED if change.was is None else change.was
    return replace(change, alert=replace(change.alert, id=name), was=was, event=event)
