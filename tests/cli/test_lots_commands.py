"""``hilum lots``: import, export, labels and care, as a user runs them."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from sheets.messy import saved, workbook

Run = Callable[..., Any]
LIST = """Crop,Variety,Supplier,Packed for,Germ,Germ test date,Seeds,Location
Tomato,Boatshed Red,Hill & Dale Seeds,2024,92%,13/3/2025,50,Blue tub
Lettuce,Winter Lamp,Own,2023,good,2/2/2025,80,Blue tub
Onion,Red Lantern,Own,2022,90%,,,
"""


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """A small list with one row that cannot be read."""
    path = tmp_path / "list.csv"
    path.write_text(LIST, encoding="utf-8")
    return path


def test_nothing_is_imported_unasked(hilum: Run, table: Path) -> None:
    """Without a terminal to ask on, --yes is needed; what was understood is shown all the same."""
    answer = hilum("lots", "import", table)

    assert answer.code == 2
    assert "Add --yes" in answer.err
    assert "Packed for: year" in answer.out
    assert "row 3, “Germ”: “good” is no number" in answer.out
    assert hilum("lots", "list").out == ""


def test_import_twice(hilum: Run, table: Path) -> None:
    """The first time brings the lots and the box, the second finds all of it there."""
    dry = hilum("lots", "import", table, "--dry-run")
    first = hilum("lots", "import", table, "--yes", "--json").json
    second = hilum("lots", "import", table, "--json")

    assert dry.code == 0
    assert "2 new, 0 changed, 0 unchanged" in dry.out
    assert [row["lot"]["code"] for row in first["rows"]] == ["L-0001", "L-0002"]
    assert first["rows"][0]["lot"]["label_date"] == "2025-03-13"
    assert [problem["row"] for problem in first["rejected"]] == [3]
    assert first["imported"]
    assert first["counts"] == {"new": 2, "changed": 0, "unchanged": 0, "rejected": 1}
    assert second.code == 0
    assert not second.json["imported"]
    assert {row["verdict"] for row in second.json["rows"]} == {"unchanged"}


def test_rejected_rows_are_mended_and_imported(hilum: Run, table: Path, tmp_path: Path) -> None:
    """Rows that are not taken come out as a table with their reasons, and that table goes in."""
    left = tmp_path / "left.csv"
    hilum("lots", "import", table, "--yes", "--rejected", left)
    text = left.read_text(encoding="utf-8-sig")

    assert '"3","Germ: “good” is no number."' in text
    left.write_text(text.replace('"good"', '"81 %"'), encoding="utf-8-sig")
    mended = hilum("lots", "import", left, "--yes", "--json").json
    assert mended["counts"] == {"new": 1, "changed": 0, "unchanged": 0, "rejected": 0}
    assert mended["rows"][0]["lot"]["label_pct"] == 81.0


def test_a_sheet_is_chosen_and_columns_are_said(hilum: Run, tmp_path: Path) -> None:
    """--sheet names the sheet; --column says what a heading does not; one thing stands once."""
    path = tmp_path / "book.xlsx"
    rows: list[list[object]] = [["Blip", "Blop", "Year"], ["Tomato", "Boatshed Red", 2024]]
    path.write_bytes(saved(workbook(("Old", [["Kind"], ["Pea"], ["Leek"]]), ("New", rows))))
    words = ("--sheet", "new", "--column", "Blip=kind", "--column", "B=variety")
    told = hilum("lots", "import", path, *words, "--dry-run", "--json").json

    assert told["sheets"] == ["Old", "New"]
    assert (told["rows"][0]["lot"]["kind"], told["rows"][0]["lot"]["variety"]) == (
        "tomato",
        "Boatshed Red",
    )
    twice = hilum("lots", "import", path, *words[:4], "--column", "Blop=kind", "--dry-run")
    assert (twice.code, "cannot both be “kind”" in twice.err) == (2, True)


def test_questions_are_answered_by_options(hilum: Run, tmp_path: Path) -> None:
    """What only the grower knows is asked for by the name of its option."""
    path = tmp_path / "x.csv"
    path.write_text("Kind,Tested,Germ %,Qty\nPea,1/3/2025,90,2\n", encoding="utf-8")
    asked = hilum("lots", "import", path, "--dry-run")
    words = ("--dates", "month-first", "--unit", "oz", "--dry-run", "--json")
    told = hilum("lots", "import", path, *words).json

    assert "--dates day-first or month-first" in asked.out
    assert "--unit seeds or packets or g or oz" in asked.out
    assert told["rows"][0]["lot"]["label_date"] == "2025-01-03"
    assert told["rows"][0]["lot"]["grams"] == pytest.approx(2 * 28.349523125)


@pytest.mark.parametrize("suffix", [".csv", ".xlsx", ".zip"])
def test_export_and_back(hilum: Run, table: Path, tmp_path: Path, suffix: str) -> None:
    """An export read into an empty folder exports the same."""
    hilum("lots", "import", table, "--yes")
    there, back = tmp_path / f"there{suffix}", tmp_path / "back.csv"
    flat = tmp_path / "flat.csv"
    other = ("--data-dir", tmp_path / "other")

    assert hilum("lots", "export", "--to", there).code == 0
    assert hilum("lots", "import", there, "--yes", *other).code == 0
    hilum("lots", "export", "--to", flat)
    hilum("lots", "export", "--to", back, *other)

    assert back.read_bytes() == flat.read_bytes()


def test_labels(hilum: Run, table: Path, tmp_path: Path) -> None:
    """A page for lots, one for boxes; a QR code where it is known how a phone gets there."""
    hilum("lots", "import", table, "--yes")
    to = tmp_path / "labels.html"
    near = hilum("lots", "labels", "--to", to)
    page = to.read_text(encoding="utf-8")
    far = hilum("lots", "labels", "L-0001", "--to", to, "--address", "http://seeds.example")
    boxes = hilum("lots", "labels", "--boxes", "--to", to, "--paper", "letter")

    assert "2 labels" in near.out
    assert "set public_url" in near.out
    assert page.count("<article>") == 2
    assert "<svg" not in page
    assert "no QR code" not in far.out
    assert "1 labels" in boxes.out
    (tmp_path / "data" / "hilum.toml").write_text('public_url = "https://seeds.example/"\n')
    hilum("lots", "labels", "L-0001", "--to", to)
    assert "QR code: https://seeds.example/lots/L-0001" in to.read_text(encoding="utf-8")


def test_lots_and_boxes_are_corrected_and_taken_back(hilum: Run, table: Path) -> None:
    """What is written about a lot, a split, a new lot and a box: each comes back in turn."""
    hilum("lots", "import", table, "--yes")
    assert "Say what to correct" in hilum("lots", "correct", "L-0001").err
    done = hilum("lots", "correct", "L-0001", "--variety", "Night Buoy", "--kind", "pepper")
    assert done.out == "Lot L-0001 corrected.\n"
    assert hilum("lots", "undo", "L-0001").out == "Taken back: Corrected: kind, variety.\n"
    hilum("lots", "split", "L-0001", "--seeds", "20", "--code", "L/1")
    assert hilum("lots", "undo", "L/1").out == "Taken back: Split from lot L-0001.\n"
    assert "L/1" not in hilum("lots", "list").out
    assert "L/1" in hilum("lots", "list", "--archived").out
    hilum("lots", "add", "leek", "--code", "N/1", "--box", "blue-tub")
    assert hilum("lots", "undo", "N/1").out.startswith("Taken back: Added: ")
    assert "Move them first" in hilum("boxes", "archive", "blue-tub").err
    hilum("boxes", "add", "Spare")
    assert hilum("boxes", "archive", "spare").out == "Spare is archived.\n"
    assert hilum("boxes", "undo", "spare").out == "Taken back: Archived.\n"
    assert "nothing to take back" in hilum("boxes", "undo", "spare").err


def test_a_lots_life(hilum: Run, table: Path) -> None:
    """Move, use, test, split, archive and back, each answered in a sentence."""
    hilum("lots", "import", table, "--yes")
    hilum("boxes", "add", "Cold jar", "--type", "jar")

    moved = hilum("lots", "move", "L-0001", "L-0002", "--to", "cold jar", "--wrap", "foil")
    used = hilum("lots", "use", "L-0001", "--seeds", "10")
    tested = hilum("lots", "test", "L-0001", "--sown", "100", "--replicates", "24,23,22,21")
    split = hilum("lots", "split", "L-0001", "--seeds", "5", "--code", "L-1b", "--to", "Blue tub")
    out = hilum("lots", "out", "L-0002")
    archived = hilum("lots", "archive", "L-0002")
    undone = hilum("lots", "undo", "L-0002")

    assert moved.out == "2 lots are now in Cold jar.\n"
    assert used.out == "10 seeds used from lot L-0001.\n"
    assert "90 of 100 came up" in tested.out
    assert split.out == "5 seeds of lot L-0001 are now lot L-1b.\n"
    assert out.out == "Lot L-0002 is now in no box.\n"
    assert archived.out == "Lot L-0002 archived.\n"
    assert undone.out == "Taken back: Archived.\n"
    assert hilum("lots", "list").out.splitlines() == [
        "L-0001\ttomato\tBoatshed Red\t92 %\tcold-jar",
        "L-0002\tonion\tRed Lantern\t90 %\tin no box",
        "L-1b\ttomato\tBoatshed Red\t92 %\tblue-tub",
    ]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ("use L-0001 --seeds 51", 2, "holds 50 seeds"),
        ("use L-0001", 2, "seeds or grams"),
        ("use nope --seeds 1", 3, "no lot “nope”"),
        ("move L-0001 --to attic", 3, "no box “attic”"),
        ("move L-0001 --to blue-tub", 1, "in Blue tub already"),
        ("move L-0001 --to blue-tub --on 2090-01-01", 2, "future"),
        ("move L-0001 --to blue-tub --on soon", 2, "no date"),
        ("test L-0001 --sown 10 --germinated 11", 2, "cannot have come up"),
        ("test L-0001 --sown 10 --replicates a,b", 2, "no counts"),
        ("test L-0001 --sown 10 --germinated 9 --on x", 2, "no date"),
        ("undo L-0002", 3, "nothing to take back"),
        ("add pea --box blue-tub --seeds 1e308", 2, "more than any lot holds"),
        ("add pea --box blue-tub --tested 1023-01-01", 2, "too long ago"),
        ("add pea --box blue-tub --since 2999-01-01", 2, "lies in the future"),
        ("correct L-0001 --seeds 1e308", 2, "more than any lot holds"),
        ("correct L-0001 --grams -5", 2, "at least 0"),
        ("use L-0002 --grams 1e308", 2, "more than any lot holds"),
        ("move L-0001 L-0001 --to blue-tub", 2, "two boxes at once"),
        ("out L-0001 --on 2000-01-01", 1, "give a later time"),
        ("export --to lots.ods", 2, ".csv, .xlsx or .zip"),
        ("export --to /nowhere/lots.csv", 2, "cannot be written"),
        ("labels --to x.html --paper a5", 2, "a4, letter"),
        ("import missing.csv", 2, "no file"),
        ("import /dev/null --yes", 2, "no file"),
        ("import list.csv --dates upside-down", 2, "day-first or month-first"),
        ("import list.csv --unit cups", 2, "one of seeds"),
        ("import list.csv --column Crop", 2, "Crop=variety"),
    ],
)
def test_refusals(hilum: Run, table: Path, words: str, code: int, said: str) -> None:
    """A sentence on standard error, nothing on standard output, and the exit code of its sort."""
    hilum("lots", "import", table, "--yes")
    answer = hilum("lots", *words.replace("list.csv", str(table)).split())

    assert (answer.code, answer.out) == (code, "")
    assert said in answer.err
    assert "Traceback" not in answer.err
