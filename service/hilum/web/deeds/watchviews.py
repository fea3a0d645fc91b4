"""Alerts on the pages, and what is known of a box's desiccant and how it breathes."""

from collections.abc import Callable, Mapping, Sequence

from hilum.domain.alerts import Alert, AlertState
from hilum.domain.model import Box
from hilum.domain.ports import Store
from hilum.keeping.desiccant.boxcontents import MOST_EVENTS
from hilum.keeping.desiccant.breathing import breathing_outlook
from hilum.keeping.desiccant.desiccant_watch import DesiccantOutlook, desiccant_outlook
from hilum.keeping.watching.alerts import see
from hilum.web.deeds.doing import Deed, Problem, filled
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import WebParts
from hilum.web.views.contexts import AlertCard, FormPage, Water
from hilum.web.views.format import Style
from hilum.web.views.lots import lot_url
from hilum.web.views.pieces import Fact, FormView, Link

OPEN = (AlertState.RAISED, AlertState.SEEN)
MOST_ALERTS = 100
STATE_WORDS = {AlertState.RAISED: "", AlertState.SEEN: "Seen."}


def open_alerts(store: Store, *states: AlertState, box: str | None = None) -> list[Alert]:
    """Give the alerts in these states, newest first."""
    found = store.alerts(open_only=True, box=box, limit=MOST_ALERTS)
    return [alert for alert in found if alert.state in (states or OPEN)]


def alert_cards(
    alerts: Sequence[Alert], names: Mapping[str, str], style: Style, back: str
) -> tuple[AlertCard, ...]:
    """Give alerts as they stand on a page; ``back`` is that page."""
    return tuple(_card(alert, names, style, back) for alert in alerts)


def _card(alert: Alert, names: Mapping[str, str], style: Style, back: str) -> AlertCard:
    place = None
    if alert.box in names and back == "/":
        place = Link(names[alert.box or ""], f"/boxes/{alert.box}")
    elif alert.lot:
        place = Link(f"Lot {alert.lot}", lot_url(alert.lot))
    since = f"Since {style.moment(alert.since_ms)}."
    return AlertCard(
        sentence=alert.sentence,
        advice=alert.advice,
        since=f"{since} {STATE_WORDS[alert.state]}".strip(),
        place=place,
        seen=seen_form(alert.id, back) if alert.state is AlertState.RAISED else None,
    )


def seen_form(alert_id: str, back: str) -> FormView:
    """Make the button that says an alert was seen."""
    return FormView(f"/alerts/{alert_id}/seen", "Seen", (), hidden=(("back", back),))


def seen_deed(parts: WebParts) -> Deed:
    """Give the deed that takes note of an alert."""
    note: Callable[[str], object] = parts.see or (
        lambda alert_id: see(parts.store, alert_id, parts.clock.now_ms())
    )

    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        alert = parts.store.alert(key)
        view = filled(seen_form(key, form.text("back")), form, problem)
        intro = ("It is told no more until it is over. It stays on the page of its box.",)
        facts = (Fact(parts.style.moment(alert.since_ms), alert.sentence),)
        return FormPage("Take note of an alert", Link("Boxes", "/"), view, intro, facts)

    def act(key: str, typed: Typed) -> str:
        note(key)
        box = parts.store.alert(key).box
        return "/" if box is None or typed.text("back") == "/" else f"/boxes/{box}"

    return Deed("/alerts/{key}/seen", page, act)


def watched(parts: WebParts, box: Box) -> DesiccantOutlook:
    """Give what the desiccant watch says of a box, worked out once an hour."""
    store = parts.store
    noted = tuple(store.events(box=box.slug, limit=MOST_EVENTS))

    def make(now_ms: int) -> DesiccantOutlook:
        return desiccant_outlook(store, box.slug, now_ms)

    return parts.kept(("desiccant", box.slug), make, about=noted)


def water(parts: WebParts, box: Box) -> Water:
    """Say when desiccant is due in a box, and how fast it breathes.

    Both look at hours that are over, so within an hour only the journal can change them.
    """
    store = parts.store

    def make(now_ms: int) -> Water:
        due = watched(parts, box)
        breath = breathing_outlook(store, box.slug, now_ms)
        return Water(
            due=due.words,
            breathing=breath.words,
            notes=tuple(dict.fromkeys((*due.notes, *breath.notes))),
        )

    noted = tuple(store.events(box=box.slug, limit=MOST_EVENTS))
    return parts.kept(("water", box.slug), make, about=noted)
