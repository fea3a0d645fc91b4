"""A list of 400 rows: nearly all are read, and none is read wrongly in silence."""

import pytest

from hilum.domain.model import Lot
from hilum.sheets.applying import apply
from hilum.sheets.proposal import Options, Proposal, propose
from hilum.stores.memory import MemoryStore
from sheets.bulk import ROWS, TITLES, Intended, made
from sheets.worlds import NOW

RIGHT = 0.95
SEEDS = (1, 2, 3, 4, 5)


def as_intended(lot: Lot, place: str, wanted: Intended) -> bool:
    """Whether a lot is the one its row means."""
    found = Intended(
        *(lot.kind, lot.variety, lot.source, lot.year or 0, lot.label_pct, lot.label_date),
        seeds=lot.seeds,
        grams=lot.grams,
        place=place.casefold(),
    )
    return found == wanted


def proposed(seed: int) -> tuple[Proposal, dict[int, Intended | None]]:
    """What a list proposes, and what it means."""
    data, meant = made(seed)
    return propose(data, "stock.csv", MemoryStore(), NOW, Options()), meant


@pytest.mark.parametrize("seed", SEEDS)
def test_rows_are_right_or_reported(seed: int) -> None:
    """At least 95 % of all rows are the intended lot; each other row has its reason."""
    proposal, meant = proposed(seed)
    names = {box.slug: box.name for box in proposal.new_boxes}
    reported = {problem.row for problem in proposal.problems}
    taken = {change.row: change for change in proposal.changes}
    assert len(meant) == ROWS
    assert set(taken) | reported == set(meant)
    assert not set(taken) & reported
    right = set()
    for row, change in taken.items():
        wanted = meant[row]
        place = names[change.begins.box] if change.begins else ""
        assert wanted is not None, row
        assert as_intended(change.lot, place, wanted), (row, change.lot, wanted)
        right.add(row)
    assert len(right) >= RIGHT * ROWS
    assert all(problem.reason.endswith((".", "?")) for problem in proposal.problems)
    assert proposal.heading_row == TITLES


def test_the_list_is_imported_once() -> None:
    """All rows in one step; a second time nothing changes."""
    data, _ = made()
    store = MemoryStore()
    apply(propose(data, "stock.csv", store, NOW), store, NOW)
    before = (store.lots(), store.stays())
    again = propose(data, "stock.csv", store, NOW + 1)
    assert again.changes_nothing
    assert len(before[0]) == len(again.changes) >= RIGHT * ROWS
