"""When a run of readings breaks a rule and when it is over, against a loop over the readings."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hilum.domain.alerts import Alert, AlertState
from hilum.keeping.watching.judging import Sign, Turn, Verdict, judge
from hilum.keeping.watching.rules import RULES, Limits, Side

MINUTE, HOUR = 60_000, 3_600_000
DAMP = next(rule for rule in RULES.values() if rule.side is Side.ABOVE)
ABOVE = Limits(limit=50.0, release=44.0, dwell_s=3600, repeat_s=0, side=Side.ABOVE)
BELOW = Limits(limit=50.0, release=56.0, dwell_s=3600, repeat_s=0, side=Side.BELOW)


def alert(state: AlertState, since_ms: int = 0) -> Alert:
    """An open alert."""
    return Alert("a", DAMP.key, state, since_ms, "It is.", "Do.")


def sign(
    values: list[float],
    *,
    limits: Limits = ABOVE,
    every_ms: int = 20 * MINUTE,
    times: list[int] | None = None,
    from_ms: int | None = None,
    since_ms: int | None = None,
) -> Sign:
    """Readings, every 20 minutes unless their times are given; mirrored where below is bad."""
    mirrored = values if limits.side is Side.ABOVE else [100.0 - value for value in values]
    at = np.array(times or [i * every_ms for i in range(len(values))], dtype=np.int64)
    return Sign(
        DAMP, limits, at, np.array(mirrored, dtype=float), since_ms=since_ms, from_ms=from_ms
    )


@dataclass
class Run:
    """Where the present run began, found reading by reading."""

    start: int | None = None


def began(found: Sign, *, past: bool) -> int | None:
    """The rule in words: past the limit since the first reading after the last clearly good one.

    Clearly good: back a third of the way to the release limit. Over: at the release limit or
    beyond since the last reading past the limit. A silence longer than the gap ends both.
    """
    side, limits, run = found.limits.side.value, found.limits, Run()
    third = limits.limit + (limits.release - limits.limit) / 3.0
    for i, value in enumerate(found.values):
        if i and found.time_ms[i] - found.time_ms[i - 1] > found.gap_ms:
            run.start = None
        bad = side * (value - limits.limit) > 0
        good = side * (value - (third if past else limits.release)) <= 0
        counts, ends = (bad, good) if past else (good, bad)
        if ends:
            run.start = None
        elif counts and run.start is None:
            run.start = i
    return run.start


def expected(found: Sign, known: Alert | None) -> Turn:
    """What becomes of an alert, from the run alone."""
    dwell_ms = found.limits.dwell_s * 1000
    open_ = known is not None and known.state is not AlertState.WAITING
    start = began(found, past=not open_)
    last = int(found.time_ms[-1])
    if open_:
        if start is None:
            return Turn.NONE
        long_enough = len(found.values) == 1 or last - int(found.time_ms[start]) >= dwell_ms
        return Turn.CLEAR if long_enough else Turn.NONE
    if start is None:
        return Turn.NONE if known is None else Turn.PASS
    since = int(found.time_ms[start])
    if start == 0 and known is not None:
        since = min(since, known.since_ms)
    if found.limits.past(float(found.values[-1])) and last - since >= dwell_ms:
        return Turn.RAISE
    return Turn.WAIT if known is None else Turn.NONE


values_of = st.lists(
    st.sampled_from([30.0, 43.9, 44.0, 44.1, 47.9, 48.0, 48.1, 49.9, 50.0, 50.1, 60.0]),
    min_size=2,
    max_size=14,
)
gaps_of = st.lists(st.sampled_from([1, 20, 60, 359, 360, 361]), min_size=13, max_size=13)


@given(
    values_of,
    gaps_of,
    st.sampled_from([None, AlertState.WAITING, AlertState.RAISED, AlertState.SEEN]),
    st.sampled_from([ABOVE, BELOW]),
)
def test_any_readings_are_judged_as_a_loop_would(
    values: list[float], gaps: list[int], state: AlertState | None, limits: Limits
) -> None:
    """Random readings about the limits, with silences, for either side and every state."""
    times = [0, *(int(t) * MINUTE for t in np.cumsum(gaps[: len(values) - 1]))]
    found = sign(values, limits=limits, times=times)
    known = None if state is None else alert(state)
    assert judge(found, known).turn is expected(found, known)


@pytest.mark.parametrize("limits", [ABOVE, BELOW], ids=["above", "below"])
@pytest.mark.parametrize(
    ("values", "turn", "since"),
    [
        ([40, 51, 51, 51], Turn.WAIT, 1),  # 40 minutes past the limit, an hour is asked
        ([40, 51, 51, 51, 51], Turn.RAISE, 1),  # an hour to the minute
        ([51, 51, 51, 51], Turn.RAISE, 0),
        ([51, 51, 51, 50], Turn.WAIT, 0),  # at the limit it is not past it, nor clearly good
        ([51, 49, 51, 51], Turn.RAISE, 0),  # noise: less than a third of the way back
        ([51, 48, 51, 51], Turn.WAIT, 2),  # a third of the way back ends it
        ([51, 51, 51, 48], Turn.NONE, None),
        ([40, 40, 40], Turn.NONE, None),
    ],
)
def test_how_a_new_alert_begins(
    values: list[float], turn: Turn, since: int | None, limits: Limits
) -> None:
    """Readings every 20 minutes, limit 50, release 44, dwell one hour; mirrored for below."""
    found = judge(sign(values, limits=limits), None)
    assert found.turn is turn
    if since is not None:
        assert found.since_ms == since * 20 * MINUTE


@pytest.mark.parametrize("limits", [ABOVE, BELOW], ids=["above", "below"])
@pytest.mark.parametrize(
    ("values", "turn"),
    [
        ([51, 43, 43, 43], Turn.NONE),  # 40 minutes calm
        ([51, 43, 43, 43, 43], Turn.CLEAR),  # an hour
        ([43, 44, 44, 44], Turn.CLEAR),  # the release limit itself is calm
        ([51, 45, 45, 45, 45], Turn.NONE),  # between the limits nothing changes
        ([43, 49, 43, 43], Turn.CLEAR),  # not past the limit in between
        ([43, 51, 43, 43], Turn.NONE),  # past it once: the calm begins again
        ([44], Turn.CLEAR),  # one value stands for the present
        ([44.1], Turn.NONE),
    ],
)
def test_how_an_alert_ends(values: list[float], turn: Turn, limits: Limits) -> None:
    """An alert that was raised or seen is over after an hour at the release limit or beyond."""
    for state in (AlertState.RAISED, AlertState.SEEN):
        assert judge(sign(values, limits=limits), alert(state)).turn is turn


def test_a_silence_ends_what_held_before_it() -> None:
    """Six hours of silence are borne, a minute more is not: the run begins anew after it."""
    for silence, turn in ((6 * HOUR, Turn.RAISE), (6 * HOUR + MINUTE, Turn.WAIT)):
        times = [0, 20 * MINUTE, 20 * MINUTE + silence]
        assert judge(sign([51, 51, 51], times=times), None).turn is turn
    two = [0, 7 * HOUR, 14 * HOUR, 14 * HOUR + 20 * MINUTE]
    found = judge(sign([51, 51, 51, 51], times=two), None)
    assert found == Verdict(Turn.WAIT, 14 * HOUR, 51.0, two[-1])


def test_what_began_before_the_readings_at_hand_is_not_forgotten() -> None:
    """Past the limit from the first reading on: it counts from when it was known to begin.

    Unless the readings were looked for from long before the first of them: then it began there.
    """
    known = alert(AlertState.WAITING, since_ms=-5 * HOUR)
    assert judge(sign([51, 51]), known).turn is Turn.RAISE
    assert judge(sign([51, 51]), known).since_ms == -5 * HOUR
    assert judge(sign([51, 51], from_ms=-6 * HOUR), known).since_ms == -5 * HOUR
    assert judge(sign([51, 51], from_ms=-6 * HOUR - 1), known).since_ms == 0
    assert judge(sign([40, 51]), known).since_ms == 20 * MINUTE
    assert judge(sign([51, 51], since_ms=-2 * HOUR), None).since_ms == -2 * HOUR
    assert judge(sign([51, 51], since_ms=7 * HOUR), None).since_ms == 0


def test_a_single_value_between_the_limits_leaves_a_waiting_alert_waiting() -> None:
    """One value stands for the present: between the limits it hovers, at the release it passes."""
    waiting = alert(AlertState.WAITING)
    assert judge(sign([46.0]), waiting).turn is Turn.NONE
    assert judge(sign([44.0]), waiting).turn is Turn.PASS
    assert judge(sign([40.0]), None) == Verdict(Turn.NONE)


def test_without_readings_everything_stays() -> None:
    """Nothing at hand says nothing, whatever the alert's state."""
    for known in (None, alert(AlertState.WAITING), alert(AlertState.RAISED)):
        assert judge(sign([], times=[]), known) == Verdict(Turn.NONE)
