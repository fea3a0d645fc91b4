"""Whether a rule is broken, from its values and what was known before. Pure.

Where readings are at hand the answer follows from them alone, so that it does not matter how often
or when one looks: a value counts from its first reading past the limit after the last one that was
clearly on the good side.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

import numpy as np

from hilum.domain.alerts import Alert, AlertState
from hilum.domain.model import Floats, Ints
from hilum.keeping.watching.rules import Limits, Rule

NOISE_SHARE = 1 / 3
"""Share of the way from limit to release limit that a value may swing back while it counts as past
the limit: noise of a sensor, not more. No source."""

Words = Mapping[str, str | float]


@dataclass(frozen=True, slots=True)
class Sign:
    """What is known about one rule and one thing now.

    Attributes
    ----------
    rule : Rule
        The rule.
    limits : Limits
        What holds here.
    time_ms, values : ndarray
        Readings in order of time, the newest last; without any nothing can be said and everything
        stays as it is. One alone stands for the present.
    words : mapping
        What is filled into the sentences.
    box, sensor, lot : str or None
        What it is about.
    since_ms : int or None
        For a single value: since when it has been so, if known.
    gap_ms : int
        A longer silence between two readings ends what held before it.
    from_ms : int or None
        From when on readings were looked for.
    until_ms : int or None
        For rules that ask to keep a box shut.
    """

    rule: Rule
    limits: Limits
    time_ms: Ints
    values: Floats
    words: Words = field(default_factory=dict)
    box: str | None = None
    sensor: str | None = None
    lot: str | None = None
    since_ms: int | None = None
    gap_ms: int = 6 * 3_600_000
    from_ms: int | None = None
    until_ms: int | None = None

    @property
    def about(self) -> tuple[str, str | None, str | None]:
        """What tells it from the others: a rule has one open alert for each."""
        return self.rule.key, self.box, self.sensor

    def text(self, template: str, value: float) -> str:
        """Fill in a sentence."""
        limits = self.limits
        figures = {"value": value, "limit": limits.limit, "release": limits.release}
        filled = template.format(**{**figures, "dwell": span(limits.dwell_s), **self.words})
        return filled[0].upper() + filled[1:]


def single(time_ms: int, value: float) -> tuple[Ints, Floats]:
    """Give one value as a series."""
    return np.array([time_ms], np.int64), np.array([value], np.float64)


class Turn(Enum):
    """What an alert does next."""

    NONE = "none"
    WAIT = "wait"  # a new one begins to wait
    RAISE = "raise"
    PASS = "pass"  # noqa: S105 - it was waiting, and passed by itself
    CLEAR = "clear"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The next turn, and the reading it rests on."""

    turn: Turn
    since_ms: int = 0
    value: float = 0.0
    reading_ms: int = 0


def judge(sign: Sign, alert: Alert | None) -> Verdict:
    """Say what becomes of an alert.

    Parameters
    ----------
    sign : Sign
        What is known now.
    alert : Alert or None
        The open alert about the same, if there is one.
    """
    if not len(sign.values):
        return Verdict(Turn.NONE)
    if alert is None and len(sign.values) == 1 and not sign.limits.past(float(sign.values[0])):
        return Verdict(Turn.NONE)  # what nearly always is
    if alert is not None and alert.state in {AlertState.RAISED, AlertState.SEEN}:
        return _end(sign)
    return _beginning(sign, alert)


def _beginning(sign: Sign, alert: Alert | None) -> Verdict:
    limits = sign.limits
    start = _start(sign, past=True)
    at_ms, value = int(sign.time_ms[-1]), float(sign.values[-1])
    if start is None:
        hovers = len(sign.values) == 1 and not limits.calm(value)
        turn = Turn.NONE if alert is None or hovers else Turn.PASS
        return Verdict(turn, at_ms, value, at_ms)
    since_ms = int(sign.time_ms[start])
    if start == 0 and _goes_further_back(sign):
        known = alert.since_ms if alert is not None else sign.since_ms
        since_ms = since_ms if known is None else min(known, since_ms)
    if limits.past(value) and at_ms - since_ms >= limits.dwell_s * 1000:
        return Verdict(Turn.RAISE, since_ms, value, at_ms)
    turn = Turn.WAIT if alert is None else Turn.NONE
    return Verdict(turn, since_ms, value, at_ms)


def _goes_further_back(sign: Sign) -> bool:
    """Whether what the first value shows may have begun before what is at hand."""
    return sign.from_ms is None or int(sign.time_ms[0]) - sign.from_ms <= sign.gap_ms


def _end(sign: Sign) -> Verdict:
    start = _start(sign, past=False)
    at_ms, value = int(sign.time_ms[-1]), float(sign.values[-1])
    if start is None:
        return Verdict(Turn.NONE, at_ms, value, at_ms)
    since_ms = int(sign.time_ms[start])
    if len(sign.values) > 1 and at_ms - since_ms < sign.limits.dwell_s * 1000:
        return Verdict(Turn.NONE, since_ms, value, at_ms)
    return Verdict(Turn.CLEAR, since_ms, value, at_ms)


def _start(sign: Sign, *, past: bool) -> int | None:
    """Find where the present run of values past the limit (or calm ones) began, if one runs."""
    side, limits = sign.limits.side.value, sign.limits
    is_past = side * (sign.values - limits.limit) > 0
    if past:
        floor = limits.limit + NOISE_SHARE * (limits.release - limits.limit)
        wanted, ending = is_past, ~is_past & (side * (sign.values - floor) <= 0)
    else:
        wanted = ~is_past & (side * (sign.values - limits.release) <= 0)
        ending = is_past
    stops = np.flatnonzero(ending)
    first = int(stops[-1]) + 1 if len(stops) else 0
    gaps = np.flatnonzero(np.diff(sign.time_ms) > sign.gap_ms)
    if len(gaps):
        first = max(first, int(gaps[-1]) + 1)
    found = np.flatnonzero(wanted[first:])
    return first + int(found[0]) if len(found) else None


def span(seconds: float) -> str:
    """Write a length of time in the unit that suits it."""
    for unit, length in (("day", 86_400), ("hour", 3600), ("minute", 60)):
        count = round(seconds / length)
        if seconds >= 1.5 * length or (unit == "minute"):
            return f"{max(count, 1)} {unit}{'' if max(count, 1) == 1 else 's'}"
    raise AssertionError  # pragma: no cover - the last unit always answers
