"""Lists against what is kept: found by code or by what the lot is, changed or left alone."""

from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest

from hilum.domain.errors import ConflictError, InvalidInputError
from hilum.domain.model import Box, BoxType, Changes, EventType, Lot, Stay, Wrap
from hilum.keeping.care.undo import undo
from hilum.sheets.applying import apply
from hilum.sheets.proposal import Options, Proposal, Verdict, propose
from hilum.stores.memory import MemoryStore
from sheets.worlds import NOW

HEAD = "Code,Kind,Variety,Source,Year,Germ %,Seeds,Box,Wrap,In box since,Notes\n"


@pytest.fixture
def store() -> MemoryStore:
    """Three lots, two of them alike but for the code; one in the drawer since 1970."""
    made = MemoryStore()
    made.change(
        Changes(
            (Box("drawer", "Drawer", BoxType.DRAWER), Box("tub", "Blue tub", BoxType.TUB)),
            (
                Lot("A1", "tomato", "Boatshed Red", "Own", 2023, label_pct=90.0, seeds=50.0),
                Lot("B2", "onion", "Red Lantern", "Own", 2022, seeds=10.0),
                Lot("B3", "onion", "Red Lantern", "Own", 2022, seeds=20.0),
                Lot("Z9", "pea", "Tide", "Own", 2010, archived=True),
            ),
            (Stay(0, "A1", "drawer", Wrap.PAPER, 1000),),
        )
    )
    return made


def proposed(store: MemoryStore, *rows: str, head: str = HEAD) -> Proposal:
    """What rows below the headings propose."""
    return propose((head + "\n".join(rows)).encode(), "x.csv", store, NOW)


def told(proposal: Proposal) -> list[tuple[int, str, str, list[tuple[str, str, str]]]]:
    """Row, verdict, code and differences."""
    return [
        (
            *(change.row, change.verdict.value, change.lot.code),
            [(each.field, each.before, each.after) for each in change.differences],
        )
        for change in proposal.changes
    ]


def test_by_code_with_the_differences_shown(store: MemoryStore) -> None:
    """A row with a known code changes that lot, whatever case the code is written in."""
    proposal = proposed(store, "a1,Tomato,Boatshed Rose,,2024,88,40,,,,late")
    assert told(proposal) == [
        (
            *(2, "changed", "A1"),
            [
                ("variety", "Boatshed Red", "Boatshed Rose"),
                ("year", "2023", "2024"),
                ("label_pct", "90", "88"),
                ("seeds", "50", "40"),
                ("note", "nothing", "late"),
            ],
        )
    ]
    apply(proposal, store, NOW)
    lot = store.lot("A1")
    assert (lot.variety, lot.source, lot.seeds, lot.note) == ("Boatshed Rose", "Own", 40.0, "late")


def test_an_empty_cell_clears_nothing(store: MemoryStore) -> None:
    """What a row does not say stays as it is here."""
    before = store.lot("A1")
    assert proposed(store, "A1,Tomato,Boatshed Red,,,,,,,,").changes_nothing
    apply(proposed(store, "A1,Tomato,Boatshed Red,,,,,,,,"), store, NOW)
    assert store.lot("A1") == before


def test_without_code_by_kind_variety_source_and_year(store: MemoryStore) -> None:
    """The same four find the lot; another year is another lot."""
    proposal = proposed(
        store,
        ",tomatoes,boatshed red,own,2023,91,,,,,",
        ",Tomato,Boatshed Red,Own,2024,91,,,,,",
    )
    assert told(proposal) == [
        (
            *(2, "changed", "A1"),
            [
                ("variety", "Boatshed Red", "boatshed red"),
                ("source", "Own", "own"),
                ("label_pct", "90", "91"),
            ],
        ),
        (3, "new", "L-0001", []),
    ]


def test_what_fits_two_lots_is_left_to_the_grower(store: MemoryStore) -> None:
    """Two lots alike: a row is neither; one that equals a lot in all it says is that lot."""
    proposal = proposed(store, ",Onion,Red Lantern,Own,2022,,15,,,,")
    assert "B2, B3" in proposal.problems[0].reason
    assert proposal.changes == ()
    exact = proposed(store, ",Onion,Red Lantern,Own,2022,,20,,,,")
    assert told(exact) == [(2, "unchanged", "B3", [])]


