"""What is exported comes back whole, from every format; importing twice changes nothing."""

import csv
import io
import zipfile

import pytest
from hypothesis import given, settings
from openpyxl import load_workbook

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Box, BoxType, Changes, Event, EventType, Lot, Stay, Wrap
from hilum.sheets.applying import apply
from hilum.sheets.export import export
from hilum.sheets.proposal import Verdict, propose
from hilum.sheets.safe import armed, disarmed
from hilum.stores.memory import MemoryStore
from sheets.worlds import NASTY, NOW, TEXT, content, databases, lots_and_places


def filled(changes: Changes) -> MemoryStore:
    """A store with these records."""
    store = MemoryStore()
    store.change(changes)
    return store


def imported(data: bytes, name: str, store: MemoryStore | None = None) -> MemoryStore:
    """A store with what a file holds."""
    store = store or MemoryStore()
    proposal = propose(data, name, store, NOW)
    assert proposal.problems == ()
    apply(proposal, store, NOW)
    return store


@pytest.mark.parametrize("suffix", [".xlsx", ".zip"])
@settings(max_examples=60)
@given(changes=databases())
def test_everything_comes_back(suffix: str, changes: Changes) -> None:
    """Import of an export into an empty store gives the identical content, ids too."""
    store = filled(changes)
    copy = imported(export(store, suffix), f"all{suffix}")
    assert content(copy) == content(store)


@pytest.mark.parametrize("suffix", [".xlsx", ".zip"])
@settings(max_examples=30)
@given(changes=databases())
def test_a_second_time_changes_nothing(suffix: str, changes: Changes) -> None:
    """An export read into the store it came from proposes nothing and leaves it as it is."""
    store = filled(changes)
    before = content(store)
    data = export(store, suffix)
    assert propose(data, f"all{suffix}", store, NOW).changes_nothing
    imported(data, f"all{suffix}", store)
    assert content(store) == before


@settings(max_examples=80)
@given(changes=databases())
def test_the_flat_table_comes_back(changes: Changes) -> None:
    """Every lot to the last bit, with the box it lies in, its wrap and since when."""
    names = {box.slug: f"Box {box.slug}" for box in changes.boxes}
    plain = tuple(Box(slug, name, BoxType.TUB) for slug, name in names.items())
    living = {lot.code for lot in changes.lots if not lot.archived}
    stays = tuple(stay for stay in changes.stays if stay.lot in living)
    store = filled(Changes(plain, changes.lots, stays))
    data = export(store, ".csv")
    copy = imported(data, "lots.csv")
    assert lots_and_places(copy) == lots_and_places(store)
    assert propose(data, "lots.csv", copy, NOW).changes_nothing


@given(text=TEXT)
def test_arming_is_undone_by_disarming(text: str) -> None:
    """No armed text begins as a formula does, and each comes back."""
    safe = armed(text)
    assert not safe.lstrip().startswith(("=", "+", "-", "@"))
    assert not safe.startswith(("\t", "\r", "\n"))
    assert disarmed(safe) == text


@pytest.mark.parametrize("text", NASTY)
def test_no_cell_of_an_export_is_run(text: str) -> None:
    """No text cell of any format begins with a sign that a spreadsheet program runs."""
    store = filled(Changes(lots=(Lot("A1", "pea", text, text, note=text),)))
    table = export(store, ".csv").decode("utf-8-sig")
    with zipfile.ZipFile(io.BytesIO(export(store, ".zip"))) as pack:
        packed = [pack.read(name).decode("utf-8-sig") for name in pack.namelist()]
    for each in (table, *packed):
        for row in csv.reader(io.StringIO(each, newline="")):
            assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)
    book = load_workbook(io.BytesIO(export(store, ".xlsx")))
    for sheet in book.worksheets:
        for cells in sheet.iter_rows():
            assert all(cell.data_type != "f" for cell in cells)


def test_an_edited_table_is_read_like_any_other() -> None:
    """A spreadsheet program that rewrites dates and decimals leaves a table that is still read."""
    store = filled(Changes(lots=(Lot("A1", "pea", "Tide", year=2024, label_pct=92.5, seeds=40.0),)))
    text = export(store, ".csv").decode("utf-8-sig").replace('"', "").replace(",", ";")
    text = text.replace("92.5", "88,5").replace("Temperature before; °C", "Temperature before")
    text = text.replace("Humidity before; %", "Humidity before")
    proposal = propose(text.encode("cp1252"), "lots.csv", store, NOW)
    (change,) = proposal.changes
    assert (change.verdict, change.lot.label_pct) == (Verdict.CHANGED, 88.5)
    assert [each.field for each in change.differences] == ["label_pct"]


def test_an_old_export_does_not_move_lots_back() -> None:
    """A lot that was moved since stays where it is now; the old stay is known."""
    boxes = (Box("tub", "Tub", BoxType.TUB), Box("jar", "Jar", BoxType.JAR))
    store = filled(Changes(boxes, (Lot("A1", "pea"),), (Stay(0, "A1", "tub", Wrap.PAPER, 5),)))
    data = export(store, ".xlsx")
    store.add_stay(Stay(0, "A1", "jar", Wrap.FOIL, 50))
    before = content(store)
    assert propose(data, "lots.xlsx", store, NOW).changes_nothing
    imported(data, "lots.xlsx", store)
    assert content(store) == before


def test_a_row_that_does_not_fit_is_reported() -> None:
    """Rows of a workbook of Hilum's own that were spoilt are named; the others are taken."""
    store = filled(
        Changes(
            (Box("tub", "Tub", BoxType.TUB),),
            (Lot("A1", "pea"), Lot("B2", "onion")),
            (Stay(0, "B2", "tub", Wrap.PAPER, 5),),
            events=(Event(0, 5, EventType.NOTE, lot="B2", text="x"),),
        )
    )
    book = load_workbook(io.BytesIO(export(store, ".xlsx")))
    book["Lots"]["B3"] = "onionish"
    data = io.BytesIO()
    book.save(data)
    proposal = propose(data.getvalue(), "lots.xlsx", MemoryStore(), NOW)
    assert [change.lot.code for change in proposal.changes] == ["A1"]
    assert sorted((each.row, each.reason) for each in proposal.problems) == [
        (2, "Journal: there is no lot “B2”."),
        (2, "Stays: there is no lot “B2”."),
        (3, "Lots: there is no kind “onionish”."),
    ]


def test_formats_that_are_not_written() -> None:
    """Another ending of the name is refused and the right ones are named; so is a text too long."""
    store = filled(Changes(lots=(Lot("A1", "pea", note="x" * 40_000),)))
    with pytest.raises(InvalidInputError, match=r"\.csv, \.xlsx or \.zip"):
        export(store, ".ods")
    with pytest.raises(InvalidInputError, match=r"Export to \.zip"):
        export(store, ".xlsx")
    assert imported(export(store, ".zip"), "all.zip").lot("A1") == store.lot("A1")
