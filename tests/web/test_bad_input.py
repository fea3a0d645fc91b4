"""What no list and no form should hold is answered with a clear sentence, and nothing is kept."""

import io
import zipfile
from collections.abc import Iterator
from dataclasses import replace

import pytest
from openpyxl import load_workbook
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.web.app import create_app
from hilum.web.parts import WebParts
from sheets.messy import saved, workbook
from web.elements import parse
from web.sending import filled_in, send

URL = "/lots/import"


@pytest.fixture
def desk(parts: WebParts) -> Iterator[TestClient]:
    """Ask a place that reads spreadsheets."""
    told = replace(parts, sheets=lambda: Sheets(parts.store, parts.clock, "UTC"))
    with TestClient(create_app(told), "http://localhost", raise_server_exceptions=False) as asking:
        yield asking


def handed_in(desk: TestClient, data: bytes) -> tuple[int, str]:
    """Status and words of the page that answers a file."""
    form = filled_in(parse(desk.get(URL).text).one("form", method="post"))
    answer = desk.post(URL, data=form, files={"file": ("x.xlsx", data, "text/csv")})
    return answer.status_code, parse(answer.text).one("main").text


def test_a_file_far_too_large(desk: TestClient) -> None:
    """More than the page takes is refused before it is read, one of 200 MB by its size alone."""
    status, words = handed_in(desk, b"Kind,Seeds\n" + b"Onion,5\n" * 1_400_000)
    assert (status, "more than this address takes" in words) == (413, True)
    huge = {"Content-Length": "200000000", "Content-Type": "multipart/form-data; boundary=b"}
    assert desk.post(URL, content=b"x", headers=huge).status_code == 413


def test_a_workbook_that_would_burst(desk: TestClient, parts: WebParts) -> None:
    """A few kilobytes that unpack to 200 MB are told apart from a list, and not opened."""
    pack = io.BytesIO(saved(workbook(("Stock", [["Kind"], ["Onion"]]))))
    with zipfile.ZipFile(pack, "a", zipfile.ZIP_DEFLATED) as bomb:
        bomb.writestr("xl/worksheets/sheet2.xml", b" " * 200_000_000)
    status, words = handed_in(desk, pack.getvalue())
    assert (status, "would unpack to 2" in words) == (422, True)
    assert len(parts.store.lots()) == 5


def test_formulas_and_html_stay_text(desk: TestClient, parts: WebParts) -> None:
    """Neither is run here, and neither in a program that opens the export."""
    nasty = ("=HYPERLINK(1)", "+1", "-1", "@x", "<script>alert(1)</script>")
    text = "Kind;Variety;Notes\n" + "".join(f"Onion;V{n};{cell}\n" for n, cell in enumerate(nasty))
    form = filled_in(parse(desk.get(URL).text).one("form", method="post"))
    seen = desk.post(URL, data=form, files={"file": ("a.csv", text.encode(), "text/csv")})
    assert "<script>alert(1)" not in seen.text
    button = parse(seen.text).one(id="import").one("form")
    desk.post(button.attrs["action"], data=filled_in(button))
    notes = {lot.note for lot in parts.store.lots()}
    assert set(nasty) <= notes
    table = desk.get("/lots/export.csv").text
    assert '"\'=HYPERLINK(1)"' in table
    assert not [line for line in table.splitlines() if ',"=' in line or ',"@' in line]
    book = load_workbook(io.BytesIO(desk.get("/lots/export.xlsx").content))
    kinds = {cell.data_type for sheet in book for row in sheet.iter_rows() for cell in row}
    assert "f" not in kinds


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("seeds", "1e308", "more than anything here can be"),
        ("grams", "2000000", "more than any lot holds"),
        ("seeds", "-5", "less than nothing"),
        ("seeds", "nan", "not a number"),
        ("year", "-2020", "cannot be the year"),
        ("label_date", "-0001-01-01", "is no date"),
        ("label_date", "1023-01-01", "too long ago"),
        ("at", "-0044-03-15T12:00", "is no date and time"),
    ],
)
def test_figures_no_lot_has(
    client: TestClient, parts: WebParts, field: str, value: str, said: str
) -> None:
    """Beside its field, with everything else still there."""
    typed = {"kind": "onion", "variety": "Kept", "box": "tub", field: value}
    refused = send(client, "/lots/new", 422, "", **typed)
    assert said in refused.one(of="wrong").text
    assert refused.one("input", name="variety").attrs["value"] == "Kept"
    assert len(parts.store.lots()) == 5


def test_a_lot_in_two_boxes_at_once(desk: TestClient) -> None:
    """Two rows that put one lot into two boxes are both left to the grower."""
    text = b"Code;Kind;Box\nL-0001;Onion;Gasketed tub\nL-0001;Onion;Card-index drawer\n"
    status, words = handed_in(desk, text)
    assert status == 200
    assert words.count("Rows 2, 3 have the same code L-0001") == 2