def test_two_rows_alike_are_two_lots_unless_they_repeat(store: MemoryStore) -> None:
    """Another amount makes another lot, and it is said; the very same row is taken once."""
    rows = [f",Leek,Mast,Own,2024,,{seeds},,,," for seeds in (10, 20, 10)]
    proposal = proposed(store, *rows)
    assert told(proposal) == [(2, "new", "L-0001", []), (3, "new", "L-0002", [])]
    assert "repeats row 2" in proposal.problems[0].reason
    assert {remark.row for remark in proposal.remarks} == {2, 3}
    apply(proposal, store, NOW)
    assert proposed(store, *rows).changes_nothing
    assert proposed(store, *rows[::-1]).changes_nothing


def test_a_code_of_another_kind_is_no_match(store: MemoryStore) -> None:
    """A code that means another kind here is a mistake, not a change."""
    proposal = proposed(store, "A1,Onion,Red Lantern,,,,,,,,")
    assert proposal.changes == ()
    assert "Tomato here and Onion" in proposal.problems[0].reason


def test_an_archived_lot_is_not_woken(store: MemoryStore) -> None:
    """An old list does not bring back what was archived."""
    proposal = proposed(store, ",Pea,Tide,Own,2010,,99,,,,")
    assert proposal.changes_nothing
    assert "archived" in proposal.remarks[-1].text


def test_boxes_are_found_made_and_moved_into(store: MemoryStore) -> None:
    """By name or short name; an unknown one is proposed; a lot elsewhere moves."""
    proposal = proposed(
        store,
        "A1,Tomato,,,,,,BLUE TUB,foil,2024-05-01,",
        "B2,Onion,,,,,,tub,,,",
        "B3,Onion,,,,,,Freezer shelf 2,glass jar,,",
    )
    assert [(box.name, box.type) for box in proposal.new_boxes] == [
        ("Freezer shelf 2", BoxType.FREEZER)
    ]
    assert told(proposal)[0][3] == [("box", "Drawer", "Blue tub")]
    apply(proposal, store, NOW)
    may = round(datetime(2024, 5, 1, tzinfo=UTC).timestamp() * 1000)
    assert [(s.box, s.wrap, s.from_ms, s.to_ms) for s in store.stays(lot="A1")] == [
        ("drawer", "paper", 1000, may),
        ("tub", "foil", may, None),
    ]
    assert [(s.box, s.wrap, s.from_ms) for s in store.stays(lot="B2")] == [("tub", "paper", NOW)]
    assert store.stays(lot="B3")[0].box == "freezer-shelf-2"


def test_a_lot_cannot_have_moved_before_it_came(store: MemoryStore) -> None:
    """A date before the present stay contradicts what is kept."""
    store.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, NOW - 1000))
    proposal = proposed(store, "A1,Tomato,,,,,,Drawer,,2024-05-01,")
    assert proposal.changes == ()
    assert "is in box “Blue tub” since" in proposal.problems[0].reason


def test_archived_boxes_take_nothing(store: MemoryStore) -> None:
    """A box that was archived is not filled again by a list."""
    store.save_box(Box("old", "Old tin", BoxType.JAR, archived=True))
    proposal = proposed(store, "A1,Tomato,,,,,,Old tin,,,")
    assert "archived" in proposal.problems[0].reason


def test_what_was_imported_can_be_taken_back(store: MemoryStore) -> None:
    """A change and a move from a list are lines of the journal like those made by hand."""
    before = store.lot("A1")
    apply(proposed(store, "A1,Tomato,,,,70,,Blue tub,,,"), store, NOW)
    lines = {event.type: event for event in store.events(lot="A1")}
    undo(store, "A1", lines[EventType.MOVED].id)
    undo(store, "A1", lines[EventType.NOTE].id)
    assert store.lot("A1") == before
    assert [stay.box for stay in store.stays(lot="A1") if stay.to_ms is None] == ["drawer"]


@pytest.mark.parametrize(
    "meanwhile",
    [
        lambda s: s.save_lot(Lot("A1", "tomato", "Other")),
        lambda s: s.save_lot(Lot("L-0001", "pea")),
        lambda s: s.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, 5000)),
        lambda s: s.save_box(Box("new-tin", "Another", BoxType.JAR)),
    ],
)
def test_what_changed_in_the_meantime_stops_all_of_it(
    store: MemoryStore, meanwhile: Callable[[MemoryStore], object]
) -> None:
    """A proposal made stale writes nothing."""
    proposal = proposed(store, "A1,Tomato,New,,,,,New tin,,,", ",Leek,Mast,Own,2024,,10,New tin,,,")
    meanwhile(store)
    before = (store.lots(), store.boxes(), store.stays(), store.events())
    with pytest.raises(ConflictError, match="meantime"):
        apply(proposal, store, NOW)
    assert (store.lots(), store.boxes(), store.stays(), store.events()) == before


