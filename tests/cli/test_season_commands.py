"""``hilum season``, ``use-first``, ``compare`` and ``review``: answers, JSON and exit codes."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

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
    """Each line has its words, lots and packets; what is missing goes into the order file."""
    plan, order = tmp_path / "plan.csv", tmp_path / "order.csv"
    plan.write_text("kind,variety,plants,packet\nOnion,early red,40,200\nlettuce,,50,150\n")
    words = ("season", plan, "--sow-on", "2099-03-01", "--store-as", "freezer")
    answer = shelf(*words, "--to", order, "--json")
    assert answer.code == 0, answer.err
    onion, lettuce = answer.json["lines"]
    assert onion["lots"][0]["code"] == "A"
    assert lettuce["packets"] > 0
    assert answer.json["storage"]["key"] == "freezer"
    assert "-18 °C" in answer.json["assumptions"][0]
    rows = order.read_text(encoding="utf-8").splitlines()
    assert rows[0].startswith("kind,variety,packets")
    assert [row.split(",")[0] for row in rows[1:]] == [
        line["common"] for line in (onion, lettuce) if line["packets"] != 0
    ]
    said = shelf(*words, "--save", "Spring").out
    assert "To order:" in said
    assert "Lettuce (any), 50 plants" in said


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


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ("season none.csv --sow-on 2099-01-01", 3, "no file"),
        ("season plan.csv --sow-on spring", 2, "no date"),
        ("season plan.csv --sow-on 2099-01-01 --store-as cellar", 2, "no way of keeping"),
        ("season plan.csv --sow-on 2099-01-01 --temp 10", 2, "both a temperature"),
        ("season plan.csv --sow-on 2099-01-01 --to order.doc", 2, ".csv"),
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
