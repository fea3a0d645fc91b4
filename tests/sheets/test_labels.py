"""Labels: what stands on them, that they fit the paper, and that a phone can read the code."""

import re
from datetime import date
from html.parser import HTMLParser

import pytest
import segno

from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import Box, BoxType, Changes, GerminationTest, Lot
from hilum.sheets.labels import (
    Label,
    Paper,
    SheetLayout,
    box_labels,
    label_sheet,
    lot_labels,
)
from hilum.stores.memory import MemoryStore

SITE = "http://seeds.example:8420/"


@pytest.fixture
def store() -> MemoryStore:
    """A tested lot with a code that needs quoting, a bare one, an archived one, and a box."""
    made = MemoryStore()
    made.change(
        Changes(
            (Box("blue-tub", "Blue <tub>", BoxType.TUB),),
            (
                Lot("23/7 a", "tomato", "Boatshed Red", "Own", 2023, label_pct=91.6),
                Lot("B2", "onion", label_pct=80.0, label_date=date(2024, 5, 1)),
                Lot("Z9", "pea", archived=True),
            ),
            tests=(GerminationTest(0, "23/7 a", date(2025, 3, 9), 50, 44),),
        )
    )
    return made


def test_what_stands_on_a_label(store: MemoryStore) -> None:
    """Common name, variety, source and year, the newest germination, code and address."""
    first, second = lot_labels(store, [], SITE)
    assert first == Label(
        "Tomato",
        ("Boatshed Red", "Own · 2023", "88 % (44 of 50), 2025-03"),
        "23/7 a",
        "http://seeds.example:8420/lots/23~2F7%20a",
    )
    assert second.lines == ("80 %, 2024-05",)
    (box,) = box_labels(store, [], SITE)
    assert (box.title, box.address) == ("Blue <tub>", "http://seeds.example:8420/boxes/blue-tub")
    with pytest.raises(NotFoundError):
        lot_labels(store, ["nope"], SITE)


class _Seen(HTMLParser):
    """Counts elements and collects text and the paths of drawings."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: dict[str, int] = {}
        self.text = ""
        self.paths: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] = self.tags.get(tag, 0) + 1
        if tag == "path":
            self.paths.append(dict(attrs).get("d") or "")

    def handle_data(self, data: str) -> None:
        self.text += data


def test_a_page_is_whole_in_itself_and_escapes(store: MemoryStore) -> None:
    """Nothing is fetched, and what was typed stays text."""
    page = label_sheet(box_labels(store, [], SITE))
    seen = _Seen(page)
    assert "Blue <tub>" in seen.text
    assert seen.tags["svg"] == seen.tags["article"] == 1
    assert not {"script", "link", "img", "tub"} & set(seen.tags)
    assert not re.search(r'(src|href)="', page)


def test_the_code_holds_the_address(store: MemoryStore) -> None:
    """The drawing is the one the QR library makes for the address of the page."""
    label = lot_labels(store, ["B2"], SITE)[0]
    code = segno.make(label.address, error="m", micro=False)
    drawn = _Seen(label_sheet([label])).paths
    assert drawn == [_Seen(code.svg_inline(border=4, omitsize=True)).paths[0]]


@pytest.mark.parametrize("paper", Paper)
def test_labels_fit_the_paper(paper: Paper) -> None:
    """Columns and rows with their gaps stay inside the margins; pages are as many as needed."""
    layout = SheetLayout(paper)
    width, height = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}[paper]
    used = layout.columns * layout.width_mm + (layout.columns - 1) * layout.gap_mm
    assert used <= width - 2 * layout.margin_mm < used + layout.width_mm + layout.gap_mm
    used = layout.rows * layout.height_mm + (layout.rows - 1) * layout.gap_mm
    assert used <= height - 2 * layout.margin_mm < used + layout.height_mm + layout.gap_mm
    each = layout.columns * layout.rows
    page = label_sheet([Label("Pea", (), "A1", SITE)] * (each + 1), layout)
    assert _Seen(page).tags["section"] == 2
    assert f"size:{width:g}mm {height:g}mm" in page


@pytest.mark.parametrize(
    ("labels", "layout", "said"),
    [
        (0, SheetLayout(), "nothing to print"),
        (5001, SheetLayout(), "too many"),
        (1, SheetLayout(width_mm=250.0), "do not fit"),
        (1, SheetLayout(height_mm=12.0), "too small"),
        (1, SheetLayout(width_mm=-5.0), "do not fit"),
        (1, SheetLayout(height_mm=float("nan")), "do not fit"),
    ],
)
def test_labels_that_cannot_be(labels: int, layout: SheetLayout, said: str) -> None:
    """Nothing, too much, or a size no sheet has, is refused."""
    with pytest.raises(InvalidInputError, match=said):
        label_sheet([Label("Pea", (), "A1", SITE)] * labels, layout)
