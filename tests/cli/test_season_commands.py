"""``hilum season``, ``use-first``, ``compare`` and ``review``: answers, JSON and exit codes."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

Run = Callable[..., Any]


@pytest.fixture
def shelf(hilum: Run) -> Run:
    """A data folder with a box and two lots in it."""
    for words in (
        ["boxes", "add", "Blue tub"],
        ["lots", "add", "onion", "--box", "blue-tub", "--germination", "91", "--code", "A",
         "--tested", "2026-01-10", "--variety", "Early Red"],
        ["lots", "add", "oak", "--box", "blue-tub", "--code", "B"],
    ):  # fmt: skip
        answer = hilum(*words)
        assert answer.code == 0, answer.err
    return hilum


def test_season_answers_every_line(shelf: Run, tmp_path: Path) -> None:
    """Each line has its lots with a decision; what is missing goes into the order file."""
    plan, order = tmp_path / "plan.csv", tmp_path / "order.csv"
    plan.write_text("kind,variety,plants,packet\nOnion,early red,40,200\nlettuce,,50,150\n")
    words = ("season", "--sow", "2099-03-01", "--plan", plan, "--store-as", "freezer")
    answer = shelf(*words, "--to", order, "--json")
    assert answer.code == 0, answer.err
    onion, lettuce = answer.json
    assert (onion["lot"], onion["kind"], onion["variety"]) == ("A", "onion", "Early Red")
    band = onion["germination_pct"]
    assert 0 <= band["low"] < band["median"] < band["high"] <= 100
    assert onion["decision"] in {"sow", "sow thicker", "test first", "replace"}
    assert onion["seeds_to_sow"] == 0 or onion["sow_factor"] > 0
    assert onion["reason"]
    assert (lettuce["lot"], lettuce["decision"]) == (None, "replace")
    assert lettuce["packets_to_order"] > 0
    assert "-18 °C" in onion["assumed"][0]
    rows = order.read_text(encoding="utf-8-sig").splitlines()
    assert rows[0].startswith('"Kind","Variety","Packets"')
    assert [row.split(",")[0] for row in rows[1:]] == [
        f'"{line["common_name"]}"' for line in (onion, lettuce) if line["packets_to_order"] != 0
    ]
    said = shelf(*words, "--save", "Spring").out
    assert "To order:" in said
    assert "Lettuce (any), 50 plants" in said


def test_season_without_a_plan_goes_through_all_varieties(shelf: Run) -> None:
    """Each variety there is, for fifty plants; there is no such plan to keep."""
    found = shelf("season", "--sow", "2099-03-01", "--json").json
    assert {(each["lot"], each["variety"], each["plants_wanted"]) for each in found} == {
        ("A", "Early Red", 50),
        ("B", "", 50),
    }
    assert "no plan to keep" in shelf("season", "--sow", "2099-03-01", "--save", "x").err


def test_the_order_as_a_workbook(shelf: Run, tmp_path: Path) -> None:
    """Headings stay in sight, columns are wide enough, and a formula in a variety is text."""
    plan, order = tmp_path / "plan.csv", tmp_path / "order.xlsx"
    plan.write_text("kind,variety,plants\nlettuce,=2+5,50\nonion,Early Red,5\n")
    answer = shelf("season", plan, "--sow-on", "2099-03-01", "--to", order)
    assert answer.code == 0, answer.err
    book = load_workbook(order)
    assert book.sheetnames == ["To order", "To sow", "To test", "Taken for granted"]
    first, sow = book["To order"], book["To sow"]
    assert first.freeze_panes == "A2"
    assert [cell.value for cell in first[1]][:3] == ["Kind", "Variety", "Packets"]
    assert first["A1"].font.bold
    assert (first["B2"].value, first["B2"].data_type) == ("'=2+5", "s")
    for sheet in book:
        for letter, column in zip("ABCDEFGHI", sheet.columns, strict=False):
            longest = max(len(str(cell.value or "")) for cell in column)
            width = sheet.column_dimensions[letter].width
            assert width >= min(longest, 60)
    lots = [row[3].value for row in sow.iter_rows(min_row=2)]
    assert lots == [None, "A"]


def test_use_first_lists_all_lots(shelf: Run) -> None:
    """Every lot has a group and a reason; one without a life model comes last."""
    found = shelf("use-first", "--json").json["lots"]
    assert [each["code"] for each in found] == ["A", "B"]
    assert found[1]["group"] == "nothing known"
    assert found[0]["words"] in shelf("use-first").out


def test_compare_a_lot_and_a_box(shelf: Run) -> None:
    """Ways of keeping side by side; the freezer is ruled out for acorns."""
    lot = shelf("compare", "--lot", "A", "--temp", "10", "--rh", "40", "--json").json
    assert [each["key"] for each in lot["choices"]] == [
        *("recent", "shelf", "fridge", "freezer", "gel", "given")
    ]
    box = shelf("compare", "--box", "blue-tub", "--json").json
    freezer = box["lots"][1]["choices"][3]
    assert "Never freeze it" in freezer["ruled_out"]
    assert "Blue tub: 2 lots" in shelf("compare", "--box", "blue-tub").out
    assert "In a fridge at 5 °C" in shelf("compare", "--lot", "A").out


def test_review_of_a_box_without_readings(shelf: Run) -> None:
    """It says so, with and without the year before."""
    words = ("review", "--box", "blue-tub", "--from", "2026-01-01", "--against-year")
    answer = shelf(*words, "--json")
    assert answer.code == 0, answer.err
    assert answer.json["hours_read"] == answer.json["before"]["hours_read"] == 0
    assert answer.json["from"].startswith("2026-01-01") or answer.json["from"].startswith("2025-12")
    assert "There are no readings from this time." in shelf(*words).out
    assert "hours in the target band: not known, before not known" in shelf(*words).out


def test_a_review_begins_on_the_day_asked_for(shelf: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Days are those of the place: midnight in Brussels is the evening before in UTC."""
    monkeypatch.setenv("HILUM_TIME_ZONE", "Europe/Brussels")
    said = shelf("review", "--box", "blue-tub", "--from", "2026-03-01", "--to", "2026-09-01").out
    assert said.startswith("Blue tub, 2026-03-01 to 2026-09-01\n")
    assert "silent from 2026-03-01 00:00 to 2026-09-01 00:00\n" in said


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ("season none.csv --sow-on 2099-01-01", 3, "no file"),
        ("season plan.csv --sow-on spring", 2, "no date"),
        ("season plan.csv --sow-on 2099-01-01 --store-as cellar", 2, "no way of keeping"),
        ("season plan.csv --sow-on 2099-01-01 --temp 10", 2, "both a temperature"),
        ("season plan.csv --sow-on 2099-01-01 --to order.doc", 2, ".csv or .xlsx"),
        ("season plan.csv --sow 2099-01-01 --plan plan.csv", 2, "once"),
        ("compare", 2, "lot or a box"),
        ("compare --lot Z", 3, "no lot"),
        ("compare --box z", 3, "no box"),
        ("review --box z --from 2026-01-01", 3, "no box"),
        ("review --box blue-tub --from 2026-02-01 --to 2026-01-01", 2, "end after it begins"),
    ],
)
def test_wrong_use_is_named(shelf: Run, tmp_path: Path, words: str, code: int, said: str) -> None:
    """One sentence on standard error, nothing on standard output, and the right exit code."""
    (tmp_path / "plan.csv").write_text("kind,plants\nonion,5\n")
    given = (tmp_path / word if word.endswith(".csv") else word for word in words.split())
    answer = shelf(*given)
    assert (answer.code, answer.out) == (code, "")
    assert said in answer.err
    assert "Traceback" not in answer.err
