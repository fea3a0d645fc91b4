"""What the pages say about events, sensors and refusals."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from urllib.parse import urlencode

from hilum.domain.corrections import Correction
from hilum.domain.model import (
    MS_PER_HOUR,
    Event,
    EventType,
    Placement,
    Reading,
    Reject,
    RejectReason,
    Sensor,
)
from hilum.domain.ports import KeepingStore
from hilum.keeping.care.calibration import words as correction_words
from hilum.keeping.care.register import in_address
from hilum.keeping.care.undo import can_undo
from hilum.keeping.overview import FRESH_MS
from hilum.keeping.watching.telling import CLEARED, REMINDER, SEEN
from hilum.web.parts import IngestStatus
from hilum.web.views.boxes import ROLE_WORDS
from hilum.web.views.contexts import (
    CorrectionRow,
    JournalDay,
    JournalLine,
    JournalPage,
    RejectRow,
    SensorRow,
    SensorsPage,
    Stamp,
)
from hilum.web.views.format import NBSP, UNKNOWN, Style, ago, count, pct
from hilum.web.views.pieces import Fact, Link, Option, Said

MOST_EVENTS = 200
LOOKED_THROUGH = 20_000
"""Lines looked through for those of one kind."""

MOST_REJECT_ROWS = 25
OFF = "off"
SILENT_MS = 6 * MS_PER_HOUR
"""From here on a sensor is called silent: the gap limit a box has by default."""

EVENT_WORDS = {
    EventType.OPENED: "Opened",
    EventType.SWAP: "Fresh desiccant",
    EventType.WEIGHED: "Weighed",
    EventType.MOVED: "Moved",
    EventType.TEST: "Germination test",
    EventType.NOTE: "Note",
    EventType.ALERT: "Alert",
    EventType.SETTING: "Setting",
}

STEP_WORDS = {REMINDER: "Alert again", SEEN: "Alert seen", CLEARED: "Alert over"}
"""What a further step of an alert is called; the first is the alert itself."""

REASON_WORDS = {
    RejectReason.TOPIC: "Topic not known",
    RejectReason.TOO_LARGE: "Message too large",
    RejectReason.NOT_JSON: "Not JSON",
    RejectReason.SHAPE: "Not as agreed",
    RejectReason.UNIT: "Unit not known",
    RejectReason.NO_VALUE: "No temperature or humidity",
    RejectReason.NOT_A_NUMBER: "Not a number",
    RejectReason.RANGE: "No air can have this value",
    RejectReason.FAULT: "A probe’s fault value",
    RejectReason.TIME: "Clock wrong",
    RejectReason.CONFLICT: "Two values for one moment",
    RejectReason.TOO_MANY_SENSORS: "Too many new sensors",
    RejectReason.TOO_OFTEN: "Too often",
    RejectReason.TURNED_AWAY: "Turned away by the broker",
}


STRIKABLE = frozenset({EventType.OPENED, EventType.SWAP, EventType.WEIGHED, EventType.NOTE})


def takeable(event: Event) -> bool:
    """Tell whether a line can be taken back: undone, or struck where nothing hangs on it."""
    plain = "action" not in dict(event.data) and event.type in STRIKABLE
    return not event.struck and (plain or can_undo(event))


def journal_days(
    events: Sequence[Event], box_names: Mapping[str, str], style: Style, back: str = ""
) -> tuple[JournalDay, ...]:
    """Group events, newest first, by day; where they can be taken back ``back`` comes after it."""
    return tuple(
        JournalDay(day, tuple(_line(event, box_names, style, back) for event in part))
        for day, part in groupby(events, key=lambda event: style.day(event.time_ms))
    )


def _line(event: Event, box_names: Mapping[str, str], style: Style, back: str) -> JournalLine:
    places = []
    if event.box is not None and event.box in box_names:
        places.append(Link(box_names[event.box], f"/boxes/{event.box}"))
    if event.lot:
        places.append(Link(f"lot {event.lot}", f"/lots/{in_address(event.lot)}"))
    return JournalLine(
        time=style.clock(event.time_ms),
        type_words=_type_words(event),
        text=event.text,
        places=tuple(places),
        struck=event.struck,
        take_back=_strike_url(event, back) if back and takeable(event) else "",
    )


def _type_words(event: Event) -> str:
    step = dict(event.data).get("step") if event.type is EventType.ALERT else None
    return STEP_WORDS.get(str(step), EVENT_WORDS[event.type])


def _strike_url(event: Event, back: str) -> str:
    about = {"did": str(event.id), "box": event.box or "", "lot": event.lot or "", "back": back}
    return f"/strike?{urlencode(about)}"


@dataclass(frozen=True, slots=True)
class JournalFilter:
    """Which lines are looked at; empty: all."""

    box: str = ""
    lot: str = ""
    type: str = ""

    def holds(self, event: Event) -> bool:
        """Whether a line of that box and lot is one of them."""
        return not self.type or event.type == self.type

    @property
    def url(self) -> str:
        """Address of the page that shows them."""
        pairs = {"box": self.box, "lot": self.lot, "type": self.type}
        query = urlencode({name: value for name, value in pairs.items() if value})
        return f"/journal?{query}" if query else "/journal"


def journal_page(
    store: KeepingStore, chosen: JournalFilter, style: Style, said: Said | None
) -> JournalPage:
    """Give the newest events of everything, or of what is looked at."""
    most = LOOKED_THROUGH if chosen.type else MOST_EVENTS + 1
    found = store.events(box=chosen.box or None, lot=chosen.lot or None, limit=most)
    events = [event for event in found if chosen.holds(event)]
    names = {b.slug: b.name for b in store.boxes()}
    more = f"Older lines than these {MOST_EVENTS} are kept but not shown here."
    return JournalPage(
        title="Journal",
        said=said,
        boxes=(Option("", "all boxes"), *(Option(slug, name) for slug, name in names.items())),
        box=chosen.box,
        types=(Option("", "everything"), *(Option(k.value, w) for k, w in EVENT_WORDS.items())),
        type=chosen.type,
        lot=chosen.lot,
        days=journal_days(events[:MOST_EVENTS], names, style, chosen.url),
        more=more if len(events) > MOST_EVENTS else "",
        export=chosen.url.replace("/journal", "/journal/export.csv", 1),
    )


def sensor_row(
    sensor: Sensor,
    reading: Reading | None,
    placement: Placement | None,
    *,
    own: Reading | None,
    corrections: Sequence[Correction],
    box_names: Mapping[str, str],
    now_ms: int,
    style: Style,
) -> SensorRow:
    """Give one sensor with its last reading and where it stands."""
    place = None
    if placement:
        name = box_names.get(placement.box, placement.box)
        place = Link(name, f"/boxes/{placement.box}")
    return SensorRow(
        name=sensor.name,
        place=place,
        role=ROLE_WORDS[placement.role] if placement else "",
        state=_state(sensor, now_ms),
        stamp=_stamp(sensor, now_ms),
        reading=reading_words(reading, style),
        time_words=style.moment(reading.time_ms) if reading else UNKNOWN,
        note=sensor.note,
        claim_url="" if placement else f"/sensors/claim?{urlencode({'sensor': sensor.name})}",
        end_url=f"/sensors/end?placement={placement.id}" if placement else "",
        own="" if own == reading else reading_words(own, style),
        check_url=f"/sensors/correct?{urlencode({'sensor': sensor.name})}",
        corrections=tuple(
            CorrectionRow(
                style.moment(each.from_ms),
                correction_words(each),
                each.how,
                f"/sensors/uncorrect?correction={each.id}",
            )
            for each in reversed(corrections)
        ),
    )


def _stamp(sensor: Sensor, now_ms: int) -> Stamp:
    if sensor.last_seen_ms is None or now_ms - sensor.last_seen_ms > SILENT_MS:
        return Stamp("ask", "Silent")
    if sensor.online is False:
        return Stamp("ask", "Signed off")
    late = now_ms - sensor.last_seen_ms > FRESH_MS
    return Stamp("unknown", "Late") if late else Stamp("well", "Heard")


def _state(sensor: Sensor, now_ms: int) -> str:
    if sensor.last_seen_ms is None:
        return "never heard"
    heard = f"heard {ago(max(0, now_ms - sensor.last_seen_ms))}"
    return f"signed off, {heard}" if sensor.online is False else heard


def reading_words(reading: Reading | None, style: Style) -> str:
    """Write a reading as one line."""
    if reading is None:
        return "no reading kept"
    parts = [style.temp(reading.temp_c)] if reading.temp_c is not None else []
    if reading.rh_pct is not None:
        parts.append(f"{pct(reading.rh_pct)}{NBSP}RH")
    if reading.battery_pct is not None:
        parts.append(f"battery {pct(reading.battery_pct)}")
    elif reading.battery_v is not None:
        parts.append(f"battery {reading.battery_v:.1f}{NBSP}V")
    return ", ".join(parts)


def arriving(status: IngestStatus) -> tuple[str, tuple[str, ...]]:
    """Say how readings arrive, and what is odd about it."""
    if status.broker == OFF:
        words = "Hilum does not listen to a broker: no reading arrives that way."
    elif status.connected:
        words = f"Readings arrive from the broker at {status.broker}."
    else:
        words = (
            f"No connection to the broker ({status.broker}): no new reading can arrive that way."
        )
    cautions = [status.detail] if status.detail else []
    if not status.durable:
        cautions.append(
            "This is the built-in broker, made for a first try: what it holds is lost when it "
            "stops."
        )
    return words, tuple(cautions)


def sensors_page(
    rows: Sequence[SensorRow],
    rejects: Sequence[Reject],
    counts: Mapping[str, int],
    status: IngestStatus,
    *,
    style: Style,
    said: Said | None,
) -> SensorsPage:
    """Give the page of sensors."""
    words, cautions = arriving(status)
    return SensorsPage(
        title="Sensors",
        said=said,
        arriving=words,
        arriving_well=status.connected,
        cautions=cautions,
        counts=(
            Fact("Messages since the start", f"{status.received}"),
            Fact("Readings kept", f"{status.stored}"),
            Fact("Refused since the start", f"{status.rejected}"),
            Fact("Waiting to be written", f"{status.waiting}"),
        ),
        unclaimed=tuple(row for row in rows if row.place is None),
        placed=tuple(row for row in rows if row.place is not None),
        rejects=reject_rows(rejects, style),
        reject_counts=tuple(
            Fact(REASON_WORDS[RejectReason(reason)], count(amount, "time"))
            for reason, amount in sorted(counts.items())
        ),
    )


def reject_rows(rejects: Sequence[Reject], style: Style) -> tuple[RejectRow, ...]:
    """Give refusals, newest first; those of one kind in a row become one line."""
    alike = groupby(rejects, key=lambda reject: (reject.sensor or reject.topic, reject.reason))
    rows = []
    for (sender, reason), part in alike:
        newest, *older = part
        rows.append(
            RejectRow(
                when=style.moment(newest.received_ms),
                sender=sender,
                reason=REASON_WORDS[reason],
                detail=newest.detail,
                more=f"{count(len(older), 'more', 'more')} like it since "
                f"{style.moment(older[-1].received_ms)}."
                if older
                else "",
            )
        )
    return tuple(rows[:MOST_REJECT_ROWS])
