"""``hilum kinds``, ``hilum freeze`` and ``hilum germination``: words, JSON and exit codes."""

from collections.abc import Callable
from typing import Any

import pytest
from scipy import stats

Run = Callable[..., Any]


def test_a_kind_is_shown_with_its_sources(hilum: Run) -> None:
    """Parsnip: 60 % (7 CFR 201.31), 2.33 g a thousand (201.46), sealed at 6 % (201.36c)."""
    told = hilum("kinds", "parsnips").out
    facts = hilum("kinds", "Pastinaca sativa", "--json").json["facts"]

    assert "treated seed" in told.lower()
    assert facts["minimum germination"]["value"] == "60 %"
    assert "7 CFR 201.31" in facts["minimum germination"]["source"]
    assert facts["1,000 seeds weigh"]["value"] == "2.33 g"
    assert facts["most moisture to seal it"]["value"] == "6 % of fresh weight"
    assert "factor of 8" in facts["life"]["value"]
    assert facts["drying and freezing"]["value"].startswith("can be dried and frozen")
    for fact in facts.values():
        assert fact["source"]
        assert fact["status"] in {"read", "memory", "derived", "computed"}
        assert f"{fact['source']} ({fact['status']})" in told


def test_poisonous_seed_and_seed_that_dies_when_dried_are_warned_of(hilum: Run) -> None:
    """Castor bean: very few seeds can kill; acorns: not to be dried, and no life in a box."""
    assert "very few seeds can kill" in hilum("kinds", "castor bean").out
    oak = hilum("kinds", "oak").out
    assert "its seed dies when it dries" in oak
    assert "cannot be worked out" in oak
    assert "most moisture to seal it" not in oak


@pytest.mark.parametrize(
    ("kind", "words"),
    [("coffee", "only in part"), ("oak", "dies when"), ("garlic", "organ"), ("watercress", "not")],
)
def test_drying_and_freezing_are_told_in_words(hilum: Run, kind: str, words: str) -> None:
    """Each way seed may behave has its words, beside the term of the trade."""
    facts = hilum("kinds", kind, "--json").json["facts"]
    assert words in facts["drying and freezing"]["value"]


def test_all_kinds_are_listed(hilum: Run) -> None:
    """Without a name every kind of the table has a line, and its key in JSON."""
    listed = hilum("kinds", "--json").json["kinds"]
    assert len(listed) > 300
    assert {"kind": "onion", "name": "Onion", "botanical": "Allium cepa"} in listed
    assert len(hilum("kinds").out.splitlines()) == len(listed)


def test_a_name_that_could_be_several_is_not_guessed(hilum: Run) -> None:
    """The name bean fits several kinds: exit code 3, and the choice."""
    answer = hilum("kinds", "bean")
    assert answer.code == 3
    assert "Broad bean" in answer.err


@pytest.mark.parametrize(
    ("kind", "moisture", "verdict", "may_seal"),
    [
        ("onion", "6", "may be frozen", True),  # 24 % at 20 °C, limits 8 and 6.5 %
        ("onion", "7.5", "fridge yes, freezer not yet", False),
        ("onion", "10", "do not freeze", False),
        ("onion", "12", "dry now", False),
        ("coffee", "8", "never freeze", False),
        ("garlic", "8", "never freeze", False),
        ("watercress", "5", "never freeze", False),
    ],
)
def test_freezing_and_sealing(
    hilum: Run, kind: str, moisture: str, verdict: str, *, may_seal: bool
) -> None:
    """The careful rule on humidity at 20 °C, and 7 CFR 201.36c for sealing, both in one answer."""
    answer = hilum("freeze", "--kind", kind, "--mc", moisture, "--json").json
    assert answer["verdict"] == verdict
    assert answer["may_seal"] is may_seal
    told = hilum("freeze", "--kind", kind, "--mc", moisture).out
    assert answer["words"] in told
    assert answer["sealing_words"] in told


def test_cautions_go_with_every_verdict_that_allows_the_cold(hilum: Run) -> None:
    """Even seed, an airtight container, a day closed on taking it out."""
    told = hilum("freeze", "--kind", "lettuce", "--rh", "25").out
    assert "May be frozen".lower() in told.lower()
    for words in ("two weeks closed", "airtight", "leave it closed for a day"):
        assert words in told


def test_humidity_read_in_the_warm_is_told_at_20_degrees(hilum: Run) -> None:
    """31 % at 25 °C is about 29 % at 20 °C for the same moisture (computed in the reference)."""
    answer = hilum("freeze", "--kind", "onion", "--rh", "31", "--temp", "25", "--json").json
    assert answer["erh_pct"] == pytest.approx(29.0, abs=0.3)
    assert answer["verdict"] == "may be frozen"


def test_freezing_needs_humidity_or_moisture(hilum: Run) -> None:
    """Neither, or both, is wrong use."""
    assert hilum("freeze", "--kind", "onion").code == 2
    assert hilum("freeze", "--kind", "onion", "--rh", "30", "--mc", "6").code == 2


@pytest.mark.parametrize(("up", "sown"), [(17, 20), (0, 4), (100, 100), (5, 10)])
def test_a_count_has_the_range_of_the_beta_distribution(hilum: Run, up: int, sown: int) -> None:
    """Median and 90 % range are those of scipy.stats.beta, to half a point."""
    answer = hilum("germination", "--sown", str(sown), "--up", str(up), "--json").json
    expected = 100.0 * stats.beta(up + 1, sown - up + 1).ppf([0.05, 0.5, 0.95])
    found = [answer["germination_pct"][name] for name in ("low", "median", "high")]
    assert found == pytest.approx(list(expected), abs=0.5)
    for second in answer["second_test"]:
        n = sown + second["seeds"]
        x = up * n / sown
        ends = 100.0 * stats.beta(x + 1, n - x + 1).ppf([0.05, 0.95])
        assert [second["low"], second["high"]] == pytest.approx(list(ends), abs=0.5)


def test_how_many_more_seeds_settle_it(hilum: Run) -> None:
    """17 of 20: 100 more leave 78–89 %, over ten points; 200 more are enough (scipy's beta)."""
    words = ("germination", "--sown", "20", "--up", "17")
    assert hilum(*words, "--json").json["settled_by_seeds"] == 200
    told = hilum(*words).out
    assert "about 83 %" in told
    assert "200 more seeds" in told
    assert "cannot tell" in told
    assert "never food" in told


def test_impossible_counts_are_refused(hilum: Run) -> None:
    """More up than sown, or none sown: exit code 3 and a sentence."""
    for sown, up in (("4", "5"), ("0", "0"), ("10", "-1")):
        answer = hilum("germination", "--sown", sown, "--up", up)
        assert answer.code == 3
        assert "must lie between" in answer.err
