"""``hilum desiccant`` and ``hilum salts``: figures, JSON and exit codes."""

from collections.abc import Callable
from typing import Any

import pytest

Run = Callable[..., Any]


def test_grams_for_the_worked_example(hilum: Run) -> None:
    """1 kg of starchy seed from 60 to 20 % at 20 °C: 65.6 g of water, 742 g of gel from 2 %.

    Computed by hand from Cromarty, Ellis & Roberts 1982 and Schawe 2000.
    """
    words = ("desiccant", "--seed-grams", "1000", "--oil", "2", "--from-rh", "60")
    answer = hilum(*words, "--target-rh", "20", "--temp", "20", "--json")

    assert answer.code == 0
    assert answer.json["seed_water_g"] == pytest.approx(65.6, abs=0.05)
    assert answer.json["grams"] == pytest.approx(742, abs=1)
    assert answer.json["grams_low"] < 742 < answer.json["grams_high"]
    assert answer.json["oven"]["highest_c"] == 149
    assert answer.json["status"] == "read coefficients"


def test_grams_for_leaks_alone(hilum: Run) -> None:
    """10.85 g of water to 20 % need 100 g of dry gel, 122.6 g from 2 %: by hand."""
    words = ("desiccant", "--months", "1", "--ingress", repr(10.85 / 30.44), "--target-rh", "20")
    answer = hilum(*words, "--json")

    assert answer.json["ingress_g"][1] == pytest.approx(10.85)
    assert answer.json["grams"] == pytest.approx(10.85 / (0.1085 - 0.02), rel=2e-3)


def test_box_by_default_has_a_range_of_leaks(hilum: Run) -> None:
    """A gasketed box changes its air 0.1 to 1 times a day, so its water spans a factor of ten."""
    words = ("desiccant", "--seed-grams", "300", "--kind", "onion", "--months", "6")
    low, _, high = hilum(*words, "--volume", "20", "--json").json["ingress_g"]
    told = hilum(*words, "--volume", "20").out

    assert high / low == pytest.approx(10.0)
    assert "memory (low)" in told
    assert "Onion" in told
    assert "149 °C" in told


def test_orange_gel_and_zeolite_are_warned_of(hilum: Run) -> None:
    """Orange gel stays at or below 120 °C; zeolite beside seed is a matter for the sensor."""
    seed = ("desiccant", "--seed-grams", "100", "--oil", "20")
    assert "At most 120 °C" in hilum(*seed, "--indicator", "orange").out
    zeolite = hilum(*seed, "--use", "zeolite").out
    assert "go by the sensor" in zeolite
    assert "250 °C" in zeolite


def test_list_of_salts(hilum: Run) -> None:
    """Eight salts at 25 °C, lithium chloride 11.30 to potassium sulphate 97.30 (Greenspan 1977)."""
    found = hilum("salts", "--temp", "25", "--json").json["salts"]

    assert len(found) == 8
    assert (found[0]["salt"], found[0]["rh_pct"]) == ("LiCl", 11.30)
    assert (found[-1]["salt"], found[-1]["rh_pct"]) == ("K2SO4", 97.30)
    assert "NaCl" in hilum("salts").out


def test_two_salts_correct_a_sensor(hilum: Run) -> None:
    """Readings of 13.4 and 74.0 are led to 11.31 and 75.47 at 20 °C (Greenspan 1977)."""
    words = ("salts", "--salt", "LiCl", "--salt", "table salt", "--temp", "20")
    readings = ("--read-low", "13.4", "--read-high", "74")
    line = hilum(*words, *readings, "--json").json["correction"]

    assert line["gain"] * 13.4 + line["offset_pct"] == pytest.approx(11.31)
    assert line["gain"] * 74.0 + line["offset_pct"] == pytest.approx(75.47)
    assert "harmful if swallowed" in hilum(*words, *readings).out


def test_one_salt_gives_an_offset(hilum: Run) -> None:
    """77.0 over table salt at 25 °C (75.29, Greenspan 1977) is 1.71 too high."""
    answer = hilum("salts", "--salt", "NaCl", "--temp", "25", "--read", "77", "--json")
    assert answer.json["correction"]["offset_pct"] == pytest.approx(-1.71)


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ("salts --salt NaCl --temp 40", 3, "temperature"),
        ("salts --salt pepper", 3, "pepper"),
        ("salts --salt NaCl --read-low 20", 2, "together"),
        ("salts --salt NaCl --read-low 20 --read-high 80", 2, "two --salt"),
        ("salts --read 75", 2, "one --salt"),
        ("salts --salt LiCl --salt NaCl --read-low 70 --read-high 20", 3, "gain"),
        ("desiccant --seed-grams 100", 2, "--kind or --oil"),
        ("desiccant --seed-grams 100 --kind onion --oil 5", 2, "not both"),
        ("desiccant --seed-grams -5 --oil 5", 2, "below 0"),
        ("desiccant --seed-grams nan --oil 5", 2, "number"),
        ("desiccant --seed-grams 100 --oil 95", 3, "oil"),
        ("desiccant --seed-grams 100 --oil 5 --target-rh 90", 3, "target"),
        ("desiccant --months 3 --box-type chest", 2, "--box-type"),
        ("desiccant --seed-grams 100 --oil 5 --use flour", 3, "flour"),
        ("desiccant --seed-grams 100 --oil 5 --indicator purple", 3, "purple"),
    ],
)
def test_what_cannot_be_answered(hilum: Run, words: str, code: int, said: str) -> None:
    """Wrong use is 2, outside what is known 3: one sentence on standard error, nothing else."""
    answer = hilum(*words.split())

    assert (answer.code, answer.out) == (code, "")
    assert said in answer.err
    assert "Traceback" not in answer.err
