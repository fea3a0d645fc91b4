"""Answers about lots are kept while what they rest on stays the same, and no longer."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from unittest import mock

import pytest

from hilum.domain.model import GerminationTest, PlanLine
from hilum.keeping.lots import outlook, usefirst
from hilum.keeping.lots.known import Known
from hilum.keeping.lots.outlook import lot_outlook, viabilities
from hilum.keeping.lots.usefirst import use_first
from hilum.keeping.seasons import season
from hilum.stores.memory import MemoryStore
from keeping.shelves import NOW_MS, TODAY, answered, lot, shelf_of
from keeping.worlds import DAY_MS, HOUR_MS

LOTS = tuple(lot(code, age_days=days) for code, days in (("A", 300), ("B", 900), ("C", 1500)))
Asked = list[int]


def counting(known: Known[object, object], asked: Asked) -> Callable[[Sequence[object]], object]:
    """The same work, but noting how much of it there was."""
    plainly = known._work_out

    def work_out(questions: Sequence[object]) -> object:
        asked.append(len(questions))
        return plainly(questions)

    return work_out


@pytest.fixture(params=[(outlook, "_BANDS"), (usefirst, "_PROSPECTS"), (season, "_AT_LOSS")])
def worked_out(request: pytest.FixtureRequest) -> Iterator[tuple[str, Asked]]:
    """One kind of answers with nothing kept yet, and how many were worked out at a time."""
    module, name = request.param
    asked: Asked = []
    fresh: Known[object, object] = Known(counting(getattr(module, name), asked))  # type: ignore[arg-type]
    with mock.patch.object(module, name, fresh):
        yield name, asked


def ask(name: str, store: MemoryStore, at_ms: int = NOW_MS) -> object:
    """Ask for what rests on these answers."""
    if name == "_BANDS":
        return viabilities(store, store.lots(), at_ms)
    if name == "_PROSPECTS":
        return use_first(store, at_ms)
    return answered(store, PlanLine("onion", 50), sow_on=TODAY + timedelta(days=90))


def test_only_what_changed_is_worked_out_again(worked_out: tuple[str, Asked]) -> None:
    """Asked again nothing is worked out; after a test, one lot is, and its answer is another."""
    name, asked = worked_out
    store = shelf_of(*LOTS)
    first = ask(name, store)
    assert asked == [3]
    again = ask(name, store)
    assert asked == [3]
    assert repr(again) == repr(first)
    store.add_test(GerminationTest(0, "B", TODAY, 50, 12))
    after = ask(name, store)
    assert asked == [3, 1]
    assert repr(after) != repr(first)
    store.save_lot(replace(LOTS[0], label_pct=61.0))
    ask(name, store)
    assert asked == [3, 1, 1]


def test_an_answer_lasts_for_an_hour_but_not_for_months() -> None:
    """Kept seed loses too little in an hour to count; in half a year every lot is asked anew."""
    asked: Asked = []
    fresh: Known[object, object] = Known(counting(outlook._BANDS, asked))  # type: ignore[arg-type]
    with mock.patch.object(outlook, "_BANDS", fresh):
        store = shelf_of(*(lot(f"L{i}", age_days=300 + 17 * i) for i in range(40)))
        for at_ms in (NOW_MS, NOW_MS + HOUR_MS, NOW_MS + 180 * DAY_MS):
            found = viabilities(store, store.lots(), at_ms)
            for each in store.lots()[::13]:
                alone = lot_outlook(store, each.code, at_ms).now
                assert alone is not None
                assert found[each.code].median_pct == pytest.approx(alone.median_pct, abs=1e-9)
    assert asked[0] == asked[-1] == 40
    assert len(asked) == 2 or asked[1] < 40


def test_questions_are_answered_once_and_in_their_order() -> None:
    """Equal questions are worked out once; the oldest answers make room for new ones."""
    asked: list[int] = []

    def double(questions: Sequence[int]) -> list[int]:
        asked.extend(questions)
        return [2 * question for question in questions]

    known = Known(double, most=3)
    assert known.answers([1, 2, 1]) == [2, 4, 2]
    assert known.answers([]) == []
    assert known.answers([3, 2, 4]) == [6, 4, 8]
    assert asked == [1, 2, 3, 4]
    assert known.answers([5, 1, 5, 6, 7, 8]) == [10, 2, 10, 12, 14, 16]
    assert known.answers([8, 7, 6]) == [16, 14, 12]
    assert asked == [1, 2, 3, 4, 5, 1, 6, 7, 8]
