"""Records of the watch: alerts, what is told about them, and how the rules are set.

Times are milliseconds since 1970 UTC. Alerts are part of the truth: they say what was noticed and
told at the time, which later readings do not change.
"""

from dataclasses import dataclass
from datetime import time
from enum import StrEnum

from hilum.domain.model import Event


class AlertState(StrEnum):
    """Where an alert stands in its life."""

    WAITING = "waiting"  # past the limit, but not for long enough yet
    RAISED = "raised"
    SEEN = "seen"  # someone has taken note; no more reminders
    CLEARED = "cleared"  # back past the release limit, or it passed while waiting


@dataclass(frozen=True, slots=True)
class Alert:
    """One stretch of time in which a rule was broken, from its first reading to its end.

    Attributes
    ----------
    id : str
        Stable name, of letters, digits and hyphens.
    rule : str
        Key of the rule.
    state : AlertState
        Where it stands.
    since_ms : int
        When the value passed the limit.
    sentence, advice : str
        What is wrong, and what to do, as of its last step.
    box, sensor, lot : str or None
        What it is about: slug of a box, name of a sensor, code of a lot.
    value, limit : float or None
        Value and limit at the last step, in the rule's unit.
    reading_ms : int or None
        Time of the reading the value comes from.
    raised_ms, seen_ms, cleared_ms : int or None
        When the steps were made. Cleared without ever being raised: it passed by itself.
    told : int
        How often it was told: once when raised, once more by each reminder.
    told_ms : int or None
        When it was last told.
    until_ms : int or None
        For rules that ask to keep a box shut: until about when.
    """

    id: str
    rule: str
    state: AlertState
    since_ms: int
    sentence: str
    advice: str
    box: str | None = None
    sensor: str | None = None
    lot: str | None = None
    value: float | None = None
    limit: float | None = None
    reading_ms: int | None = None
    raised_ms: int | None = None
    seen_ms: int | None = None
    cleared_ms: int | None = None
    told: int = 0
    told_ms: int | None = None
    until_ms: int | None = None


@dataclass(frozen=True, slots=True)
class RuleSetting:
    """How a rule is set for one box, or for all (``box`` empty). ``None``: the rule's own value.

    ``limit`` and ``release`` are in the rule's unit; an alert clears past ``release``. ``dwell_s``
    is how long the value must stay past the limit, ``repeat_s`` the time between reminders (0:
    none).
    """

    rule: str
    box: str = ""
    limit: float | None = None
    release: float | None = None
    dwell_s: int | None = None
    repeat_s: int | None = None
    on: bool = True


@dataclass(frozen=True, slots=True)
class QuietTimes:
    """Local time of day from which and until which people are not disturbed; equal: never."""

    start: time = time(22)
    end: time = time(7)


@dataclass(frozen=True, slots=True)
class DigestTime:
    """Whether the weekly digest is told, on which day (0: Monday), at which local hour."""

    on: bool = True
    weekday: int = 6
    hour: int = 9


@dataclass(frozen=True, slots=True)
class Telling:
    """When people are told."""

    quiet: QuietTimes = QuietTimes()
    digest: DigestTime = DigestTime()


@dataclass(frozen=True, slots=True)
class TellingSetting:
    """When people are told, as far as it was set on the pages. ``None``: as the settings say.

    ``digest_set_ms`` is when its time was last set or put back: an earlier one is not made up for.
    """

    quiet: QuietTimes | None = None
    digest: DigestTime | None = None
    digest_set_ms: int | None = None


class NoticeState(StrEnum):
    """What became of a notice."""

    PENDING = "pending"
    SENT = "sent"
    GIVEN_UP = "given-up"


@dataclass(frozen=True, slots=True)
class Notice:
    """Something to be told on one channel.

    Attributes
    ----------
    key : str
        The same for every attempt and for every run of the program: what receives a notice twice
        can tell by it. Unique with ``channel``.
    channel : str
        Name of the channel.
    step : str
        raised, reminder, seen, cleared, digest or test.
    made_ms, due_ms : int
        When it was decided on, and before when it is not to be sent.
    subject, text : str
        One line, and all of it.
    alert : str or None
        The alert it is about.
    urgent : bool
        Not held back by quiet hours.
    data : tuple of pairs
        The same for machines.
    state : NoticeState
        What became of it.
    attempts : int
        How often sending failed or succeeded.
    sent_ms : int or None
        When it was handed over.
    error : str
        Why the last attempt failed.
    id : int
        Given by the store, in order of entry.
    """

    key: str
    channel: str
    step: str
    made_ms: int
    due_ms: int
    subject: str
    text: str
    alert: str | None = None
    urgent: bool = False
    data: tuple[tuple[str, float | str | None], ...] = ()
    state: NoticeState = NoticeState.PENDING
    attempts: int = 0
    sent_ms: int | None = None
    error: str = ""
    id: int = 0


@dataclass(frozen=True, slots=True)
class AlertChange:
    """One step of one alert with all it brings about, kept whole or not at all.

    ``was`` is the state the step starts from (``None``: the alert is new). If the alert is in
    another state by then, or another alert of this rule about this box and sensor is open, nothing
    of it is kept.
    """

    alert: Alert
    was: AlertState | None
    event: Event | None = None
    notices: tuple[Notice, ...] = ()
