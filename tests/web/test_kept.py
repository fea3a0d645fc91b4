"""Answers that are kept: made once, made again when they must be, never when they need not."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from hilum.domain.errors import NotFoundError
from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, Lot, Reading
from hilum.stores.memory import MemoryStore
from hilum.web.kept import MOST_ANSWERS, Kept, StillWorkingError
from web.small_world import FixedClock


class Slow:
    """Something that takes as long as the test wants."""

    def __init__(self) -> None:
        self.go_on = threading.Event()
        self.times = 0

    def __call__(self, now_ms: int) -> str:
        """Wait until it may go on."""
        self.times += 1
        assert self.go_on.wait(30)
        return f"made at {now_ms}"


class Counted:
    """Something that is worked out, and counts how often."""

    def __init__(self) -> None:
        self.times = 0

    def __call__(self, now_ms: int) -> int:
        """Give the time."""
        self.times += 1
        return now_ms


def test_answer_holds_within_the_hour() -> None:
    """It is made once, and again in the next hour of the clock."""
    clock, make = FixedClock(10 * MS_PER_HOUR), Counted()
    kept = Kept(MemoryStore(), clock)
    assert kept("a", make) == kept("a", make) == 10 * MS_PER_HOUR
    clock.now += MS_PER_HOUR - 1
    assert kept("a", make) == 10 * MS_PER_HOUR
    clock.now += 1
    assert kept("a", make) == 11 * MS_PER_HOUR
    assert make.times == 2


def test_answer_falls_with_what_is_entered_not_with_readings() -> None:
    """A new lot makes it anew; a reading does not."""
    store, make = MemoryStore(), Counted()
    kept = Kept(store, FixedClock())
    kept("a", make)
    store.add([Reading("home/one", 1, 20.0)], received_ms=1)
    kept("a", make)
    assert make.times == 1
    store.save_lot(Lot("A1", "onion"))
    kept("a", make)
    assert make.times == 2


def test_answer_falls_with_what_else_it_is_about() -> None:
    """What is named beside it counts like the rest, also when it is renewed."""
    kept, make = Kept(MemoryStore(), FixedClock()), Counted()
    kept("a", make, about=1)
    kept("a", make, about=1)
    assert make.times == 1
    kept("a", make, about=2)
    kept.renew()
    kept.renew()
    kept("a", make, about=2)
    assert make.times == 2


def test_two_who_ask_at_once_wait_for_one_answer() -> None:
    """It is worked out by one of them, and both get it."""
    kept, times, both = Kept(MemoryStore(), FixedClock()), [], threading.Barrier(2, timeout=30)

    def make(now_ms: int) -> int:
        times.append(now_ms)
        return now_ms

    def ask(_: int) -> int:
        both.wait()
        return kept("a", make)

    with ThreadPoolExecutor(2) as pool:
        assert len(set(pool.map(ask, range(2)))) == 1
    assert len(times) == 1


def test_renewed_before_anybody_asks() -> None:
    """What no longer holds is made anew, so the next one who asks does not wait."""
    clock, make = FixedClock(), Counted()
    kept = Kept(MemoryStore(), clock)
    kept("a", make)
    kept.renew()
    kept.renew()
    assert make.times == 1
    clock.now += MS_PER_HOUR
    kept.renew()
    assert make.times == 2
    kept("a", make)
    assert make.times == 2


def test_not_renewed_while_things_change() -> None:
    """It waits until nothing was entered between one call and the next."""
    store, make = MemoryStore(), Counted()
    kept = Kept(store, FixedClock())
    kept.renew()
    kept("a", make)
    for code in ("A1", "A2"):
        store.save_lot(Lot(code, "onion"))
        kept.renew()
    assert make.times == 1
    kept.renew()
    assert make.times == 2


def test_what_nobody_asks_for_is_left() -> None:
    """After a week without a question it is not worked out any more until one comes."""
    clock, make = FixedClock(), Counted()
    kept = Kept(MemoryStore(), clock)
    kept("a", make)
    kept.renew()
    clock.now += 8 * MS_PER_DAY
    kept.renew()
    assert make.times == 1


def test_renewing_goes_on_past_what_is_gone() -> None:
    """An answer that cannot be given any more is dropped, the others are made."""
    clock, make = FixedClock(), Counted()
    gone = False
    kept = Kept(MemoryStore(), clock)

    def box(now_ms: int) -> int:
        if gone:
            raise NotFoundError("There is no box “tub” here.")
        return now_ms

    kept("box", box)
    kept("a", make)
    gone = True
    kept.renew()
    clock.now += MS_PER_HOUR
    kept.renew()
    assert make.times == 2


def test_only_so_many_are_kept() -> None:
    """The one asked for longest ago goes first."""
    kept, first = Kept(MemoryStore(), FixedClock()), Counted()
    kept(0, first)
    for number in range(1, MOST_ANSWERS):
        kept(number, Counted())
    kept(0, first)
    kept("one more", Counted())
    kept(0, first)
    assert first.times == 1
    second = Counted()
    kept(1, second)
    assert second.times == 1


def test_who_asks_first_is_asked_to_come_again() -> None:
    """After a moment it is said that it is being worked out; it is made once, and then there."""
    kept, slow = Kept(MemoryStore(), FixedClock(), patience_s=0.01), Slow()
    for _ in range(3):
        with pytest.raises(StillWorkingError):
            kept("a", slow)
    slow.go_on.set()
    kept._patience_s = 30.0
    assert kept("a", slow) == f"made at {FixedClock().now}"
    assert slow.times == 1


def test_who_came_again_gets_it_though_something_changed_since() -> None:
    """Where every moment changes something, what was begun is given once, then made anew."""
    store, slow = MemoryStore(), Slow()
    kept = Kept(store, FixedClock(), patience_s=0.01)
    with pytest.raises(StillWorkingError):
        kept("a", slow)
    store.save_lot(Lot("A1", "onion"))
    slow.go_on.set()
    kept._patience_s = 30.0
    kept("a", slow)
    assert slow.times == 1
    kept("a", slow)
    assert slow.times == 2


def test_what_fails_is_tried_again() -> None:
    """A refusal reaches who asked, and is not kept."""
    kept, tries = Kept(MemoryStore(), FixedClock(), patience_s=30.0), Counted()

    def make(now_ms: int) -> int:
        tries(now_ms)
        raise NotFoundError("There is no box here.")

    for _ in range(2):
        with pytest.raises(NotFoundError):
            kept("a", make)
    assert tries.times == 2
