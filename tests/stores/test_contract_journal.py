"""Tests, events and rejects: what every store must do with them."""

from dataclasses import replace
from datetime import date

import pytest

from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import Event, EventType, GerminationTest, Reject, RejectReason
from hilum.domain.ports import Store

EVENT = Event(0, 50, EventType.SWAP, "tub", "A1", "home/one", "Fresh gel")


def test_germination_tests_are_listed_by_date(furnished: Store) -> None:
    """Tests come back whole, in order of date, of one lot or of all."""
    late = furnished.add_test(
        GerminationTest(0, "A1", date(2026, 3, 1), 50, 41, "paper, 25 °C", (20, 21), "slow")
    )
    early = furnished.add_test(GerminationTest(0, "A1", date(2025, 3, 1), 10, 0))
    other = furnished.add_test(GerminationTest(0, "B2", date(2025, 9, 1), 10, 10))
    assert furnished.tests("A1") == [early, late]
    assert furnished.tests() == [early, other, late]
    assert furnished.tests("Z9") == []


def test_germination_test_that_cannot_be_is_refused(furnished: Store) -> None:
    """No more seed can come up than was sown, and the lot must be known."""
    good = GerminationTest(0, "A1", date(2026, 3, 1), 50, 50)
    with pytest.raises(InvalidInputError, match="Of 50 seeds sown, 51 cannot have come up"):
        furnished.add_test(replace(good, germinated=51))
    with pytest.raises(InvalidInputError, match="at least one seed"):
        furnished.add_test(replace(good, sown=0, germinated=0))
    with pytest.raises(NotFoundError, match="no lot “Z9”"):
        furnished.add_test(replace(good, lot="Z9"))
    assert furnished.tests() == []


def test_event_comes_back_whole(furnished: Store) -> None:
    """An event keeps its figures in their order, texts, numbers and blanks alike."""
    data = (("grams", 200.25), ("kind", "gel “orange”"), ("load", None), ("again", -0.5))
    event = furnished.add_event(replace(EVENT, data=data))
    assert event.id != 0
    assert furnished.events() == [replace(EVENT, id=event.id, data=data)]


def test_events_are_newest_first(furnished: Store) -> None:
    """Events are sorted by their time, then by entry, and chosen by box, lot, start and count."""
    added = [
        furnished.add_event(replace(EVENT, time_ms=time_ms, box=box, lot=lot))
        for time_ms, box, lot in ((30, "tub", None), (10, "tub", "A1"), (30, None, "A1"))
    ]
    assert furnished.events() == [added[2], added[0], added[1]]
    assert furnished.events(box="tub") == [added[0], added[1]]
    assert furnished.events(box="tub", lot="A1") == [added[1]]
    assert furnished.events(start_ms=11, limit=1) == [added[2]]
    assert furnished.events(lot="A1", start_ms=30) == [added[2]]


def test_struck_event_stays(furnished: Store) -> None:
    """A struck event is still in the journal, marked."""
    event = furnished.add_event(EVENT)
    furnished.strike_event(event.id)
    assert furnished.events() == [replace(event, struck=True)]
    with pytest.raises(NotFoundError, match="no event “99”"):
        furnished.strike_event(99)


@pytest.mark.parametrize("field", ["box", "lot", "sensor"])
def test_event_refers_to_what_is_known(furnished: Store, field: str) -> None:
    """An event about an unknown box, lot or sensor is refused."""
    changes = {field: "nowhere"}
    with pytest.raises(NotFoundError, match=f"no {field} “nowhere”"):
        furnished.add_event(replace(EVENT, **changes))  # type: ignore[arg-type]
    with pytest.raises(InvalidInputError, match="between the years"):
        furnished.add_event(replace(EVENT, time_ms=-5))
    assert furnished.events() == []


def test_rejects_come_newest_first_and_cut(store: Store) -> None:
    """The newest reject comes first; of a payload 2,000 bytes are kept, of any sensor or of one."""
    first = Reject(1, "a/b", RejectReason.NOT_JSON, "no JSON", b"\x00\xff" * 1500)
    second = Reject(2, "a/c", RejectReason.RANGE, "350 °C", b"350", "home/one")
    store.add_rejects([first, second])
    store.add_rejects([])
    assert store.rejects() == [second, replace(first, payload=b"\x00\xff" * 1000)]
    assert store.rejects(limit=1) == [second]
    assert store.rejects(sensor="home/one") == [second]


def test_reject_with_unpaired_surrogates_is_kept(store: Store) -> None:
    """Characters that no text can hold, which JSON may smuggle in, do not lose the reject."""
    store.add_rejects([Reject(1, "a/\ud800", RejectReason.SHAPE, "name \udfff")])
    (reject,) = store.rejects()
    assert (reject.topic, reject.detail) == ("a/?", "name ?")


def test_rejects_keep_the_newest_ten_thousand_and_count_all(store: Store) -> None:
    """Old rejects make room for new ones; the counts by reason go on."""
    flood = [Reject(i, "t", RejectReason.UNIT, "") for i in range(10_000)]
    store.add_rejects([Reject(0, "t", RejectReason.TIME, ""), *flood[:3]])
    store.add_rejects(flood)
    store.add_rejects([Reject(10_000, "t", RejectReason.TIME, "")])
    kept = store.rejects(limit=20_000)
    assert [reject.received_ms for reject in kept] == list(range(10_000, 0, -1))
    assert store.reject_counts() == {"time": 2, "unit": 10_003}
