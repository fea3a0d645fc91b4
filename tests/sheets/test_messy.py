"""Messy lists: every row becomes the lot that is meant, or is reported with its reason."""

from dataclasses import fields

import pytest

from hilum.domain.model import Lot
from hilum.sheets.applying import apply
from hilum.sheets.headings import Field
from hilum.sheets.proposal import Options, Proposal, Verdict, propose
from hilum.stores.memory import MemoryStore
from sheets import messier, messy
from sheets.messy import ASKED, Case, Meaning
from sheets.worlds import NOW

CASES = {**messy.CASES, **messier.CASES}
SAID = {field.name for field in fields(Lot)} - {"code", "kind", "variety"}


def proposed(case: Case) -> Proposal:
    """What a case proposes to an empty store."""
    return propose(case.data, case.file, MemoryStore(), NOW, case.options)


def differences(lot: Lot, meant: Meaning) -> dict[str, tuple[object, object]]:
    """Where a lot is not the one that is meant."""
    kind, variety, values = meant
    plain = Lot("", "")
    wanted = {"kind": kind, "variety": variety, **{name: getattr(plain, name) for name in SAID}}
    wanted |= values
    return {
        name: (getattr(lot, name), value)
        for name, value in wanted.items()
        if getattr(lot, name) != (pytest.approx(value) if isinstance(value, float) else value)
    }


@pytest.mark.parametrize("name", CASES)
def test_rows_are_what_is_meant(name: str) -> None:
    """Each row that is taken is the intended lot in every field, in the intended box."""
    case = CASES[name]
    proposal = proposed(case)
    wrong = {
        change.row: differences(change.lot, case.meant[change.row])
        for change in proposal.changes
        if change.row in case.meant and differences(change.lot, case.meant[change.row])
    }
    assert wrong == {}
    assert [change.row for change in proposal.changes] == sorted(case.meant)
    names = {box.slug: box.name for box in proposal.new_boxes}
    boxes = {c.row: names[c.begins.box] for c in proposal.changes if c.begins}
    assert {row: boxes.get(row) for row in case.boxes} == case.boxes


@pytest.mark.parametrize("name", CASES)
def test_rows_that_are_no_lot_say_why(name: str) -> None:
    """Every other row is reported with its reason, as a problem or as no lot; none is silent."""
    case = CASES[name]
    proposal = proposed(case)
    said = {each.row: each.reason for each in proposal.problems}
    said = {each.row: each.text for each in proposal.remarks if each.row not in case.meant} | said
    assert {row: word for row, word in case.refused.items() if word not in said.get(row, "")} == {}
    extra = set(said) - set(case.refused)
    assert all("heading of the rows below" in said[row] for row in extra)


@pytest.mark.parametrize("name", CASES)
def test_columns_that_are_not_used_are_named(name: str) -> None:
    """Headings that mean nothing here are told, and only those."""
    proposal = proposed(CASES[name])
    unused = {column.heading for column in proposal.columns if column.field in {None, Field.UNUSED}}
    assert unused == set(CASES[name].unused)


@pytest.mark.parametrize("name", CASES)
def test_a_second_import_changes_nothing(name: str) -> None:
    """What was imported is found again, whether lots have codes or not."""
    case = CASES[name]
    store = MemoryStore()
    apply(propose(case.data, case.file, store, NOW, case.options), store, NOW)
    before = (store.lots(), store.stays(), store.events())
    again = propose(case.data, case.file, store, NOW + 86_400_000, case.options)
    assert {change.verdict for change in again.changes} <= {Verdict.SAME}
    assert again.changes_nothing
    apply(again, store, NOW)
    assert (store.lots(), store.stays(), store.events()) == before


def test_what_only_the_grower_knows_is_asked() -> None:
    """Without an answer, rows that hang on it are held back or keep the figure in the note."""
    proposal = propose(ASKED.data, ASKED.file, MemoryStore(), NOW, Options())
    assert [question.name for question in proposal.questions] == ["dates", "unit"]
    assert [problem.row for problem in proposal.problems] == [2, 3]
    (change,) = proposal.changes
    assert (change.row, change.lot.seeds, change.lot.note) == (4, None, "Qty: 1")
