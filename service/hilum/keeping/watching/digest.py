"""The weekly digest: how everything stands, also when all is well. Pure queries.

It is sent whether or not there is something to do: who does not get it knows that the watch itself
has stopped.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta, tzinfo

from hilum.domain.alerts import Alert, AlertState, Notice, NoticeState
from hilum.domain.model import MS_PER_DAY
from hilum.domain.ports import Store
from hilum.keeping.overview import BoxOverview, Freshness, box_overview
from hilum.keeping.watching.judging import span
from hilum.keeping.watching.telling import ChannelPlan, iso

LATE_MS = 3 * MS_PER_DAY
"""A digest missed by more than this is not made up for."""


def digest_due_ms(now_ms: int, weekday: int, hour: int, zone: tzinfo) -> int:
    """Give the time of the newest digest that was due.

    Parameters
    ----------
    now_ms : int
        The time.
    weekday : int
        0 is Monday.
    hour : int
        Local hour, 0 to 23.
    zone : tzinfo
        Where.
    """
    now = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone)
    day = now.date() - timedelta(days=(now.weekday() - weekday) % 7)
    due = datetime.combine(day, time(hour), zone)
    if due > now:
        due = datetime.combine(day - timedelta(days=7), time(hour), zone)
    return round(due.timestamp() * 1000)


def digest_notices(
    store: Store, plans: Sequence[ChannelPlan], now_ms: int, due_ms: int
) -> list[Notice]:
    """Give the digest of a week for every channel that gets one, unless it was made already.

    Parameters
    ----------
    store : Store
        Everything that is kept.
    plans : sequence of ChannelPlan
        All channels.
    now_ms, due_ms : int
        The time, and when the digest was due.
    """
    key = f"digest.{(iso(due_ms) or '')[:10]}"
    wanted = [plan for plan in plans if plan.digest]
    if not wanted or now_ms - due_ms > LATE_MS or store.has_notice(key):
        return []
    subject, text = digest(store, now_ms)
    return [
        Notice(key, plan.name, "digest", now_ms, now_ms, subject, text, data=(("text", text),))
        for plan in wanted
    ]


def digest(store: Store, now_ms: int) -> tuple[str, str]:
    """Write the digest.

    Parameters
    ----------
    store : Store
        Everything that is kept.
    now_ms : int
        The time.

    Returns
    -------
    tuple of str
        Subject and text.
    """
    views = [box_overview(store, box, now_ms) for box in store.boxes() if not box.archived]
    told = [a for a in store.alerts(open_only=True) if a.state is not AlertState.WAITING]
    over = _over(store, now_ms - 7 * MS_PER_DAY)
    unheard = [v for v in views if v.freshness is not Freshness.FRESH]
    if not views:
        return "Your seed boxes: none yet", "There are no boxes yet, so nothing is watched.\n"
    head = _head(len(views), len(told), len(unheard))
    parts = [head, _listed("To do", [f"{a.sentence} {a.advice}" for a in told])]
    parts.append(_listed("Boxes", [_line(view, now_ms) for view in views]))
    parts.append(_listed("Over since last week", [a.sentence for a in over]))
    parts.append(_listed("Could not be told", _failures(store, now_ms)))
    closing = "You get this every week. If it stays away, look whether Hilum is running."
    subject = "all well" if not told and not unheard else head
    return f"Your seed boxes: {subject}", "\n\n".join(
        part for part in [*parts, closing] if part
    ) + "\n"


def _head(boxes: int, told: int, unheard: int) -> str:
    if not told and not unheard:
        return f"All well in {boxes} box{'es' if boxes > 1 else ''}."
    words = [f"{told} thing{'s' if told > 1 else ''} to do"] if told else []
    if unheard:
        words.append(f"no fresh reading from {unheard} of {boxes} boxes")
    text = ", ".join(words)
    return f"{text[0].upper()}{text[1:]}."


def _line(view: BoxOverview, now_ms: int) -> str:
    newest = view.newest
    if newest is None:
        return f"{view.box.name}: not measured; {view.lots} lots."
    erh = f"{newest.erh_pct:.0f} % seed humidity" if newest.erh_pct is not None else None
    temp = f"{newest.temp_c:.0f} °C" if newest.temp_c is not None else None
    values = ", ".join(value for value in (erh, temp) if value)
    late = ""
    if view.freshness is not Freshness.FRESH:
        late = f" ({span((now_ms - newest.time_ms) / 1000)} ago)"
    return f"{view.box.name}: {values}{late}; {view.lots} lots."


def _over(store: Store, since_ms: int) -> list[Alert]:
    return [
        alert
        for alert in store.alerts(limit=200)
        if alert.raised_ms is not None and alert.cleared_ms is not None
        if alert.cleared_ms >= since_ms
    ]


def _failures(store: Store, now_ms: int) -> list[str]:
    """Channels on which telling was given up in the last two weeks, with the newest reason."""
    given_up = store.notices(state=NoticeState.GIVEN_UP, limit=200)
    since_ms = now_ms - 14 * MS_PER_DAY
    last = {each.channel: each for each in reversed(given_up) if each.made_ms >= since_ms}
    return [f"{channel}: {notice.error}" for channel, notice in sorted(last.items())]


def _listed(title: str, lines: Sequence[str]) -> str:
    return "\n".join([f"{title}:", *(f"- {line}" for line in lines)]) if lines else ""
