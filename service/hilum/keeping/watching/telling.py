"""What is told about alerts, and on which channels. Pure."""

import re
import unicodedata
from dataclasses import dataclass
from datetime import UTC, datetime

from hilum.domain.alerts import Alert, Notice
from hilum.keeping.watching.quiet import Quiet
from hilum.keeping.watching.rules import RULES

RAISED, REMINDER, SEEN, CLEARED = "raised", "reminder", "seen", "cleared"
FOR_PEOPLE = frozenset({RAISED, REMINDER, CLEARED})
FOR_MACHINES = FOR_PEOPLE | {SEEN}


@dataclass(frozen=True, slots=True)
class ChannelPlan:
    """What a channel is told.

    Parameters
    ----------
    name : str
        Name of the channel.
    machine : bool
        It is told every step, and at once; people have quiet hours.
    digest : bool
        It gets the weekly digest.
    """

    name: str
    machine: bool = False
    digest: bool = True

    @property
    def steps(self) -> frozenset[str]:
        """The steps it is told."""
        return FOR_MACHINES if self.machine else FOR_PEOPLE


def one_line(text: str, longest: int = 150) -> str:
    """Make a text fit for a subject: one line, without anything that cannot be printed."""
    shown = "".join(" " if unicodedata.category(c)[0] in "CZ" else c for c in text)
    shown = re.sub(r" +", " ", shown).strip()
    return shown if len(shown) <= longest else shown[: longest - 1] + "…"


def iso(time_ms: int | None) -> str | None:
    """Write a time for machines."""
    if time_ms is None:
        return None
    return f"{datetime.fromtimestamp(time_ms / 1000, UTC):%Y-%m-%dT%H:%M:%SZ}"


def alert_data(alert: Alert, step: str) -> tuple[tuple[str, float | str | None], ...]:
    """An alert for machines; units stand in the names or beside the value."""
    rule = RULES.get(alert.rule)
    return (
        ("id", alert.id),
        ("step", step),
        ("rule", alert.rule),
        ("state", str(alert.state)),
        ("box", alert.box),
        ("sensor", alert.sensor),
        ("lot", alert.lot),
        ("value", alert.value),
        ("limit", alert.limit),
        ("unit", rule.unit if rule else None),
        ("reading_time", iso(alert.reading_ms)),
        ("since", iso(alert.since_ms)),
        ("raised", iso(alert.raised_ms)),
        ("seen", iso(alert.seen_ms)),
        ("cleared", iso(alert.cleared_ms)),
        ("keep_shut_until", iso(alert.until_ms)),
        ("sentence", alert.sentence),
        ("advice", alert.advice),
    )


def notices_for(
    alert: Alert,
    step: str,
    plans: tuple[ChannelPlan, ...],
    quiet: Quiet | None,
    now_ms: int,
) -> tuple[Notice, ...]:
    """Everything that one step of an alert gives to tell.

    Parameters
    ----------
    alert : Alert
        As it is after the step.
    step : str
        raised, reminder, seen or cleared.
    plans : tuple of ChannelPlan
        All channels.
    quiet : Quiet or None
        When people are not to be disturbed.
    now_ms : int
        The time of the step.
    """
    rule = RULES[alert.rule]
    kind = {REMINDER: "Still: ", CLEARED: "Over: "}.get(step, "")
    text = alert.sentence if step == CLEARED else f"{alert.sentence}\n\n{alert.advice}"
    held_ms = now_ms if quiet is None or rule.urgent else quiet.due_ms(now_ms)
    return tuple(
        Notice(
            key=f"{alert.id}.{step}.{alert.told}",
            channel=plan.name,
            step=step,
            made_ms=now_ms,
            due_ms=now_ms if plan.machine else held_ms,
            subject=one_line(f"{kind}{rule.title}: {alert.sentence}"),
            text=text,
            alert=alert.id,
            urgent=rule.urgent,
            data=alert_data(alert, step),
        )
        for plan in plans
        if step in plan.steps
    )
