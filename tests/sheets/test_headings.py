"""Headings: those that mean something are known, those that only look so are not."""

import pytest

from hilum.sheets.headings import Field, meanings
from hilum.sheets.proposal import propose
from hilum.stores.memory import MemoryStore
from sheets.worlds import NOW


@pytest.mark.parametrize(
    ("heading", "field"),
    [
        ("Days to germination", Field.GERMINATION),
        ("Germination (days)", Field.GERMINATION),
        ("Germination temp. (°C)", Field.GERMINATION),
        ("Viability (yrs)", Field.GERMINATION),
        ("Std germ", Field.GERMINATION),
        ("Sprouted of 10", Field.GERMINATION),
        ("No. germinated", Field.GERMINATION),
        ("Keimdauer (Tage)", Field.GERMINATION),
        ("Levée (jours)", Field.GERMINATION),
        ("Días de germinación", Field.GERMINATION),
        ("Seeds per gram", Field.SEEDS),
        ("Seeds/g", Field.SEEDS),
        ("Seeds needed", Field.SEEDS),
        ("Seeds per row", Field.SEEDS),
        ("1000 seed weight (g)", Field.GRAMS),
        ("Thousand seed weight", Field.GRAMS),
        ("Year last grown", Field.YEAR),
        ("Year introduced", Field.YEAR),
        ("Expiry year", Field.YEAR),
        ("Sow by", Field.YEAR),
        ("Packets to order", Field.PACKETS),
        ("Qty ordered", Field.QUANTITY),
    ],
)
def test_headings_that_only_look_alike(heading: str, field: Field) -> None:
    """A heading that holds the word and says something else is not taken for it."""
    assert not [meaning for meaning in meanings(heading)[:1] if meaning.field is field]


@pytest.mark.parametrize(
    ("heading", "field"),
    [
        ("Wt. g", Field.GRAMS),
        ("Menge in g", Field.QUANTITY),
        ("Keimfähigkeit in %", Field.GERMINATION),
        ("%", Field.GERMINATION),
        ("Seed #", Field.CODE),
        ("# of seeds", Field.SEEDS),
        ("Box #", Field.BOX),
        ("Anzahl gekeimt", Field.SPROUTED),
        ("Fecha de la prueba", Field.TESTED),
        ("Année de récolte", Field.YEAR),
        ("Waar", Field.BOX),
        ("Kind/Variety", Field.KIND),
    ],
)
def test_headings_of_five_languages(heading: str, field: Field) -> None:
    """Units, signs and accents do not hide what a heading says."""
    assert meanings(heading)[0].field is field


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("8/10 (Mar 2024)", (80.0, 10, "2024-03-01", "")),
        ("85 % (n=50)", (85.0, 50, None, "")),
        ("85 % old seed", (85.0, None, None, "Germ: 85 % old seed")),
        ("46 of 50", (92.0, 50, None, "")),
        ("ca. 8/10", (80.0, None, None, "")),
    ],
)
def test_what_stands_behind_a_germination(cell: str, said: tuple[object, ...]) -> None:
    """A date, a number of seeds, or words that are kept: nothing of the cell is lost."""
    data = f"Kind\tGerm\tYear\nOnion\t{cell}\t2023\n".encode()
    (change,) = propose(data, "x.tsv", MemoryStore(), NOW).changes
    lot = change.lot
    day = lot.label_date.isoformat() if lot.label_date else None
    assert (lot.label_pct, lot.label_n, day, lot.note) == said


@pytest.mark.parametrize("cell", ["3/2024", "1/2/2024", "12/8", "85 90", "85%%5"])
def test_a_germination_that_may_be_something_else(cell: str) -> None:
    """A date under “Germ” is reported, and never read as a share."""
    rows = "".join(f"Leek\t{pct}\t2023\n" for pct in (80, 85, 90))
    data = f"Kind\tGerm\tYear\n{rows}Onion\t{cell}\t2023\n".encode()
    proposal = propose(data, "x.tsv", MemoryStore(), NOW)
    taken = [change.lot.label_pct for change in proposal.changes if change.lot.kind == "onion"]
    assert [problem.row for problem in proposal.problems] == [5], taken


SECTIONS = b"""Vegetables,,,
TOMATOES (Solanum lycopersicum),,,
Name,Supplier,Year,Qty (seeds)
Boatshed Red,Own,2023,30
,,,
Crop: Lettuce,,,
Winter Lamp,Own,2023,300
keep these away from the stove please,,,
Grey Wing,Own,2023,300
BEANS,,,
Tall Ship,Own,2021,40
Leeks:,,,
Tall Mast,Own,2021,40
"""


def test_rows_below_a_heading_nobody_knows_are_reported() -> None:
    """“Beans” can be several kinds: what stands below it is not taken for the kind above it."""
    proposal = propose(SECTIONS, "x.csv", MemoryStore(), NOW)
    found = {change.row: (change.lot.kind, change.lot.variety) for change in proposal.changes}
    assert found == {
        4: ("tomato", "Boatshed Red"),
        7: ("lettuce", "Winter Lamp"),
        9: ("lettuce", "Grey Wing"),
        13: ("leek", "Tall Mast"),
    }
    assert [problem.row for problem in proposal.problems] == [11]
