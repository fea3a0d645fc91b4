"""Answers about many lots take long; they are kept until what they rest on changes.

That is the store's revision, and the hour: seed does not age visibly within one.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import TypeVar, cast

from hilum.domain.errors import HilumError
from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR
from hilum.domain.ports import Clock, Store

T = TypeVar("T")
Stamp = tuple[int, int, Hashable]

MOST_ANSWERS = 256
FORGOTTEN_MS = 7 * MS_PER_DAY
"""What nobody asked for in so long is not worked out anew before somebody does."""


class _Answer:
    """One answer, worked out by one thread at a time."""

    def __init__(self, make: Callable[[int], object]) -> None:
        self.asked_ms = 0
        self.about: Hashable = None
        self._make = make
        self._lock = threading.Lock()
        self._stamp: Stamp | None = None
        self._value: object = None

    def value(self, stamp: Stamp, now_ms: int) -> object:
        """Give the answer as of a stamp, worked out now if it is not at hand."""
        with self._lock:
            if self._stamp != stamp:
                self._value = self._make(now_ms)
                self._stamp = stamp
            return self._value


class Kept:
    """Keeps answers, those asked for last.

    Parameters
    ----------
    store : Store
        What they rest on.
    clock : Clock
        Tells the time.
    """

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock
        self._lock = threading.Lock()
        self._answers: OrderedDict[Hashable, _Answer] = OrderedDict()
        self._seen: int | None = None  # revision when renewing was last asked for

    def __call__(self, key: Hashable, make: Callable[[int], T], about: Hashable = None) -> T:
        """Give the answer with this key; ``make`` works it out, given the time, when need be.

        ``about`` is what else it rests on: where that is another one, it is worked out again.
        """
        revision, now_ms = self._now()
        with self._lock:
            answer = self._answers.setdefault(key, _Answer(make))
            self._answers.move_to_end(key)
            if len(self._answers) > MOST_ANSWERS:
                self._answers.popitem(last=False)
        answer.asked_ms, answer.about = now_ms, about
        return cast("T", answer.value((revision, now_ms // MS_PER_HOUR, about), now_ms))

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
