"""Answers about many lots take long; they are kept until what they rest on changes.

That is the store's revision, and the hour: seed does not age visibly within one.

Who asks first need not wait before an empty window: after a moment it is said that the answer is
being worked out, and it is there when it is asked for again.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import TypeVar, cast

from hilum.domain.errors import HilumError
from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR
from hilum.domain.ports import Clock, Store

T = TypeVar("T")
Stamp = tuple[int, int, Hashable]

MOST_ANSWERS = 256
FORGOTTEN_MS = 7 * MS_PER_DAY
"""What nobody asked for in so long is not worked out anew before somebody does."""


OWED_MS = 10 * 60_000
"""An answer somebody was asked to wait for is given though something changed since: where readings
of years arrive that is every few seconds, and nobody would ever see one."""


class StillWorkingError(Exception):
    """An answer takes longer than somebody is kept waiting; it goes on being worked out."""


class _Answer:
    """One answer, worked out by one thread at a time."""

    def __init__(self, make: Callable[[int], object]) -> None:
        self.asked_ms = 0
        self.about: Hashable = None
        self._make = make
        self._lock = threading.Lock()
        self._kept: tuple[Stamp, object] | None = None
        self._working: _Work | None = None

    def value(self, stamp: Stamp, now_ms: int) -> object:
        """Give the answer as of a stamp, worked out now if it is not at hand."""
        with self._lock:
            if self._kept is None or self._kept[0] != stamp:
                self._kept = stamp, self._make(now_ms)
            return self._kept[1]

    def soon(self, stamp: Stamp, now_ms: int, patience_s: float) -> object:
        """Give it as ``value`` does, or say after so long that it is still being worked out."""
        kept, work = self._kept, self._working
        if kept is not None and kept[0] == stamp:
            return kept[1]
        if work is None or not work.serves(stamp, now_ms):
            work = self._working = self._begin(stamp, now_ms)
        if not work.over.wait(patience_s):
            work.owed = True
            raise StillWorkingError
        self._working = None
        return work.future.result()

    def _begin(self, stamp: Stamp, now_ms: int) -> "_Work":
        work = _Work(stamp, now_ms)

        def run() -> None:
            try:
                work.future.set_result(self.value(stamp, now_ms))
            except BaseException as error:  # noqa: BLE001 - raised where it is asked for
                work.future.set_exception(error)
            work.over.set()

        threading.Thread(target=run, name="hilum-answer", daemon=True).start()
        return work


@dataclass
class _Work:
    """An answer on its way; ``owed``: somebody was asked to come again for it."""

    stamp: Stamp
    begun_ms: int
    owed: bool = False
    future: Future[object] = field(default_factory=Future)
    over: threading.Event = field(default_factory=threading.Event)

    def serves(self, stamp: Stamp, now_ms: int) -> bool:
        """Whether who asks for a stamp now is given this one."""
        return self.stamp == stamp or (self.owed and now_ms - self.begun_ms <= OWED_MS)


class Kept:
    """Keeps answers, those asked for last.

    Parameters
    ----------
    store : Store
        What they rest on.
    clock : Clock
        Tells the time.
    patience_s : float, optional
        After so long who asks is told that the answer is being worked out. ``None``: never.
    """

    def __init__(self, store: Store, clock: Clock, patience_s: float | None = None) -> None:
        self._patience_s = patience_s
        self._store = store
        self._clock = clock
        self._lock = threading.Lock()
        self._answers: OrderedDict[Hashable, _Answer] = OrderedDict()
        self._seen: int | None = None  # revision when renewing was last asked for

    def __call__(self, key: Hashable, make: Callable[[int], T], about: Hashable = None) -> T:
        """Give the answer with this key; ``make`` works it out, given the time, when need be.

        ``about`` is what else it rests on: where that is another one, it is worked out again.

        Raises
        ------
        StillWorkingError
            It takes long; it will be there when it is asked for again.
        """
        revision, now_ms = self._now()
        with self._lock:
            answer = self._answers.setdefault(key, _Answer(make))
            self._answers.move_to_end(key)
            if len(self._answers) > MOST_ANSWERS:
                self._answers.popitem(last=False)
        answer.asked_ms, answer.about = now_ms, about
        stamp = (revision, now_ms // MS_PER_HOUR, about)
        if self._patience_s is None:
            return cast("T", answer.value(stamp, now_ms))
        return cast("T", answer.soon(stamp, now_ms, self._patience_s))

    def renew(self) -> None:
        """Work out anew what no longer holds, so that nobody has to wait for it.

        Where something changed since the last call nothing is done yet: while somebody types, or
        the ledger goes through years, every answer would fall again at once.
        """
        revision, now_ms = self._now()
        if self._seen != revision:
            self._seen = revision
            return
        with self._lock:
            answers = list(self._answers.items())
        for key, answer in answers:
            if now_ms - answer.asked_ms > FORGOTTEN_MS:
                continue
            try:
                answer.value((revision, now_ms // MS_PER_HOUR, answer.about), now_ms)
            except HilumError:  # its box or plan is gone
                with self._lock:
                    self._answers.pop(key, None)

    def _now(self) -> tuple[int, int]:
        return self._store.revision(), self._clock.now_ms()
