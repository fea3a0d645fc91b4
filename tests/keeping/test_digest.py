"""The weekly digest: also when all is well, once a week, and honest about what failed."""

from dataclasses import replace
from datetime import UTC
from zoneinfo import ZoneInfo

import pytest

from hilum.domain.alerts import Notice, NoticeState
from hilum.keeping.watching.digest import digest, digest_due_ms, digest_notices
from hilum.keeping.watching.telling import ChannelPlan
from hilum.stores.memory import MemoryStore
from keeping.watching import DAY, HOUR, MAIL, T0, Small

SUNDAY = 6
FIRST = T0 + 4 * DAY + 9 * HOUR  # Sunday 2025-01-05, nine o'clock


@pytest.fixture
def small() -> Small:
    """A tub that is well."""
    made = Small()
    made.place()
    made.run(180, rh_pct=25.0)
    made.refresh()
    return made


def test_all_is_well(small: Small) -> None:
    """It says so, with each box's figures, and what its absence would mean."""
    subject, text = digest(small.store, small.clock.time_ms)
    assert subject == "Your seed boxes: all well"
    assert text.startswith("All well in 1 box.\n")
    assert "- Blue tub: 25 % seed humidity, 18 °C; 0 lots." in text
    assert "If it stays away, look whether Hilum is running." in text
    assert "To do" not in text


def test_something_to_do(small: Small) -> None:
    """Alerts stand first, with what to do."""
    small.run(240, rh_pct=45.0)
    subject, text = digest(small.store, small.clock.time_ms)
    assert subject == "Your seed boxes: 1 thing to do."
    assert "To do:\n- Blue tub is damp: 45 % seed humidity, above its 35 %. Look" in text
    small.run(240, rh_pct=25.0)
    subject, text = digest(small.store, small.clock.time_ms)
    assert subject.endswith("all well")
    assert "Over since last week:\n- Blue tub is dry enough again: 25 % seed humidity." in text


def test_silence_is_not_health(small: Small) -> None:
    """A box without a fresh reading is not well, whatever its last one was."""
    small.clock.time_ms += 9 * HOUR
    subject, text = digest(small.store, small.clock.time_ms)
    assert subject == "Your seed boxes: No fresh reading from 1 of 1 boxes."
    assert "(9 hours ago)" in text


def test_what_could_not_be_told_is_said(small: Small) -> None:
    """A channel that was given up is named with the reason."""
    lost = Notice("x.raised.1", "push-1", "raised", small.clock.time_ms, 0, "s", "t")
    small.store.add_notices([lost])
    (kept,) = small.store.notices()
    small.store.save_notice(replace(kept, state=NoticeState.GIVEN_UP, error="No answer."))
    assert "Could not be told:\n- push-1: No answer." in digest(small.store, T0 + DAY)[1]
    assert "push-1" not in digest(small.store, T0 + 40 * DAY)[1]


def test_no_boxes_yet() -> None:
    """Without boxes nothing is said to be well."""
    subject, text = digest(MemoryStore(), T0)
    assert "well" not in subject
    assert "nothing is watched" in text


@pytest.mark.parametrize(
    ("now_ms", "due_ms"),
    [
        (FIRST - 1, FIRST - 7 * DAY),
        (FIRST, FIRST),
        (FIRST + DAY, FIRST),
        (FIRST + 7 * DAY - 1, FIRST),
        (FIRST + 7 * DAY, FIRST + 7 * DAY),
    ],
)
def test_when_it_is_due(now_ms: int, due_ms: int) -> None:
    """Every Sunday at nine, to the millisecond."""
    assert digest_due_ms(now_ms, SUNDAY, 9, UTC) == due_ms


def test_it_is_due_by_the_local_clock() -> None:
    """Nine in Brussels is 07:00 UTC in summer."""
    july = T0 + 200 * DAY
    due_ms = digest_due_ms(july, SUNDAY, 9, ZoneInfo("Europe/Brussels"))
    assert due_ms % DAY == 7 * HOUR


def test_once_a_week_to_those_who_get_it(small: Small) -> None:
    """The same digest is made once, however often one looks, and late by three days at most."""
    store = small.store
    plans = (MAIL, ChannelPlan("mqtt", machine=True, digest=False), ChannelPlan("push-1"))
    notices = digest_notices(store, plans, FIRST + HOUR, FIRST)
    assert [notice.channel for notice in notices] == ["mail", "push-1"]
    assert store.add_notices(notices) == 2
    assert digest_notices(store, plans, FIRST + 2 * HOUR, FIRST) == []
    assert digest_notices(store, plans, FIRST + 10 * DAY, FIRST + 7 * DAY) != []
    assert digest_notices(store, plans, FIRST + 10 * DAY + 1, FIRST + 7 * DAY) == []
    assert digest_notices(store, (), FIRST, FIRST) == []
