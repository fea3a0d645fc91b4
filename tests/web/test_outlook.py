"""What the page of a lot says of its life, case by case."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from hilum.domain.model import MS_PER_DAY, Lot
from hilum.keeping.lots.losses import LotLoss
from hilum.keeping.lots.lossparts import LossParts
from hilum.keeping.lots.outlook import LotOutlook, Minimum
from hilum.science.kinds import kind
from hilum.science.posterior import Band
from hilum.science.surrogates import basis_for
from hilum.web.views.format import Style
from hilum.web.views.outlook import (
    budget,
    cautions,
    coverage,
    headline,
    how_tested,
    made,
    prospect,
    sources,
    viability,
)
from web.small_world import NOW_MS

STYLE = Style(ZoneInfo("UTC"))
LOSS = LotLoss(
    "L-1",
    NOW_MS,
    observed_probit=0.3,
    unobserved_probit=0.1,
    unobserved_days=200.4,
    covered_s=400 * 86_400.0,
    estimated_s=3 * 86_400.0,
    wet_s=0.0,
    mc_wet_pct=8.2,
    erh_pct=41.0,
    basis=basis_for(kind("onion")),
    factor=4.0,
    notes=("A note.",),
)
OUTLOOK = LotOutlook(
    Lot("L-1", "onion"),
    kind("onion"),
    NOW_MS,
    LOSS,
    now=Band(83.4, 71.0, 90.6),
    minimum=Minimum(70.0, "a rule", "read"),
    prob_below=0.04,
    budget_probit=0.9,
    spent_share=0.4,
    burn_share=0.021,
    reached_ms=NOW_MS + 700 * MS_PER_DAY,
    earliest_ms=NOW_MS + 200 * MS_PER_DAY,
    notes=("A note.",),
)
PARTS = LossParts(before_probit=0.1, measured_probit=0.2, estimated_probit=0.1)


def test_viability_is_a_figure_with_its_band() -> None:
    """No decimals of false certainty."""
    assert headline(OUTLOOK) == "About 83\xa0% now (71–91\xa0%)."
    shown = viability(OUTLOOK)
    assert shown is not None
    assert shown.label == "about 83\xa0% (71–91\xa0%); minimum 70\xa0%"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, "it falls under its minimum of 70 % about 2027-10, perhaps as early as 2026-06."),
        ({"earliest_ms": None}, "about 2027-10, perhaps already (chance 4 %)."),
        ({"reached_ms": None}, "stays above its minimum of 70 % for longer than can be told."),
        ({"reached_ms": NOW_MS + 4000 * MS_PER_DAY}, "about 2036, perhaps"),
        (
            {"now": Band(60.0, 40.0, 75.0), "prob_below": 0.81},
            "It is probably under its minimum of 70 % already (chance 81 %).",
        ),
        (
            {"now": Band(20.0, 10.0, 30.0), "prob_below": 1.0},
            "already (chance over 99 %).",
        ),
    ],
)
def test_the_prospect_names_dates_as_well_as_they_are_known(
    changes: dict[str, object], words: str
) -> None:
    """A month when near, a year when far, a chance when it may be past."""
    told = prospect(replace(OUTLOOK, **changes), STYLE)  # type: ignore[arg-type]
    assert told.replace("\xa0", " ").endswith(words) or words in told.replace("\xa0", " ")


def test_the_budget_is_split_by_where_it_went() -> None:
    """Of 40 % spent, a quarter before the first box and half measured: 10, 20 and 10."""
    found = budget(OUTLOOK, PARTS)
    assert found is not None
    assert found.spent == "40\xa0%"
    assert [(s.words, s.left, s.width) for s in found.shares] == [
        ("25\xa0%", 0.0, 10.0),
        ("50\xa0%", 10.0, 20.0),
        ("25\xa0%", 30.0, 10.0),
    ]
    assert found.label.startswith("40\xa0% spent: 25\xa0% of it before its first box")
    assert found.burn.endswith("2.1\xa0% more goes in thirty days.")


def test_a_spent_budget_is_full_and_burns_no_further() -> None:
    """More than all is all, and the bar does not leave its frame."""
    found = budget(replace(OUTLOOK, spent_share=2.3), PARTS)
    assert found is not None
    assert (found.spent, found.burn) == ("All", "")
    assert found.shares[-1].left + found.shares[-1].width == 100.0


def test_no_budget_without_a_figure() -> None:
    """A lot that began under its minimum has none."""
    assert budget(replace(OUTLOOK, spent_share=None), PARTS) is None


def test_wet_hours_are_told_before_the_figure() -> None:
    """They are not in the loss, and that stands first."""
    wet = replace(OUTLOOK, loss=replace(LOSS, wet_s=14 * 3600.0))
    assert cautions(wet) == (
        "It was too wet for 14\xa0hours. What that cost is not known and not in this figure.",
    )
    assert cautions(OUTLOOK) == ()
    assert [fact.text for fact in coverage(wet.loss)][-1] == "14\xa0h, not in the loss"


def test_a_lot_without_a_model_tells_why_and_nothing_else() -> None:
    """No figure is shown that would be invented."""
    bare = LotOutlook(Lot("L-1", "garlic"), None, NOW_MS, LotLoss("L-1", NOW_MS), notes=("Why.",))
    assert headline(bare) == "How much of it is alive cannot be worked out."
    assert cautions(bare) == ("Why.",)
    assert (prospect(bare, STYLE), viability(bare), budget(bare, None), made(bare, "paper")) == (
        "",
        None,
        None,
        (),
    )


def test_what_the_figure_is_made_of_carries_source_and_status() -> None:
    """Constants, factor, isotherm, minimum, wrap and coverage."""
    facts = {fact.label: fact for fact in made(OUTLOOK, "paper")}
    assert facts["Constants"].text == "its own constants, published"
    assert facts["Constants"].note == "quoted from memory, not looked up again"
    assert facts["May be off by"].text == "a factor of 4 either way"
    assert facts["Moisture by"].text == "the general isotherm with 24\xa0% oil"
    assert facts["Minimum"].note == "looked up where it was published"
    assert facts["Measured"].text == "400\xa0days"
    assert facts["Measured"].note == "3\xa0days bridged"
    assert facts["Not measured"].text == "200\xa0days"
    assert facts["Seed now"].text == "8\xa0% moisture"


def test_what_can_harm_is_said_first_and_how_to_test_is_sourced() -> None:
    """A poisonous kind has its caution; the rules of testing carry where they are from."""
    seed = replace(OUTLOOK, kind=kind("larkspur"))

    assert "poisonous" in cautions(seed)[0]
    onion = how_tested(replace(OUTLOOK, kind=kind("onion")))
    assert onion[0].text.endswith("counted after 6 and 10 days")
    named = {fact.label: fact for fact in sources(replace(OUTLOOK, kind=kind("onion")))}
    assert "7 CFR 201.58" in named["Testing"].text
    assert "Ellis & Roberts 1981" in named["Constants"].text
    assert named["Minimum"].text == "a rule"
    assert how_tested(replace(OUTLOOK, kind=None)) == ()


def test_what_is_only_usual_in_the_trade_says_so() -> None:
    """A minimum without a source is called so, and no publication is named for it."""
    usual = replace(OUTLOOK, minimum=Minimum(70.0, "common practice, no source", "memory"))
    facts = {fact.label: fact for fact in made(usual, "paper")}
    assert facts["Minimum"].note == "usual in the trade; no published source is known to us"
    assert "Minimum" not in {fact.label for fact in sources(usual)}
    own = replace(OUTLOOK, minimum=Minimum(60.0, "set for this lot", "set"))
    assert {fact.label: fact.note for fact in made(own, "paper")}["Minimum"] == "set for this lot"
