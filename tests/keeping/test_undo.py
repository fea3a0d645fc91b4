"""New lots, splits, boxes and sensors: each is taken back while nothing was built on it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest

from hilum.domain.errors import ConflictError, InvalidInputError, NotFoundError
from hilum.domain.model import Box, BoxType, Event, EventType, Lot, Reading, Role, Stay, Wrap
from hilum.domain.ports import Store
from hilum.keeping.care import boxcare
from hilum.keeping.care.boxarchive import archive_box
from hilum.keeping.care.boxundo import undo_box
from hilum.keeping.care.lotcare import archive_lot, move_lots, note_test, split_lot, use_seed
from hilum.keeping.care.lotentry import enter_lot
from hilum.keeping.care.lotparts import codes_in_use
from hilum.keeping.care.undo import can_undo, undo
from hilum.stores.memory import MemoryStore

DAY = 86_400_000
NOW = 700 * DAY


@pytest.fixture
def store() -> Store:
    """A lot with a test in the drawer, two boxes, a sensor that was heard."""
    made = MemoryStore()
    made.save_box(Box("drawer", "Drawer", BoxType.DRAWER))
    made.save_box(Box("tub", "Blue tub", BoxType.TUB))
    made.save_lots([Lot("A1", "tomato", "Boatshed Red", seeds=100.0, grams=0.3)])
    made.add_stay(Stay(0, "A1", "drawer", Wrap.PAPER, 100 * DAY))
    note_test(made, "A1", on=date(1971, 1, 2), sown=50, germinated=44, now_ms=NOW)
    made.add([Reading("lane/a1", 10 * DAY, 18.0, 30.0)], NOW)
    return made


def entered(store: Store, code: str = "N1") -> Event:
    """Enter a lot into the tub; gives its line."""
    lot = Lot(code, "onion", seeds=40.0)
    return enter_lot(store, lot, box="tub", from_ms=600 * DAY, now_ms=NOW).events[0]


def test_a_lot_entered_by_mistake(store: Store) -> None:
    """It leaves the lists and its box, and its code can be used for another lot."""
    line = entered(store)
    assert can_undo(line)
    undo(store, "N1", line.id)
    assert store.lot("N1").archived
    assert [stay.to_ms for stay in store.stays(lot="N1")] == [600 * DAY]  # no time in the box
    assert "N1" not in codes_in_use(store)
    again = entered(store)
    assert not store.lot("N1").archived
    assert store.stays(lot="N1")[-1].to_ms is None
    use_seed(store, "N1", seeds=1, at_ms=NOW, now_ms=NOW)
    with pytest.raises(ConflictError, match="changed since"):
        undo(store, "N1", again.id)
    archive_lot(store, "N1", at_ms=NOW, now_ms=NOW)
    assert "N1" in codes_in_use(store)  # archived for good: its history is its own
    with pytest.raises(InvalidInputError, match="already"):
        entered(store)


@pytest.mark.parametrize("side", [0, 1])
def test_a_split_is_taken_back_from_either_side(store: Store, side: int) -> None:
    """The seed goes back, the new lot goes, and both lines are struck."""
    before = store.lot("A1"), store.stays(lot="A1"), store.tests("A1")
    done = split_lot(store, "A1", seeds=40, new_code="A2", box="tub", at_ms=NOW, now_ms=NOW)
    line = done.events[side]
    assert can_undo(line)
    undo(store, line.lot or "", line.id)
    assert (store.lot("A1"), store.stays(lot="A1"), store.tests("A1")) == before
    assert store.lot("A2").archived
    assert store.tests("A2") == []
    assert all(stay.from_ms == stay.to_ms for stay in store.stays(lot="A2"))
    assert all(each.struck for code in ("A1", "A2") for each in store.events(lot=code)
               if dict(each.data)["action"] == "split")  # fmt: skip
    split_lot(store, "A1", seeds=10, new_code="A2", at_ms=NOW, now_ms=NOW)
    assert store.lot("A2").seeds == 10.0


@pytest.mark.parametrize(
    "later",
    [
        lambda s: use_seed(s, "A1", seeds=1, at_ms=NOW, now_ms=NOW),
        lambda s: use_seed(s, "A2", seeds=1, at_ms=NOW, now_ms=NOW),
        lambda s: move_lots(s, ["A2"], "tub", at_ms=NOW, now_ms=NOW),
    ],
)
def test_a_split_that_was_built_on(store: Store, later: Callable[[Store], object]) -> None:
    """It stays, and everything is as it was, until the later change is taken back."""
    first = split_lot(store, "A1", seeds=40, new_code="A2", at_ms=NOW, now_ms=NOW).events[0]
    later(store)
    kept = store.lots(), store.stays(), store.events()
    with pytest.raises(ConflictError, match="changed since"):
        undo(store, "A1", first.id)
    assert (store.lots(), store.stays(), store.events()) == kept


def test_a_corrected_box(store: Store) -> None:
    """Every field is as it was, its type too; after another change it is left alone."""
    before = store.box("tub")
    values = {"name": "Red tub", "type": BoxType.JAR, "target_high_pct": 35.0, "volume_l": 3.0}
    done = boxcare.correct_box(store, "tub", values, now_ms=NOW)
    assert done is not None
    assert can_undo(done.event)
    later = boxcare.correct_box(store, "tub", {"name": "Tin"}, now_ms=NOW)
    assert later is not None
    with pytest.raises(ConflictError, match="changed since"):
        undo_box(store, "tub", done.event.id)
    undo_box(store, "tub", later.event.id)
    undo_box(store, "tub", done.event.id)
    assert store.box("tub") == before
    with pytest.raises(ConflictError, match="taken back before"):
        undo_box(store, "tub", done.event.id)


def test_a_box_added_by_mistake(store: Store) -> None:
    """One that was never used goes; one that was is to be archived."""
    done = boxcare.add_box(store, "Slip", BoxType.TUB, now_ms=NOW)
    undo_box(store, "slip", done.event.id)
    assert store.box("slip").archived
    used = boxcare.add_box(store, "Used", BoxType.TUB, now_ms=NOW)
    move_lots(store, ["A1"], "used", at_ms=NOW, now_ms=NOW)
    with pytest.raises(ConflictError, match="has been used"):
        undo_box(store, "used", used.event.id)


def test_a_sensor_in_the_wrong_box(store: Store) -> None:
    """Its time there becomes none, and it can be said anew where it stands."""
    claim = ("lane/a1", "tub", Role.INSIDE)
    done = boxcare.claim_sensor(store, *claim, from_ms=20 * DAY, now_ms=NOW)
    undo_box(store, "tub", done.event.id)
    assert [(p.from_ms, p.to_ms) for p in store.placements()] == [(20 * DAY, 20 * DAY)]
    right = boxcare.claim_sensor(
        store, "lane/a1", "drawer", Role.INSIDE, from_ms=20 * DAY, now_ms=NOW
    )
    ended = boxcare.end_claim(store, store.placements()[-1].id, at_ms=30 * DAY, now_ms=NOW)
    with pytest.raises(ConflictError, match="changed since"):
        undo_box(store, "drawer", right.event.id)
    undo_box(store, "drawer", ended.event.id)
    assert [(p.box, p.from_ms, p.to_ms) for p in store.placements()][1:] == [
        ("drawer", 20 * DAY, 30 * DAY),
        ("drawer", 30 * DAY, None),
    ]


def test_a_sensor_that_stands_elsewhere_by_now(store: Store) -> None:
    """It cannot come back to where it was taken from."""
    boxcare.claim_sensor(store, "lane/a1", "tub", Role.INSIDE, from_ms=20 * DAY, now_ms=NOW)
    ended = boxcare.end_claim(store, store.placements()[-1].id, at_ms=30 * DAY, now_ms=NOW)
    boxcare.claim_sensor(store, "lane/a1", "drawer", Role.INSIDE, from_ms=30 * DAY, now_ms=NOW)
    with pytest.raises(ConflictError):
        undo_box(store, "tub", ended.event.id)
    assert not store.events(box="tub")[0].struck


def test_a_box_is_archived_and_comes_back(store: Store) -> None:
    """Only an empty one; its sensor is taken away, and what it measured stays."""
    boxcare.claim_sensor(store, "lane/a1", "tub", Role.INSIDE, from_ms=20 * DAY, now_ms=NOW)
    with pytest.raises(ConflictError, match=r"1 lots lie in Drawer \(A1\). Move them first"):
        archive_box(store, "drawer", at_ms=NOW, now_ms=NOW)
    done = archive_box(store, "tub", at_ms=500 * DAY, now_ms=NOW)
    assert store.box("tub").archived
    assert [(p.from_ms, p.to_ms) for p in store.placements()] == [(20 * DAY, 500 * DAY)]
    with pytest.raises(ConflictError, match="archived already"):
        archive_box(store, "tub", at_ms=NOW, now_ms=NOW)
    undo_box(store, "tub", done.event.id)
    assert store.box("tub") == replace(done.box, archived=False)
    with pytest.raises(InvalidInputError, match="future"):
        archive_box(store, "tub", at_ms=NOW + 1, now_ms=NOW)


def test_lines_that_are_none_of_a_box(store: Store) -> None:
    """A note of a box has nothing to undo; a line of another box is not found."""
    note = boxcare.note(store, "Smells of cedar.", box="tub", at_ms=NOW, now_ms=NOW)
    assert note.type is EventType.NOTE
    assert not can_undo(note)
    with pytest.raises(ConflictError, match="cannot be taken back"):
        undo_box(store, "tub", note.id)
    with pytest.raises(NotFoundError, match="no line"):
        undo_box(store, "drawer", note.id)
