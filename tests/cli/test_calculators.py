"""``hilum moisture`` and ``hilum loss``: figures, JSON and exit codes."""

from collections.abc import Callable
from typing import Any

import pytest

MOISTURE_FIELDS = {
    "mc_wet_pct", "mc_dry_pct", "erh_pct", "uncertainty_pct", "isotherm", "source", "status",
    "notes",
}  # fmt: skip
LOSS_FIELDS = {
    "sigma_days", "loss_probits", "viability_pct", "viability_low_pct", "viability_high_pct",
    "p50_days", "basis", "factor", "source", "status", "notes",
}  # fmt: skip
Run = Callable[..., Any]


def test_moisture_from_humidity_by_oil(hilum: Run) -> None:
    """Oil 20 %, 30 % RH, 20 °C: 7.5796 dry, 7.0456 wet basis.

    Computed from the formula of Cromarty, Ellis & Roberts 1982, to four decimals.
    """
    answer = hilum("moisture", "--oil", "20", "--rh", "30", "--temp", "20", "--json")

    assert answer.code == 0
    assert set(answer.json) == MOISTURE_FIELDS
    assert answer.json["mc_dry_pct"] == pytest.approx(7.5796, abs=5e-5)
    assert answer.json["mc_wet_pct"] == pytest.approx(7.0456, abs=5e-5)


def test_moisture_back_to_humidity(hilum: Run) -> None:
    """What came from 50 % humidity goes back to it."""
    there = hilum("moisture", "--kind", "onion", "--rh", "50", "--temp", "18", "--json").json
    back = hilum(
        "moisture", "--kind", "Onions", "--mc", repr(there["mc_wet_pct"]), "--temp", "18", "--json"
    ).json

    assert back["erh_pct"] == pytest.approx(50.0, abs=1e-6)


def test_loss_of_wheat_by_the_published_constants(hilum: Run) -> None:
    """Wheat (Ellis & Hong 2007), 12 %, 20 °C, 365 d from 99 %: sigma 284.1054 d, 85.119 %.

    Arithmetic done apart from this program.
    """
    answer = hilum(
        *("loss", "--kind", "wheat", "--mc", "12", "--temp", "20"),
        *("--days", "365", "--from", "99", "--json"),
    )

    assert answer.code == 0
    assert set(answer.json) == LOSS_FIELDS
    assert answer.json["sigma_days"] == pytest.approx(284.1054, rel=1e-6)
    assert answer.json["loss_probits"] == pytest.approx(365 / 284.1054, rel=1e-6)
    assert answer.json["viability_pct"] == pytest.approx(85.119, abs=5e-3)
    assert answer.json["p50_days"] == pytest.approx(2.3263 * 284.1054, rel=1e-4)
    low, high = answer.json["viability_low_pct"], answer.json["viability_high_pct"]
    assert low < answer.json["viability_pct"] < high


def test_years_are_days(hilum: Run) -> None:
    """A year counts 365.25 days."""
    words = ("loss", "--kind", "pea", "--rh", "30", "--temp", "15", "--from", "95", "--json")

    by_years = hilum(*words, "--years", "2").json
    by_days = hilum(*words, "--days", "730.5").json

    assert by_years == by_days


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("moisture --oil 20 --rh 140 --temp 20", "relative humidity"),
        ("moisture --oil 20 --rh 30 --temp 90", "temperature"),
        ("moisture --oil 95 --rh 30 --temp 20", "oil"),
        ("moisture --kind onoin-flavoured-thing --rh 30 --temp 20", "onoin"),
        ("loss --kind oak --rh 30 --temp 20 --days 9 --from 90", "dies when it dries"),
        ("loss --kind onion --rh 30 --temp 20 --days -9 --from 90", "time in store"),
        ("loss --kind onion --rh 30 --temp 20 --days 9 --from 190", "germination"),
        ("loss --kind onion --rh nan --temp 20 --days 9 --from 90", "number"),
    ],
)
def test_outside_what_can_be_answered(hilum: Run, words: str, said: str) -> None:
    """Exit code 3 and one sentence on standard error; nothing on standard output."""
    answer = hilum(*words.split())

    assert (answer.code, answer.out) == (3, "") if "nan" not in words else (2, "")
    assert said.lower() in answer.err.lower()
    assert "Traceback" not in answer.err


@pytest.mark.parametrize(
    "words",
    [
        "moisture --rh 30 --temp 20",
        "moisture --kind onion --oil 20 --rh 30 --temp 20",
        "moisture --kind onion --rh 30 --mc 7 --temp 20",
        "moisture --kind onion --rh thirty --temp 20",
        "loss --kind onion --rh 30 --temp 20 --from 90",
        "loss --kind onion --rh 30 --temp 20 --from 90 --days 1 --years 1",
        "loss --rh 30 --temp 20 --from 90 --days 1",
        "nonsense",
    ],
)
def test_wrong_use(hilum: Run, words: str) -> None:
    """Exit code 2, with what is wrong on standard error."""
    answer = hilum(*words.split())

    assert answer.code == 2
    assert answer.err.strip()
    assert "Traceback" not in answer.err
