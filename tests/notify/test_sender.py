"""The sender: retries, gives up, keeps quiet hours, and holds nobody up."""

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, time
from zoneinfo import ZoneInfo

import pytest

from hilum.domain.alerts import Notice, NoticeState
from hilum.domain.errors import StoreError
from hilum.keeping.watching.quiet import QuietHours
from hilum.notify.channel import ChannelError, Message
from hilum.notify.sender import (
    GIVE_UP_S,
    ChannelWorker,
    Sender,
    forget_old,
    give_up_unknown,
    retry_s,
)
from hilum.stores.memory import MemoryStore
from keeping.watching import DAY, HOUR, T0, ManualClock
from plugins.sensors import wait_until

NOTICE = Notice("digest.1", "mail", "digest", T0, T0, "Week", "All well.")


@dataclass
class Recorder:
    """A channel that fails as often as it is told to, then takes everything."""

    name: str = "mail"
    failures: int = 0
    error: Exception = field(default_factory=lambda: ChannelError("The server is away."))
    taken: list[Message] = field(default_factory=list)
    tries: int = 0

    def send(self, message: Message) -> None:
        """Take it or fail."""
        self.tries += 1
        if self.tries <= self.failures:
            raise self.error
        self.taken.append(message)


def kept(notices: Sequence[Notice] = (NOTICE,)) -> MemoryStore:
    """A store with notices."""
    store = MemoryStore()
    store.add_notices(notices)
    return store


def test_a_notice_is_handed_over_once() -> None:
    """What was taken is marked with the time, and not sent again."""
    store, channel, clock = kept(), Recorder(), ManualClock()
    worker = ChannelWorker(store, channel, clock)
    assert worker.work_off() == 1
    assert worker.work_off() == 0
    assert [message.id for message in channel.taken] == ["digest.1"]
    (notice,) = store.notices()
    assert (notice.state, notice.sent_ms, notice.attempts) == (NoticeState.SENT, T0, 1)


@pytest.mark.parametrize("error", [ChannelError("Away."), RuntimeError("caddy")])
def test_a_failure_is_retried_later(error: Exception) -> None:
    """After a failure, foreseen or not, each next attempt waits longer, and why is kept."""
    store, channel, clock = kept(), Recorder(failures=3, error=error), ManualClock()
    worker = ChannelWorker(store, channel, clock, luck=lambda: 1.0)
    for wait_s in (30, 60, 120):
        assert worker.work_off() == 0
        assert worker.work_off() == 0
        (notice,) = store.notices()
        assert notice.due_ms == clock.time_ms + wait_s * 1000
        assert notice.error
        assert "caddy" not in notice.error
        clock.time_ms = notice.due_ms - 1
        assert worker.work_off() == 0
        clock.time_ms += 1
    assert worker.work_off() == 1
    assert store.notices()[0].error == ""
    assert channel.tries == 4


def test_waiting_times() -> None:
    """They double from half a minute to an hour, and chance spreads them over the upper half."""
    assert [retry_s(n, 1.0) for n in (1, 2, 3, 7, 8, 5000)] == [30, 60, 120, 1920, 3600, 3600]
    assert retry_s(3, 0.0) == 60
    assert retry_s(3, 0.5) == 90


def test_after_three_days_it_is_given_up_and_that_is_kept() -> None:
    """A notice nobody takes is given up after the stated time, with the last reason."""
    store, clock = kept(), ManualClock()
    channel = Recorder(failures=10**9)
    worker = ChannelWorker(store, channel, clock, luck=lambda: 0.5)
    for _ in range(1000):
        worker.work_off()
        (notice,) = store.notices()
        if notice.state is not NoticeState.PENDING:
            break
        clock.time_ms = notice.due_ms
    assert notice.state is NoticeState.GIVEN_UP
    assert notice.error == "The server is away."
    assert GIVE_UP_S * 1000 <= clock.time_ms - T0 < GIVE_UP_S * 1000 + HOUR
    assert channel.tries == notice.attempts < 150


QUIET = QuietHours(time(22), time(7), UTC)


def test_no_attempt_falls_into_quiet_hours() -> None:
    """A retry that would fall into the night waits for the morning, unless it is urgent."""
    evening = T0 + 22 * HOUR - 10_000
    for urgent in (False, True):
        notice = replace(NOTICE, made_ms=evening, due_ms=evening, urgent=urgent)
        store, clock = kept([notice]), ManualClock(evening)
        ChannelWorker(store, Recorder(failures=1), clock, QUIET.due_ms).work_off()
        due_ms = store.notices()[0].due_ms
        assert (due_ms == T0 + 31 * HOUR) != urgent


