"""Watching a past that nobody watched: as if somebody had, and nothing of what came later."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest

from hilum.domain.alerts import AlertState
from hilum.domain.model import MS_PER_DAY, Box, Event, EventType, Sensor
from hilum.domain.ports import Store
from hilum.keeping.watching.alerts import see
from hilum.keeping.watching.asitwas import AsItWas
from hilum.keeping.watching.past import LOOK_MS, keep_past, watch_past
from hilum.stores.memory import MemoryStore
from hilum.stores.sqlite import SqliteStore
from keeping.watching import HOUR, SENSOR, T0, Small

DAMP_DAY = T0 + 2 * MS_PER_DAY + 60_000
END = T0 + 6 * MS_PER_DAY


def undated(store: Store, box: Box, now_ms: int) -> float | None:
    """Give no date for the desiccant: the box has none."""
    del store, box, now_ms
    return None


def lived(*, watched: bool) -> Small:
    """Two dry days, two damp ones, two dry ones; looked at every two hours, or never."""
    small = Small()
    small.place(from_ms=T0)
    for days, rh_pct in ((2, 25.0), (2, 40.0), (2, 25.0)):
        for _ in range(days * 24):
            for minute in range(0, 60, 10):
                at_ms = small.clock.time_ms + (minute + 1) * 60_000
                small.report_at(at_ms, 18.0 + 0.01 * (minute % 20), rh_pct)
            small.clock.time_ms += HOUR
            if watched and (small.clock.time_ms - T0) % LOOK_MS == 0:
                small.store.refresh_tiers({SENSOR: T0})
                small.engine.round()
    small.store.refresh_tiers({SENSOR: T0})
    return small


@pytest.fixture
def past() -> AsItWas:
    """Six days gone over afterwards."""
    return gone_over(lived(watched=False).store)


def gone_over(store: Store, span: tuple[int, int] = (T0 + LOOK_MS, END + 1)) -> AsItWas:
    """Go over a past to its end."""
    past = AsItWas(store)
    for _ in watch_past(past, UTC, undated, span):
        pass
    return past


def test_the_same_alerts_as_if_somebody_had_watched(past: AsItWas) -> None:
    """Gone over afterwards, each alert has the name, times and words of the one watched live."""
    live = lived(watched=True).store.alerts()

    assert {alert.rule for alert in live} == {"damp", "open"}
    assert sorted(past.alerts(), key=lambda a: a.id) == sorted(live, key=lambda a: a.id)


def test_the_journal_tells_it_and_nobody_else(past: AsItWas) -> None:
    """Kept in a store the steps stand in its journal at their times; no notice is made."""
    store = lived(watched=False).store

    assert keep_past(store, past.changes) == len(past.changes)

    damp = [e for e in store.events() if dict(e.data).get("rule") == "damp"]
    assert [dict(event.data)["step"] for event in damp] == ["cleared", "raised"]
    assert DAMP_DAY + 3 * HOUR <= damp[1].time_ms <= DAMP_DAY + 3 * HOUR + LOOK_MS
    assert store.notices() == []
    assert store.alerts(open_only=True) == []


def test_somebody_took_note() -> None:
    """What was raised by a moment of note is seen from then on, and over later all the same."""
    past = AsItWas(lived(watched=False).store)
    noted_ms = DAMP_DAY + 12 * HOUR
    for _ in watch_past(past, UTC, undated, (T0 + LOOK_MS, END), (noted_ms,)):
        pass

    damp = next(alert for alert in past.alerts() if alert.rule == "damp")
    assert (damp.seen_ms, damp.state) == (noted_ms, AlertState.CLEARED)


def test_what_came_later_is_not_seen() -> None:
    """At a moment there is no reading, hour or line of the journal from after it."""
    store = lived(watched=False).store
    store.add_event(Event(0, DAMP_DAY, EventType.NOTE, box="tub", text="Then."))
    past = AsItWas(store)
    past.moment_ms = DAMP_DAY - 1

    newest = past.newest(SENSOR)
    before = past.before(SENSOR, END)
    assert newest is not None
    assert newest == before
    assert newest.time_ms == DAMP_DAY - 600_000
    assert int(past.series(SENSOR, T0, END).time_ms[-1]) == newest.time_ms
    assert [r.time_ms for p in past.pages(SENSOR, T0, END, 500) for r in p][-1] == newest.time_ms
    assert int(past.hours(SENSOR, T0, END).start_ms[-1]) == DAMP_DAY - 60_000 - HOUR
    assert past.events(box="tub") == []
    past.moment_ms = DAMP_DAY
    assert [event.text for event in past.events(box="tub")] == ["Then."]


@pytest.fixture(params=["memory", "sqlite"])
def empty(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """A store that knows the tub and its sensor, of each sort."""
    store: Store = MemoryStore() if request.param == "memory" else SqliteStore(tmp_path / "a.db")
    small = Small()
    store.save_box(small.box)
    store.save_sensor(Sensor(SENSOR, 0))
    yield store
    store.close()


def test_the_alert_of_the_present_gets_its_past(empty: Store) -> None:
    """An alert open now that was open at the end of the past keeps its name, and began then."""
    until = (T0 + LOOK_MS, DAMP_DAY + 12 * HOUR)
    past = gone_over(lived(watched=False).store, until)
    now = next(c for c in past.changes if c.alert.rule == "damp" and c.event is not None)
    empty.change_alerts(
        [replace(now, alert=replace(now.alert, id="of-now", since_ms=END), was=None, event=None)]
    )

    assert keep_past(empty, past.changes) == len(past.changes) + 1

    damp = [alert for alert in empty.alerts() if alert.rule == "damp"]
    assert [(a.id, a.state, a.since_ms) for a in damp] == [("of-now", AlertState.RAISED, DAMP_DAY)]
    told = {dict(e.data)["alert"] for e in empty.events() if dict(e.data)["rule"] == "damp"}
    assert told == {"of-now"}


def test_what_somebody_saw_in_the_present_stays_seen(empty: Store) -> None:
    """Note that was taken of an alert now is not lost when its past comes to it."""
    past = gone_over(lived(watched=False).store, (T0 + LOOK_MS, DAMP_DAY + 12 * HOUR))
    now = next(c for c in past.changes if c.alert.rule == "damp" and c.event is not None)
    empty.change_alerts([replace(now, alert=replace(now.alert, id="of-now"), was=None, event=None)])
    see(empty, "of-now", END)

    keep_past(empty, past.changes)

    kept = empty.alert("of-now")
    assert (kept.state, kept.seen_ms, kept.since_ms) == (AlertState.SEEN, END, DAMP_DAY)


def test_a_past_that_was_over_stands_beside_an_alert_of_the_present(
    past: AsItWas, empty: Store
) -> None:
    """An alert that began only now stays as it is; the earlier ones about the same come to it."""
    now = next(c for c in past.changes if c.alert.rule == "damp" and c.event is not None)
    empty.change_alerts(
        [replace(now, alert=replace(now.alert, id="of-now", since_ms=END), was=None, event=None)]
    )
    before = empty.alert("of-now")

    keep_past(empty, past.changes)

    assert empty.alert("of-now") == before
    over = [a for a in empty.alerts() if a.rule == "damp" and a.state is AlertState.CLEARED]
    assert [alert.since_ms for alert in over] == [DAMP_DAY]
