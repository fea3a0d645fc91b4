"""Hands notices to their channels, again and again until they are taken or given up.

Each channel has a thread of its own, so that one that hangs does not hold up the others. A notice
is handed over before it is marked as sent: if the program ends in between, it is handed over once
more at the next start, under the same id. That is the only case in which a channel gets a notice
twice.
"""

import logging
import random
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace

from hilum.domain.alerts import Notice, NoticeState
from hilum.domain.errors import HilumError
from hilum.domain.model import MS_PER_DAY
from hilum.domain.ports import AlertStore, Clock
from hilum.notify.channel import Channel, message_of

log = logging.getLogger(__name__)

FIRST_RETRY_S = 30.0
LONGEST_RETRY_S = 3600.0
GIVE_UP_S = 3 * 86_400
"""A notice that could not be handed over for so long is given up, and that is shown."""

KEPT_DAYS = 90
"""What was sent or given up is kept for so long, then forgotten; alerts and the journal stay."""

POLL_S = 5.0
STOP_S = 15.0

Due = Callable[[int], int]
"""Gives the time itself, or when quiet hours end."""


def retry_s(attempts: int, luck: float) -> float:
    """Wait before the next attempt [s]: doubles each time up to an hour, between half and all.

    Parameters
    ----------
    attempts : int
        How often it failed, 1 or more.
    luck : float
        0 to 1; spreads the attempts of many messages.
    """
    longest = min(FIRST_RETRY_S * 2.0 ** min(attempts - 1, 20), LONGEST_RETRY_S)
    return longest * (0.5 + 0.5 * luck)


class ChannelWorker:
    """Works off the notices of one channel.

    Parameters
    ----------
    store : AlertStore
        Where the notices are.
    channel : Channel
        Takes them.
    clock : Clock
        Tells the time.
    quiet : callable, optional
        For channels to people: no attempt falls into quiet hours, but for what is urgent.
    luck : callable
        Gives numbers from 0 to 1.
    """

    def __init__(
        self,
        store: AlertStore,
        channel: Channel,
        clock: Clock,
        quiet: Due | None = None,
        luck: Callable[[], float] = random.random,
    ) -> None:
        self.channel = channel
        self._store = store
        self._clock = clock
        self._quiet = quiet
        self._luck = luck

    def work_off(self, stop: Callable[[], bool] = lambda: False) -> int:
        """Try every notice whose time has come once; give how many were taken."""
        taken = 0
        tried: set[int] = set()
        while not stop():
            due = self._store.due_notices(self.channel.name, self._clock.now_ms())
            due = [notice for notice in due if notice.id not in tried]
            if not due:
                break
            for notice in due:
                tried.add(notice.id)
                taken += self._try(notice)
                if stop():
                    break
        return taken

    def _try(self, notice: Notice) -> bool:
        try:
            self.channel.send(message_of(notice))
        except HilumError as error:
            self._store.save_notice(self._failed(notice, str(error)))
            return False
        except Exception as error:
            log.exception("Channel %s failed in an unforeseen way", self.channel.name)
            words = f"An unforeseen error ({type(error).__name__}); see the log."
            self._store.save_notice(self._failed(notice, words))
            return False
        now_ms = self._clock.now_ms()
        self._store.save_notice(
            replace(
                notice,
                state=NoticeState.SENT,
                attempts=notice.attempts + 1,
                sent_ms=now_ms,
                error="",
            )
        )
        return True

    def _failed(self, notice: Notice, words: str) -> Notice:
        now_ms, attempts = self._clock.now_ms(), notice.attempts + 1
        log.warning("Channel %s: %s", self.channel.name, words)
        if now_ms - notice.made_ms >= GIVE_UP_S * 1000:
            return replace(notice, state=NoticeState.GIVEN_UP, attempts=attempts, error=words)
        due_ms = now_ms + round(1000 * retry_s(attempts, self._luck()))
        if self._quiet is not None and not notice.urgent:
            due_ms = self._quiet(due_ms)
        return replace(notice, due_ms=due_ms, attempts=attempts, error=words)


class Sender:
    """A worker and a thread for each channel.

    Parameters
    ----------
    store : AlertStore
        Where the notices are.
    workers : sequence of ChannelWorker
        One for each channel.
    poll_s : float
        Looks for notices this often even when nobody calls.
    """

    def __init__(
        self, store: AlertStore, workers: Sequence[ChannelWorker], poll_s: float = POLL_S
    ) -> None:
        self._store = store
        self._poll_s = poll_s
        self._stop = threading.Event()
        self._wakes = [threading.Event() for _ in workers]
        self._threads = [
            threading.Thread(
                target=self._run,
                args=(worker, wake),
                name=f"hilum-tell-{worker.channel.name}",
                daemon=True,
            )
            for worker, wake in zip(workers, self._wakes, strict=True)
        ]

    def start(self) -> None:
        """Start the threads."""
        for thread in self._threads:
            thread.start()

    def wake(self) -> None:
        """Say that there may be something to tell."""
        for wake in self._wakes:
            wake.set()

    def stop(self) -> None:
        """Finish what is under way; the rest stays for the next start."""
        self._stop.set()
        self.wake()
        until = time.monotonic() + STOP_S
        for thread in self._threads:
            if thread.is_alive():
                thread.join(max(0.0, until - time.monotonic()))

    def _run(self, worker: ChannelWorker, wake: threading.Event) -> None:
        while not self._stop.is_set():
            try:
                worker.work_off(self._stop.is_set)
            except HilumError as error:
                log.warning("Notices could not be worked off, will try again: %s", error)
            except Exception:
                log.exception("Notices could not be worked off, will try again")
            wake.wait(self._poll_s)
            wake.clear()


def give_up_unknown(store: AlertStore, known: Sequence[str]) -> int:
    """Give up what waits for channels that are no longer set; give how many notices that were."""
    waiting = store.notices(state=NoticeState.PENDING, limit=100_000)
    lost = [notice for notice in waiting if notice.channel not in known]
    for notice in lost:
        words = "This channel is no longer in the settings."
        store.save_notice(replace(notice, state=NoticeState.GIVEN_UP, error=words))
    return len(lost)


def forget_old(store: AlertStore, now_ms: int) -> int:
    """Forget what was sent or given up long ago; give how many notices that were.

    A digest is known by its notice. It is due for less than a week, so that none is made twice.
    """
    return store.drop_notices(now_ms - KEPT_DAYS * MS_PER_DAY)
