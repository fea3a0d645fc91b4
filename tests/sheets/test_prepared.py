"""What growers write of treated, pelleted and primed seed; the words are recalled, no source."""

from collections.abc import Mapping

import pytest

from hilum.domain.model import Lot
from hilum.keeping.care.undo import undo
from hilum.sheets.applying import apply
from hilum.sheets.labels import lot_labels
from hilum.sheets.prepared import prepared_of
from hilum.sheets.proposal import propose
from hilum.sheets.tables import LOTS, Where
from hilum.stores.memory import MemoryStore
from sheets.worlds import NOW

NOTHING = {"treated": False, "pelleted": False, "primed": False}


@pytest.mark.parametrize(
    ("words", "heading", "found"),
    [
        ("treated", "Treatment", {"treated": True}),
        ("Pelleted, primed", "Seed form", {"pelleted": True, "primed": True}),
        ("untreated", "Treatment", NOTHING),
        ("untreated, primed", "Treatment", {"primed": True}),
        ("not primed", "Treatment", NOTHING),
        ("raw", "Seed form", NOTHING),
        ("yes", "Pelleted", {"pelleted": True}),
        ("yes", "Seed treatment", {"treated": True}),
        ("x", "Treated?", {"treated": True}),
        ("no", "Primed", {"primed": False}),
        ("ja", "gebeizt", {"treated": True}),
        ("ungebeizt", "Beizung", {"treated": False}),
        ("Pilliert", "Saatgutbehandlung", {"pelleted": True}),
        ("non traitées", "Traitement", NOTHING),
        ("enrobé", "Traitement", {"pelleted": True}),
        ("gepilleerd", "Zaadbehandeling", {"pelleted": True}),
        ("sin tratar", "Tratamiento", NOTHING),
        ("yes", "Treated, pelleted", None),
        ("yes", "Seed form", None),
        ("prime quality", "Coating", None),
    ],
)
def test_words(words: str, heading: str, found: Mapping[str, bool] | None) -> None:
    """Each says it for one thing or more, denies it, or cannot be told."""
    assert prepared_of(words, heading) == found


def test_a_list_says_it() -> None:
    """Several columns may; words that cannot be told go into the note; an import can be redone."""
    store = MemoryStore()
    rows = (
        "Kind,Variety,Seed treatment,Pelleted\n"
        "Lettuce,Winter Lamp,primed,yes\n"
        "Onion,Red Lantern,untreated,\n"
        "Carrot,Long Pier,warm water,no\n"
    )
    proposal = propose(rows.encode(), "list.csv", store, NOW)
    apply(proposal, store, NOW)
    lettuce, onion, carrot = store.lots()
    assert (lettuce.prepared, onion.prepared, carrot.prepared) == (("pelleted", "primed"), (), ())
    assert carrot.note == "Seed treatment: warm water"
    assert "Pelleted, primed" in lot_labels(store, [lettuce.code], "")[0].lines
    changed = rows.replace("primed,yes", "untreated,yes")
    again = propose(changed.encode(), "list.csv", store, NOW)
    assert [each.field for each in again.changes[0].differences] == ["primed"]
    apply(again, store, NOW)
    assert store.lot(lettuce.code).prepared == ("pelleted",)
    (event,) = [each for each in store.events(lot=lettuce.code) if "primed" in str(each.data)]
    undo(store, lettuce.code, event.id)
    assert store.lot(lettuce.code).prepared == ("pelleted", "primed")


@pytest.mark.parametrize("early", [False, True])
def test_a_table_of_ours_is_known_with_and_without_these_columns(*, early: bool) -> None:
    """Files written before lots could be prepared come back whole, as seed that is not."""
    lot = Lot("A1", "onion", "Red Lantern", primed=not early)
    cells = LOTS.row(lot, Where())
    headings = LOTS.headings
    if early:
        cells, headings = cells[:-3], headings[:-3]
    assert headings[-1] == ("In box since" if early else "Primed")
    assert LOTS.is_heading(headings)
    assert not LOTS.is_heading(headings[:-1])
    values = LOTS.values(cells)
    assert (values["code"], values["treated"], values["primed"]) == ("A1", False, not early)
