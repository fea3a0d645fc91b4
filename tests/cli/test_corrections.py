"""Correcting sensors by command."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]


@pytest.fixture
def corrected(hilum: Run, tmp_path: Path) -> Run:
    """Run ``hilum`` where a sensor has sent 20 °C and 40 % in January."""
    path = tmp_path / "logger.csv"
    path.write_text("time,temperature,humidity\n2026-01-20T00:00Z,20,40\n", encoding="utf-8")
    hilum("readings", "import", path)
    return hilum


def test_two_salts_correct_what_is_shown(corrected: Run, tmp_path: Path) -> None:
    """MgCl2 33.07 and NaCl 75.47 % at 20 °C (Greenspan 1977) read as 35 and 88 make 40 37.1 %."""
    answer = corrected(
        *("sensors", "correct", "logger", "--since", "2026-01-15", "--temp", "20"),
        *("--salt-low", "MgCl2", "--read-low", "35", "--salt-high", "NaCl", "--read-high", "88"),
    )
    assert answer.code == 0, answer.err
    assert "damp slurry" in answer.out
    assert "Greenspan 1977" in answer.out
    shown = corrected("sensors", "list").out
    assert "20.0 °C, 37.1 % RH (itself it says 20.0 °C, 40.0 % RH)" in shown
    (kept,) = corrected("sensors", "corrections", "--json").json["corrections"]
    assert (kept["rh_gain"], kept["rh_offset_pct"]) == pytest.approx((0.8, 5.07))
    assert kept["how"] == (
        "read 35 % over MgCl2 (33.1 ± 0.2 %), read 88 % over NaCl (75.5 ± 0.1 %) at 20 °C"
    )
    out = tmp_path / "out.csv"
    assert corrected("readings", "export", "home/logger", "--to", out).code == 0
    exported = out.read_text(encoding="utf-8")
    assert ",40" in exported
    assert "37.07" not in exported


def test_offsets_and_taking_back(corrected: Run) -> None:
    """Offsets are listed with their note; taken back, the sensor's own values are shown again."""
    words = ("sensors", "correct", "logger", "--since", "2026-01-15")
    answer = corrected(*words, "--temp-offset", "-0.5", "--rh-offset", "2", "--note", "by the door")
    assert answer.code == 0, answer.err
    assert "19.5 °C, 42.0 % RH (itself" in corrected("sensors", "list").out
    assert "temperature −0.5 °C, humidity +2.0 %\tby the door" in (
        corrected("sensors", "corrections").out
    )
    assert corrected("sensors", "uncorrect", "1").code == 0
    assert "No sensor is corrected" in corrected("sensors", "corrections").out
    assert "itself" not in corrected("sensors", "list").out


def test_lithium_chloride_comes_with_its_caution(corrected: Run) -> None:
    """What is harmful is said where it is used, and one salt is said to be right there only."""
    words = ("sensors", "correct", "logger", "--since", "2026-01-15", "--temp", "20")
    answer = corrected(*words, "--salt", "LiCl", "--read", "13")
    assert "harmful if swallowed" in answer.out
    assert "Right near 11 % only" in answer.out


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ("--salt NaCl --temp 20", 2, "--salt and --read together"),
        ("--salt-low LiCl --read-low 12 --temp 20", 2, "--salt-low and --salt-high"),
        ("--salt NaCl --read 77", 2, "Give --temp"),
        ("--rh-offset 1 --salt NaCl --read 77 --temp 20", 2, "not both"),
        ("--temp 20", 2, "--temp-offset"),
        ("--rh-offset 21", 2, "between -20 and 20"),
        ("--temp-offset nan", 2, "between -10 and 10"),
        ("--salt-low LiCl --read-low 70 --salt-high NaCl --read-high 20 --temp 20", 3, "gain"),
        ("--salt-low NaCl --read-low 75 --salt-high KCl --read-high 85 --temp 20", 3, "distance"),
        ("--salt pepper --read 70 --temp 20", 3, "pepper"),
        ("", 2, "temperature, humidity or both"),
    ],
)
def test_what_cannot_be_corrected(corrected: Run, words: str, code: int, said: str) -> None:
    """Contradictions and absurd corrections are refused in a sentence, and nothing is kept."""
    answer = corrected(*("sensors", "correct", "logger", "--since", "2026-01-15"), *words.split())
    assert (answer.code, answer.out) == (code, "")
    assert said in answer.err
    assert "Traceback" not in answer.err
    assert corrected("sensors", "corrections", "--json").json == {"corrections": []}
