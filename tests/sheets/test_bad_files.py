"""Files that are no list of seed: each refused in one sentence, quickly, with what to do."""

import io
import zipfile
from pathlib import Path

import pytest
from openpyxl import Workbook

from hilum.domain.errors import InvalidInputError
from hilum.sheets.grid import MOST_BYTES, MOST_COLUMNS
from hilum.sheets.proposal import Options, propose
from hilum.sheets.read import read_path
from hilum.stores.memory import MemoryStore
from sheets.messy import DATED, saved, workbook
from sheets.worlds import NOW

HEADINGS = ["Kind", "Variety", "Year"]
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(4096)


def packed(parts: dict[str, bytes]) -> bytes:
    """A zip file of these parts."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as pack:
        for name, content in parts.items():
            pack.writestr(name, content)
    return data.getvalue()


def tampered(part: str, content: bytes) -> bytes:
    """A workbook of which one part has been replaced."""
    with zipfile.ZipFile(io.BytesIO(DATED.data)) as pack:
        parts = {name: pack.read(name) for name in pack.namelist()}
    return packed({**parts, part: content})


BOMB = tampered("xl/worksheets/sheet1.xml", b"<worksheet>" + b" " * 200_000_000)
ENTITIES = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa">]><sst>&a;</sst>'


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "is empty"),
        (b"\r\n\r\n  \n", "is empty"),
        (b"\xef\xbb\xbf", "is empty"),
        (b"Kind,Variety,Year\n", "no row of lots"),
        (bytes(range(256)) * 40, "no table that can be read"),
        (b"%PDF-1.7 ...", "a PDF"),
        (b"\x89PNG\r\n\x1a\n" + bytes(99), "a picture"),
        (OLE, r"old kind \(XLS\)"),
        (OLE + "EncryptedPackage".encode("utf-16-le"), "password"),
        (b"<html><table><tr><td>Kind</td></tr></table></html>", "web page"),
        (b"<?xml version='1.0'?><Workbook/>", "web page or XML"),
        (b"PK\x03\x04 and then nothing", "damaged"),
        (DATED.data[: len(DATED.data) // 2], "damaged"),
        (packed({"hello.txt": b"hello"}), "without a workbook"),
        (packed({"mimetype": b"x", "content.xml": b"x"}), "OpenDocument"),
        (packed({"xl/workbook.bin": b"x"}), "XLSB"),
        (packed({"Index/Document.iwa": b"x"}), "no XLSX workbook"),
        (packed({"xl/workbook.xml": b"<workbook/>"}), "damaged"),
        (tampered("xl/workbook.xml", b"not XML at all"), "damaged"),
        (tampered("xl/sharedStrings.xml", ENTITIES), "declarations"),
        (BOMB, "would unpack to 2"),
        (saved(workbook(("Sheet", []))), "workbook is empty"),
        (b"this is a letter to my aunt\nabout her garden\n", "No row of headings"),
        (b"time,temperature\n2024-01-01,20\n", "No row of headings"),
        (b"Variety,Year,Source\nBoatshed Red,2024,Own\n", "No column names the kind"),
        (b"Kind,Year\n" + b'Tomato,"' + b"x" * 200_000 + b'"\n', "cell"),
        (b"Kind,Year\n" + b"Tomato,2024" + b"," * MOST_COLUMNS + b"x\n", "too large"),
    ],
)
def test_refused_in_a_sentence(data: bytes, said: str) -> None:
    """What it is and what to do instead is said; nothing else is raised."""
    with pytest.raises(InvalidInputError, match=said) as caught:
        propose(data, "list.csv", MemoryStore(), NOW)
    assert str(caught.value).endswith((".", "?"))
    assert len(str(caught.value)) < 400


def test_a_file_of_200_megabytes_is_not_read(tmp_path: Path) -> None:
    """The size is looked at first, also where the file is empty space."""
    path = tmp_path / "huge.csv"
    with path.open("wb") as stream:
        stream.truncate(200_000_000)
    with pytest.raises(InvalidInputError, match="has 200 MB"):
        read_path(path)
    with pytest.raises(InvalidInputError, match="has 25 MB"):
        propose(bytes(MOST_BYTES + 1), "x.csv", MemoryStore(), NOW)
    with pytest.raises(InvalidInputError, match="no file"):
        read_path(tmp_path / "missing.csv")
    with pytest.raises(InvalidInputError, match="no file"):
        read_path(tmp_path)


@pytest.mark.parametrize("name", ["stock.csv", "stock.xls", "stock.pdf", "stock", ""])
def test_the_name_does_not_matter(name: str) -> None:
    """A workbook is known by its content, whatever its ending."""
    assert len(propose(DATED.data, name, MemoryStore(), NOW).changes) == len(DATED.meant)


def test_the_sheet_is_chosen_or_named() -> None:
    """The sheet most like a list is read; another that looks like one is mentioned."""
    rows: list[list[object]] = [["Kind", "Variety", "Year"], ["Pea", "Tide", 2024]]
    data = saved(workbook(("Notes", [["hello"]]), ("2024", rows), ("2023", [*rows, rows[1]])))
    assert propose(data, "x.xlsx", MemoryStore(), NOW).sheet == "2023"
    assert propose(data, "x.xlsx", MemoryStore(), NOW).other_sheets == ("2024",)
    asked = propose(data, "x.xlsx", MemoryStore(), NOW, Options(sheet="2024"))
    assert (asked.sheet, len(asked.changes)) == ("2024", 1)
    with pytest.raises(InvalidInputError, match="no sheet “2025”"):
        propose(data, "x.xlsx", MemoryStore(), NOW, Options(sheet="2025"))


def test_the_saved_result_of_a_formula_is_taken() -> None:
    """A formula is never run: its result as saved counts, one that was never saved is reported."""
    data = saved(workbook(("List", [["Kind", "Seeds"], ["Pea", "=20*2"], ["Leek", "=1/0"]])))
    with zipfile.ZipFile(io.BytesIO(data)) as pack:
        sheet = pack.read("xl/worksheets/sheet1.xml")
        parts = {name: pack.read(name) for name in pack.namelist()}
    whole = sheet.replace(b"<f>20*2</f><v />", b"<f>20*2</f><v>40</v>")
    whole = whole.replace(b'<c r="B3"><f>1/0</f><v />', b'<c r="B3" t="e"><f>1/0</f><v>#DIV/0!</v>')
    assert whole.count(b"<v>") == sheet.count(b"<v>") + 2
    parts["xl/worksheets/sheet1.xml"] = whole
    proposal = propose(packed(parts), "x.xlsx", MemoryStore(), NOW)
    assert [change.lot.seeds for change in proposal.changes] == [40.0]
    assert [problem.reason for problem in proposal.problems] == ["The cell shows #DIV/0!."]


def test_a_sheet_with_something_in_its_last_row() -> None:
    """A stray cell a million rows down does not stop the reading of the list above it."""
    book = Workbook(write_only=False)
    sheet = book.active
    assert sheet is not None
    sheet.append(HEADINGS)
    sheet.append(["Pea", "Tide", 2024])
    sheet.cell(200_000, 3, "x")
    proposal = propose(saved(book), "x.xlsx", MemoryStore(), NOW)
    assert [change.lot.variety for change in proposal.changes] == ["Tide"]
    assert [remark.row for remark in proposal.remarks] == [200_000]


@pytest.mark.parametrize(
    ("text", "quoted"),
    [
        (b'Kind,Variety,Year\nPea,"Tide,2024\nLeek,Mast,2023\n' + b"Kale,Sail,2022\n" * 30, True),
        (b'Kind,Variety,Year\nPea,Tide 6" pot,2024\nLeek,Mast,2023\n', False),
    ],
)
def test_a_stray_quotation_mark_does_not_swallow_rows(text: bytes, quoted: bool) -> None:
    """A mark that is never closed is text, and that is said."""
    proposal = propose(text, "x.csv", MemoryStore(), NOW)
    rows = {change.row for change in proposal.changes} | {each.row for each in proposal.problems}
    assert {2, 3} <= rows
    assert any("never closed" in note for note in proposal.notes) is quoted


def test_what_the_grower_says_of_columns_counts() -> None:
    """A heading nobody could know is given its meaning; an impossible answer is refused."""
    data = b"Blip,Blop,Year\nPea,Tide,2024\nLeek,Mast,2023\n"
    said = Options(columns={"Blip": "kind", "B": "variety"})
    data = data.replace(b"Year", b"Year,Source")
    found = propose(data, "x.csv", MemoryStore(), NOW, said)
    assert [change.lot.variety for change in found.changes] == ["Tide", "Mast"]
    for columns, reason in (({"Nope": "kind"}, "no column “Nope”"), ({"Blip": "x"}, "nothing")):
        with pytest.raises(InvalidInputError, match=reason):
            propose(data, "x.csv", MemoryStore(), NOW, Options(columns=columns))
