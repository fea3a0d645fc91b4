"""What happened in a box, as marks on its history: openings, desiccant, alerts."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from hilum.domain.model import Box, EventType
from hilum.domain.ports import Store
from hilum.web.views.format import Style, count, sentence_list
from hilum.web.views.picturecontexts import ChartMark, MarkKey

OPENED, SWAP, WEIGHED, ALERT = "opened", "swap", "weighed", "alert"

SIGNS = {EventType.OPENED: OPENED, EventType.SWAP: SWAP, EventType.WEIGHED: WEIGHED}
WORDS = {
    OPENED: ("opened", "opened"),
    SWAP: ("fresh desiccant", "fresh desiccant"),
    WEIGHED: ("desiccant weighed", "desiccant weighed"),
    ALERT: ("alert", "alerts"),
}
MOST_EVENTS, MOST_ALERTS = 2000, 200


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened; ``until_ms`` only for what lasted."""

    sign: str
    time_ms: int
    until_ms: int | None
    words: str


def marks(store: Store, box: Box, span: tuple[int, int], now_ms: int) -> tuple[Mark, ...]:
    """Give what happened within a span, in order of time, and the alerts that were told."""
    start_ms, end_ms = span
    found = [
        Mark(SIGNS[event.type], event.time_ms, None, WORDS[SIGNS[event.type]][0].capitalize())
        for event in store.events(box=box.slug, start_ms=start_ms, limit=MOST_EVENTS)
        if event.type in SIGNS and not event.struck and event.time_ms < end_ms
    ]
    for alert in store.alerts(box=box.slug, limit=MOST_ALERTS):
        until_ms = now_ms if alert.cleared_ms is None else alert.cleared_ms
        if alert.raised_ms is not None and alert.since_ms < end_ms and until_ms > start_ms:
            found.append(Mark(ALERT, alert.since_ms, until_ms, alert.sentence))
    return tuple(sorted(found, key=lambda mark: mark.time_ms))


def told(found: Iterable[Mark]) -> str:
    """Say how often what happened: "opened twice, 1 alert"; empty if nothing did."""
    counts = Counter(mark.sign for mark in found)
    return sentence_list([_often(sign, counts[sign]) for sign in WORDS if counts[sign]])


def _often(sign: str, times: int) -> str:
    one, many = WORDS[sign]
    if sign == ALERT:
        return count(times, one, many)
    if times < 3:
        return f"{one} {'once' if times == 1 else 'twice'}"
    return f"{one} {times} times"


def within(found: Sequence[Mark], labels: Sequence[str], label: str) -> str:
    """Say what began in the period that carries a label; ``labels`` are those of the marks."""
    return told(mark for mark, mine in zip(found, labels, strict=True) if mine == label)


def place_pct(time_ms: int, span: tuple[int, int]) -> float:
    """Place of a time within a span, in %; not beyond its ends."""
    share = (time_ms - span[0]) / max(1, span[1] - span[0])
    return 100 * min(max(share, 0.0), 1.0)


def place_marks(
    found: Sequence[Mark], span: tuple[int, int], style: Style
) -> tuple[ChartMark, ...]:
    """Give marks as they lie above a history."""
    placed = []
    for mark in found:
        left = place_pct(mark.time_ms, span)
        right = left if mark.until_ms is None else place_pct(mark.until_ms, span)
        words = f"{style.moment(mark.time_ms)}: {mark.words}"
        placed.append(ChartMark(mark.sign, round(left, 2), round(right - left, 2), words))
    return tuple(placed)


def signs(found: Sequence[Mark]) -> tuple[MarkKey, ...]:
    """Say what the signs stand for that occur."""
    seen = {mark.sign for mark in found}
    return tuple(MarkKey(sign, WORDS[sign][0]) for sign in WORDS if sign in seen)
