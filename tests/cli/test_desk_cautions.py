"""What ``hilum desiccant`` and ``hilum moisture`` say of seed that is not dried, and of dyes."""

from collections.abc import Callable
from typing import Any

import pytest

Run = Callable[..., Any]


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("avocado", "its seed dies when it dries"),
        ("oak", "its seed dies when it dries"),
        ("coffee", "bears drying only in part"),
        ("garlic", "storage organ"),
    ],
)
def test_seed_that_dies_when_dried_gets_no_grams(hilum: Run, kind: str, words: str) -> None:
    """Recalcitrant and intermediate seed and storage organs are refused, with the reason."""
    answer = hilum("desiccant", "--seed-grams", "100", "--kind", kind)
    assert answer.code == 2
    assert words in answer.err
    assert words in hilum("moisture", "--kind", kind, "--rh", "30", "--temp", "20").out


def test_seed_of_unknown_behaviour_gets_a_caution(hilum: Run) -> None:
    """Watercress is listed as recalcitrant by some: grams with a caution, in words and in JSON."""
    words = ("desiccant", "--seed-grams", "100", "--kind", "watercress")
    assert "dry none you cannot spare" in hilum(*words).out
    assert any("is not known" in each for each in hilum(*words, "--json").json["cautions"])


def test_dry_seed_needs_none(hilum: Run) -> None:
    """Seed at 20 % that is to be held at 30 % needs no desiccant: said, not "about 0 g"."""
    words = ("desiccant", "--seed-grams", "500", "--kind", "onion", "--from-rh", "20")
    answer = hilum(*words, "--target-rh", "30")
    assert "None is needed" in answer.out
    assert "0 g" not in answer.out.splitlines()[1]


def test_dyed_beads_do_not_go_into_a_hot_oven(hilum: Run) -> None:
    """Zeolite is dried at 250 °C, and orange dye breaks down above 120 °C (recalled): both said."""
    told = hilum("desiccant", "--seed-grams", "100", "--oil", "20", "--use", "zeolite")
    dyed = hilum(
        *("desiccant", "--seed-grams", "100", "--oil", "20", "--use", "zeolite"),
        *("--indicator", "orange"),
    )
    assert "No dye bears such heat" in dyed.out
    assert "harmful" in dyed.out
    assert "dye" not in told.out


def test_cobalt_is_warned_of(hilum: Run) -> None:
    """Blue gel: what it may do, and not near seed that will be eaten (ECHA, IARC, as quoted)."""
    told = hilum("desiccant", "--seed-grams", "100", "--oil", "20", "--indicator", "blue").out
    assert "may cause cancer and harm fertility" in told
    assert "seed that will be eaten" in told
    assert "blue again" in told
