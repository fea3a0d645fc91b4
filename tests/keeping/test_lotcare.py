"""Care of lots: what it writes, what it refuses and why, and taking it back."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date

import pytest

from hilum.domain.errors import ConflictError, HilumError, InvalidInputError, NotFoundError
from hilum.domain.model import Box, BoxType, Event, EventType, Lot, Stay, Wrap
from hilum.keeping.care.lotcare import (
    Done,
    archive_lot,
    correct_lot,
    move_lots,
    note_test,
    split_lot,
    take_out,
    use_seed,
)
from hilum.keeping.care.undo import can_undo, undo
from hilum.stores.memory import MemoryStore

DAY = 86_400_000
NOW = 1000 * DAY  # 1972-09-27
Snapshot = tuple[object, ...]


@pytest.fixture
def store() -> MemoryStore:
    """A lot in the drawer since day 100, one in no box, three boxes of which one is archived."""
    made = MemoryStore()
    made.save_box(Box("drawer", "Drawer", BoxType.DRAWER))
    made.save_box(Box("tub", "Blue tub", BoxType.TUB))
    made.save_box(Box("old", "Old tin", BoxType.JAR, archived=True))
    made.save_lots(
        [
            Lot("A1", "tomato", "Boatshed Red", year=1971, seeds=100.0, grams=0.3),
            Lot("B2", "onion", "Red Lantern"),
        ]
    )
    made.add_stay(Stay(0, "A1", "drawer", Wrap.PAPER, 100 * DAY))
    return made


def kept(store: MemoryStore) -> Snapshot:
    """Everything but the journal; an emptied stay counts as none."""
    stays = [stay for stay in store.stays() if stay.to_ms is None or stay.from_ms < stay.to_ms]
    return store.lots(), stays, store.tests()


def places(store: MemoryStore, code: str) -> list[tuple[str, str, int, int | None]]:
    """Where a lot was: box, wrap, first and last day."""
    return [
        (stay.box, stay.wrap, stay.from_ms // DAY, stay.to_ms and stay.to_ms // DAY)
        for stay in store.stays(lot=code)
    ]


def journal(store: MemoryStore, code: str) -> list[tuple[EventType, str]]:
    """Lines about a lot, oldest first."""
    return [(event.type, event.text) for event in reversed(store.events(lot=code))]


def test_move_ends_one_stay_and_begins_the_next(store: MemoryStore) -> None:
    """The lot leaves its box at the moment it comes into the other, in the wrap it had."""
    done = move_lots(store, ["A1"], "tub", at_ms=500 * DAY, now_ms=NOW)
    assert places(store, "A1") == [("drawer", "paper", 100, 500), ("tub", "paper", 500, None)]
    assert journal(store, "A1") == [(EventType.MOVED, "Moved from Drawer.")]
    assert done.words == "Lot A1 is now in Blue tub."
    assert done.events[0].id


def test_many_move_at_once_and_one_arrives(store: MemoryStore) -> None:
    """A lot that was in no box arrives; all get the wrap that is named."""
    move_lots(store, ["A1", "B2"], "tub", at_ms=500 * DAY, now_ms=NOW, wrap=Wrap.FOIL)
    assert places(store, "B2") == [("tub", "foil", 500, None)]
    assert places(store, "A1")[-1] == ("tub", "foil", 500, None)
    assert journal(store, "B2") == [(EventType.MOVED, "Arrived.")]


def test_packing_anew_stays_in_the_box(store: MemoryStore) -> None:
    """The same box with another wrap is a new stay."""
    move_lots(store, ["A1"], "drawer", at_ms=500 * DAY, now_ms=NOW, wrap=Wrap.POLY)
    assert places(store, "A1") == [("drawer", "paper", 100, 500), ("drawer", "poly", 500, None)]
    assert journal(store, "A1") == [(EventType.MOVED, "Packed anew: poly.")]


@pytest.mark.parametrize(
    ("codes", "box", "day", "error", "said"),
    [
        (["A1"], "tub", 1001, InvalidInputError, "lies in the future"),
        (["A1"], "tub", 99, ConflictError, "was in Drawer since 1970-04-11"),
        (["A1"], "drawer", 500, ConflictError, "is in Drawer already"),
        (["A1"], "old", 500, ConflictError, "“Old tin” is archived"),
        (["A1", "B2", "A1"], "tub", 500, InvalidInputError, "named twice"),
        ([], "tub", 500, InvalidInputError, "at least one lot"),
        (["A1"], "attic", 500, NotFoundError, "no box “attic”"),
        (["B2", "Z9"], "tub", 500, NotFoundError, "no lot “Z9”"),
    ],
)
def test_moves_that_cannot_be(
    store: MemoryStore,
    *,
    codes: Sequence[str],
    box: str,
    day: int,
    error: type[HilumError],
    said: str,
) -> None:
    """A move that contradicts time or place is refused in a sentence, and none of it is done."""
    before = kept(store)
    with pytest.raises(error, match=said):
        move_lots(store, codes, box, at_ms=day * DAY, now_ms=NOW)
    assert kept(store) == before
    assert store.events() == []


def test_a_lot_that_was_taken_out_comes_back_only_later(store: MemoryStore) -> None:
    """Between leaving a box and coming into another a lot is in none."""
    take_out(store, ["A1"], at_ms=300 * DAY, now_ms=NOW)
    with pytest.raises(ConflictError, match="in no box"):
        take_out(store, ["A1"], at_ms=310 * DAY, now_ms=NOW)
    with pytest.raises(ConflictError, match="from 1970-04-11 00:00 UTC to 1970-10-28"):
        move_lots(store, ["A1"], "tub", at_ms=200 * DAY, now_ms=NOW)
    move_lots(store, ["A1"], "tub", at_ms=400 * DAY, now_ms=NOW)
    assert places(store, "A1") == [("drawer", "paper", 100, 300), ("tub", "paper", 400, None)]


def test_use_goes_down_in_proportion(store: MemoryStore) -> None:
    """A quarter of the seeds is a quarter of the weight; the same by weight."""
    use_seed(store, "A1", seeds=25, at_ms=NOW, now_ms=NOW)
    assert (store.lot("A1").seeds, store.lot("A1").grams) == (75.0, 0.225)
    use_seed(store, "A1", grams=0.075, at_ms=NOW, now_ms=NOW)
    assert (store.lot("A1").seeds, store.lot("A1").grams) == (50.0, 0.15)
    assert journal(store, "A1")[0] == (EventType.NOTE, "Used 25 seeds.")


def test_the_last_seed_gives_a_hint(store: MemoryStore) -> None:
    """An empty lot is kept until it is archived."""
    done = use_seed(store, "A1", seeds=100, at_ms=NOW, now_ms=NOW)
    assert "archive it" in done.hint
    assert store.lot("A1").seeds == 0


def test_an_unknown_amount_stays_unknown(store: MemoryStore) -> None:
    """Using seed from a lot nobody counted is only written down."""
    use_seed(store, "B2", seeds=25, at_ms=NOW, now_ms=NOW)
    assert (store.lot("B2").seeds, store.lot("B2").grams) == (None, None)


@pytest.mark.parametrize(
    ("amount", "field", "said"),
    [
        ({}, "seeds", "one of them"),
        ({"seeds": 1, "grams": 1}, "seeds", "one of them"),
        ({"seeds": 101}, "seeds", "holds 100 seeds; 101 cannot"),
        ({"grams": 0.4}, "grams", "holds 0.3 grams"),
        ({"seeds": 0}, "seeds", "above zero"),
        ({"seeds": -3}, "seeds", "above zero"),
        ({"grams": float("nan")}, "grams", "above zero"),
        ({"grams": float("inf")}, "grams", "above zero"),
    ],
)
def test_amounts_that_cannot_be_used(
    store: MemoryStore, amount: dict[str, float], field: str, said: str
) -> None:
    """An amount that is none, or more than there is, is refused and names its field."""
    with pytest.raises(InvalidInputError, match=said) as caught:
        use_seed(store, "A1", **amount, at_ms=NOW, now_ms=NOW)
    assert caught.value.field == field


def test_split_gives_the_new_lot_the_same_past(store: MemoryStore) -> None:
    """Stays and tests are the new lot's too, so that its viability goes on from the same point."""
    note_test(store, "A1", on=date(1971, 5, 1), sown=50, germinated=44, now_ms=NOW)
    done = split_lot(store, "A1", seeds=40, box="tub", wrap=Wrap.JAR, at_ms=600 * DAY, now_ms=NOW)
    rest, part = store.lot("A1"), store.lot("L-0001")
    assert (rest.seeds, rest.grams, part.seeds, part.grams) == (60.0, 0.18, 40.0, 0.12)
    assert replace(part, code="A1", seeds=rest.seeds, grams=rest.grams) == rest
    assert places(store, "A1") == [("drawer", "paper", 100, None)]
    assert places(store, part.code) == [
        ("drawer", "paper", 100, 600),
        ("tub", "jar", 600, None),
    ]
    assert [(test.sown, test.germinated) for test in store.tests(part.code)] == [(50, 44)]
    assert done.words == "40 seeds of lot A1 are now lot L-0001."
    assert journal(store, part.code)[-1] == (EventType.NOTE, "Split from lot A1.")