@pytest.mark.parametrize(
    ("hour", "minute", "held_until"),
    [(21, 59, None), (22, 0, 31), (23, 30, 31), (24, 0, 31), (30, 59, 31), (31, 0, None)],
)
def test_quiet_hours_over_midnight(hour: int, minute: int, held_until: int | None) -> None:
    """From the first minute to the last, what can wait waits until seven."""
    now_ms = T0 + hour * HOUR + minute * 60_000
    assert QUIET.due_ms(now_ms) == (now_ms if held_until is None else T0 + held_until * HOUR)


def test_quiet_hours_by_day_and_none() -> None:
    """Hours within one day work too; equal ends mean none."""
    siesta = QuietHours(time(13), time(15, 30), UTC)
    assert siesta.due_ms(T0 + 14 * HOUR) == T0 + 15 * HOUR + HOUR // 2
    assert siesta.due_ms(T0 + 16 * HOUR) == T0 + 16 * HOUR
    never = QuietHours(time(0), time(0), UTC)
    assert never.due_ms(T0) == T0


def test_quiet_hours_end_by_the_local_clock() -> None:
    """On the night the clocks change, quiet hours end at seven by the new time.

    In Brussels the clocks went forward on 30 March 2025 at 01:00 UTC: seven there is 05:00 UTC.
    """
    quiet = QuietHours(time(22), time(7), ZoneInfo("Europe/Brussels"))
    evening = T0 + 87 * DAY + 22 * HOUR  # 2025-03-29 22:00 UTC, 23:00 there
    assert quiet.due_ms(evening) == T0 + 88 * DAY + 5 * HOUR


def test_channels_that_are_no_longer_set() -> None:
    """What waits for a channel that is gone is given up, with the reason; the rest waits on."""
    store = kept([NOTICE, replace(NOTICE, channel="push-1")])
    assert give_up_unknown(store, ["mail"]) == 1
    states = {notice.channel: notice.state for notice in store.notices()}
    assert states == {"mail": NoticeState.PENDING, "push-1": NoticeState.GIVEN_UP}
    assert "no longer in the settings" in store.notices(channel="push-1")[0].error


def test_what_was_told_three_months_ago_is_forgotten() -> None:
    """90 days after it was made a sent notice goes, one that still waits does not."""
    store = kept([NOTICE, replace(NOTICE, key="digest.2")])
    store.save_notice(replace(NOTICE, id=1, state=NoticeState.SENT, sent_ms=T0))

    assert forget_old(store, T0 + 90 * DAY) == 0
    assert forget_old(store, T0 + 90 * DAY + 1) == 1
    assert [notice.key for notice in store.notices()] == ["digest.2"]


def test_a_channel_that_hangs_holds_up_no_other() -> None:
    """Each channel has its own thread; stopping leaves the rest for the next start."""
    gate = threading.Event()

    class Hanging(Recorder):
        def send(self, message: Message) -> None:
            gate.wait(20)
            super().send(message)

    slow, quick = Hanging("mail"), Recorder("push-1")
    more = [
        replace(NOTICE, key=f"digest.{i}", channel=name)
        for i in (1, 2)
        for name in ("mail", "push-1")
    ]
    store, clock = kept(more), ManualClock()
    sender = Sender(store, [ChannelWorker(store, each, clock) for each in (slow, quick)], 0.05)
    sender.start()
    try:
        assert wait_until(lambda: len(quick.taken) == 2)
        assert slow.taken == []
        gate.set()
        assert wait_until(lambda: len(slow.taken) == 2)
        store.add_notices([replace(NOTICE, key="digest.3", channel="push-1")])
        sender.wake()
        assert wait_until(lambda: len(quick.taken) == 3)
    finally:
        gate.set()
        sender.stop()


def test_a_database_that_fails_does_not_end_the_sender() -> None:
    """An error of the database is logged, and the work goes on when it is over."""

    class Flaky(MemoryStore):
        broken = True

        def due_notices(self, channel: str, now_ms: int, limit: int = 20) -> Sequence[Notice]:
            if self.broken:
                self.broken = False
                raise StoreError("The disk is full.")
            return super().due_notices(channel, now_ms, limit)

    store, channel = Flaky(), Recorder()
    store.add_notices([NOTICE])
    sender = Sender(store, [ChannelWorker(store, channel, ManualClock())], 0.05)
    sender.start()
    try:
        assert wait_until(lambda: len(channel.taken) == 1)
    finally:
        sender.stop()