def test_rows_can_be_left_out(store: MemoryStore) -> None:
    """What the grower unticks is not written, nor the box only it would have needed."""
    proposal = proposed(store, ",Leek,Mast,,,,,New tin,,,", ",Kale,Sail,,,,,,,,")
    done = apply(proposal, store, NOW, without={2})
    assert (done.new, done.boxes) == (1, 0)
    assert store.lot("L-0002").kind == "kale"
    assert "L-0001" not in [lot.code for lot in store.lots()]


def test_a_number_alone_is_named_after_its_column(store: MemoryStore) -> None:
    """“3” under “Box” is called Box 3, here and the next time."""
    rows = [",Leek,Mast,,,,,3,,,", ",Kale,Sail,,,,,B2,,,"]
    proposal = proposed(store, *rows)
    assert [box.name for box in proposal.new_boxes] == ["Box 3", "Box B2"]
    apply(proposal, store, NOW)
    assert proposed(store, *rows).changes_nothing


def test_since_when_lots_lie_there(store: MemoryStore) -> None:
    """Rows without a date of their own lie there since the day that is given, or now."""
    data = (HEAD + ",Leek,Mast,,,,,Drawer,,,").encode()
    proposal = propose(data, "x.csv", store, NOW, Options(since_ms=5000))
    assert [change.begins.from_ms for change in proposal.changes if change.begins] == [5000]
    late = propose(data, "x.csv", store, NOW, Options(since_ms=NOW + 5000))
    assert [change.begins.from_ms for change in late.changes if change.begins] == [NOW]


def test_tested_before_it_grew(store: MemoryStore) -> None:
    """A test long before the harvest is a mistake in one of the two."""
    head = "Kind,Variety,Year,Germ %,Tested\n"
    proposal = proposed(store, "Leek,Mast,2024,90,2020-01-01", head=head)
    assert "of 2024 cannot have been tested in 2020" in proposal.problems[0].reason
    fine = proposed(store, "Leek,Mast,2024,90,2023-11-01", head=head)
    assert fine.changes[0].lot.label_date == date(2023, 11, 1)
    assert fine.of(Verdict.NEW)


def test_seeds_in_each_packet(store: MemoryStore) -> None:
    """The content of one packet times the packets; alone it says nothing of the whole."""
    head = "Kind,Packets,Seeds per packet\n"
    both = proposed(store, "Leek,3,25", head=head).changes[0].lot
    assert (both.seeds, both.note) == (75.0, "3 packets")
    one = proposed(store, "Leek,,25", head=head).changes[0].lot
    assert (one.seeds, one.note) == (None, "Seeds per packet: 25")


def test_the_botanical_name_helps_or_contradicts(store: MemoryStore) -> None:
    """It decides between kinds of one name; where it does not, both are left to the grower."""
    head = "Crop,Latin name,Variety\n"
    found = proposed(store, "Bean,Phaseolus coccineus,Mast", "Corn,Zea mays,Pier", head=head)
    assert [change.lot.kind for change in found.changes] == ["runner-bean"]
    assert "“Corn” fits more than one kind" in found.problems[0].reason


def test_a_column_that_is_not_what_its_heading_says(store: MemoryStore) -> None:
    """It is left out, and each row that has something in it says so."""
    head = "Kind,Variety,Germ %\n"
    found = proposed(store, "Leek,Mast,fine", "Kale,Sail,", "Pea,Ebb,poor", head=head)
    assert [change.lot.label_pct for change in found.changes] == [None, None, None]
    assert [(remark.row, "is not used" in remark.text) for remark in found.remarks] == [
        (2, True),
        (4, True),
    ]


def test_codes_that_are_too_long(store: MemoryStore) -> None:
    """A code is short enough for a label."""
    proposal = proposed(store, "x" * 41 + ",Leek,Mast,,,,,,,,")
    assert "too long for a code" in proposal.problems[0].reason
    with pytest.raises(InvalidInputError, match="no row of lots"):
        proposed(store)