def test_split_stays_where_it_is_unless_said(store: MemoryStore) -> None:
    """Without a box the new lot lies beside the old one, under the code that was given."""
    split_lot(store, "A1", grams=0.1, new_code=" A1b ", at_ms=600 * DAY, now_ms=NOW)
    assert places(store, "A1b") == places(store, "A1")


@pytest.mark.parametrize(
    ("given", "error", "said"),
    [
        ({"seeds": 40, "new_code": "B2"}, InvalidInputError, "a lot B2 already"),
        ({"seeds": 400}, InvalidInputError, "400 cannot be taken"),
        ({"seeds": 4, "at_ms": 50 * DAY}, ConflictError, "was in Drawer since"),
        ({"seeds": 4, "at_ms": NOW + 1}, InvalidInputError, "future"),
        ({"seeds": 4, "box": "old"}, ConflictError, "archived"),
    ],
)
def test_splits_that_cannot_be(
    store: MemoryStore, given: dict[str, object], error: type[HilumError], said: str
) -> None:
    """A split that cannot be made leaves both lots as they were."""
    before = kept(store)
    with pytest.raises(error, match=said):
        split_lot(store, "A1", **{"at_ms": NOW, "now_ms": NOW, **given})  # type: ignore[arg-type]
    assert kept(store) == before


def test_replicates_give_the_sum_and_a_verdict(store: MemoryStore) -> None:
    """Four of 100: 84, 85, 86 and 81 agree (range 5, mean 84).

    Tolerated range 14 at a mean of 84 to 86: 7 CFR 201.55, four replicates of 100 seeds.
    """
    counts = (84, 85, 86, 81)
    done = note_test(
        store, "A1", on=date(1972, 1, 2), sown=400, replicates=counts, method="paper", now_ms=NOW
    )
    (test,) = store.tests("A1")
    assert (test.germinated, test.replicates, test.method) == (336, counts, "paper")
    assert "They agree." in done.hint
    assert journal(store, "A1") == [(EventType.TEST, "336 of 400 came up.")]


@pytest.mark.parametrize(
    ("given", "field", "said"),
    [
        ({"sown": 0, "germinated": 0}, "sown", "at least one seed"),
        ({"sown": 50, "germinated": 51}, "germinated", "51 cannot have come up"),
        ({"sown": 50, "germinated": -1}, "germinated", "-1 cannot"),
        ({"sown": 50}, "germinated", "how many came up"),
        ({"sown": 100, "replicates": (20, 30), "germinated": 51}, "replicates", "add up to 50"),
        ({"sown": 100, "replicates": (60, -10)}, "replicates", "fewer than no"),
        ({"sown": 100, "replicates": (60, 10)}, "replicates", "60"),
        ({"sown": 50, "germinated": 9, "on": date(1972, 9, 29)}, "on", "future"),
        ({"sown": 50, "germinated": 9, "on": date(1969, 9, 29)}, "on", "of 1971"),
    ],
)
def test_tests_that_cannot_be(
    store: MemoryStore, given: dict[str, object], field: str, said: str
) -> None:
    """Figures that contradict each other, or a day that cannot be, are refused by field."""
    with pytest.raises(InvalidInputError, match=said) as caught:
        note_test(store, "A1", **{"on": date(1972, 1, 2), "now_ms": NOW, **given})  # type: ignore[arg-type]
    assert caught.value.field == field
    assert store.tests() == []


def test_the_same_test_is_noted_once(store: MemoryStore) -> None:
    """A second press of the button adds nothing."""
    note_test(store, "A1", on=date(1972, 1, 2), sown=50, germinated=44, now_ms=NOW)
    with pytest.raises(ConflictError, match="is noted"):
        note_test(store, "A1", on=date(1972, 1, 2), sown=50, germinated=44, now_ms=NOW)


def test_correction_keeps_what_was_there(store: MemoryStore) -> None:
    """The journal holds the old and the new value; an equal value is no correction."""
    values = {"variety": "Boatshed Rose", "label_pct": 91.0, "label_date": date(1971, 3, 1)}
    done = correct_lot(store, "A1", values, now_ms=NOW)
    assert store.lot("A1").variety == "Boatshed Rose"
    data = dict(done.events[0].data)
    assert (data["was variety"], data["now variety"]) == ("Boatshed Red", "Boatshed Rose")
    assert done.events[0].text == "Corrected: variety, label pct, label date."
    assert correct_lot(store, "A1", values, now_ms=NOW).events == ()


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"code": "Z9"}, "“code” of a lot cannot be corrected"),
        ({"archived": True}, "cannot be corrected"),
        ({"label_pct": 101.0}, "label_pct must be between 0 and 100"),
        ({"seeds": -1.0}, "seeds must be at least 0"),
        ({"label_date": date(1980, 1, 1)}, "future"),
        ({"year": 1985}, "1985 cannot be"),
        ({"kind": "tomatto-ish"}, "tomatto-ish"),
    ],
)
def test_corrections_that_cannot_be(
    store: MemoryStore, values: dict[str, object], said: str
) -> None:
    """What no lot can have is refused and nothing changes."""
    before = kept(store)
    with pytest.raises(Exception, match=said):
        correct_lot(store, "A1", values, now_ms=NOW)
    assert kept(store) == before


def test_an_archived_lot_is_left_alone(store: MemoryStore) -> None:
    """Archiving ends the stay; the lot is then neither moved nor used."""
    archive_lot(store, "A1", at_ms=700 * DAY, now_ms=NOW)
    assert store.lot("A1").archived
    assert places(store, "A1") == [("drawer", "paper", 100, 700)]
    with pytest.raises(ConflictError, match="is archived"):
        use_seed(store, "A1", seeds=1, at_ms=NOW, now_ms=NOW)
    with pytest.raises(ConflictError, match="is archived"):
        move_lots(store, ["A1"], "tub", at_ms=NOW, now_ms=NOW)


DEEDS: dict[str, Callable[[MemoryStore], Done]] = {
    "move": lambda s: move_lots(s, ["A1"], "tub", at_ms=500 * DAY, now_ms=NOW),
    "arrive": lambda s: move_lots(s, ["B2"], "tub", at_ms=500 * DAY, now_ms=NOW),
    "out": lambda s: take_out(s, ["A1"], at_ms=500 * DAY, now_ms=NOW),
    "use": lambda s: use_seed(s, "A1", seeds=33, at_ms=NOW, now_ms=NOW),
    "archive": lambda s: archive_lot(s, "A1", at_ms=500 * DAY, now_ms=NOW),
    "test": lambda s: note_test(s, "A1", on=date(1972, 1, 2), sown=50, germinated=44, now_ms=NOW),
    "correct": lambda s: correct_lot(
        s, "A1", {"label_date": date(1971, 1, 2), "year": None, "note": "x"}, now_ms=NOW
    ),
}


@pytest.mark.parametrize("deed", DEEDS)
def test_what_was_done_is_taken_back_once(store: MemoryStore, deed: str) -> None:
    """Everything is as before, the line stays in the journal, struck; a second time is refused."""
    before = kept(store)
    (event,) = DEEDS[deed](store).events
    assert kept(store) != before
    assert can_undo(event)
    undo(store, event.lot or "", event.id)
    assert kept(store) == before
    (line,) = store.events(lot=event.lot)
    assert line.struck
    assert not can_undo(line)
    with pytest.raises(ConflictError, match="taken back before"):
        undo(store, event.lot or "", event.id)


@pytest.mark.parametrize(
    ("deed", "later"),
    [
        ("move", lambda s: move_lots(s, ["A1"], "drawer", at_ms=600 * DAY, now_ms=NOW)),
        ("use", lambda s: use_seed(s, "A1", seeds=1, at_ms=NOW, now_ms=NOW)),
        ("correct", lambda s: correct_lot(s, "A1", {"note": "y"}, now_ms=NOW)),
        ("out", lambda s: move_lots(s, ["A1"], "tub", at_ms=600 * DAY, now_ms=NOW)),
    ],
)
def test_what_was_built_on_is_not_taken_back(
    store: MemoryStore, deed: str, later: Callable[[MemoryStore], Done]
) -> None:
    """The later change must be taken back first; then the earlier can be."""
    (first,) = DEEDS[deed](store).events
    (second,) = later(store).events
    with pytest.raises(ConflictError, match="changed since"):
        undo(store, "A1", first.id)
    undo(store, "A1", second.id)
    undo(store, "A1", first.id)


def test_a_note_is_not_taken_back(store: MemoryStore) -> None:
    """What cannot be taken back says what to do instead; a line of another lot is none of it."""
    old = Event(0, NOW, EventType.NOTE, lot="A1", text="Split.", data=(("action", "split"),))
    note = store.add_event(Event(0, NOW, EventType.NOTE, lot="A1", text="Smells of cedar."))
    for line in (store.add_event(old), note):
        assert not can_undo(line)
        with pytest.raises(ConflictError, match="taken back"):
            undo(store, "A1", line.id)
    with pytest.raises(NotFoundError, match="no line"):
        undo(store, "B2", note.id)
