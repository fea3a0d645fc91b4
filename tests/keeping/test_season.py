"""Season plans: cases worked with scipy, several lots against simulation, and what is said."""

from collections.abc import Callable
from datetime import date, timedelta

import numpy as np
import pytest
from scipy import integrate, stats

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import GerminationTest, PlanLine, Wrap
from hilum.keeping.lots.ahead import RECENT, losses_ahead, storage_named
from hilum.keeping.lots.outlook import lot_case
from hilum.keeping.seasons.seasonlots import hand_of, same_variety
from hilum.science.decisions import Verdict
from hilum.science.kinds import kind
from hilum.science.lag import relax, tau_days
from hilum.science.seedmodel import equilibrium_mc_dry_pct, loss_rate_per_day
from hilum.science.surrogates import seed_model_for
from keeping.shelves import NOW_MS, TODAY, answered, lot, shelf_of

DAY_MS = 86_400_000


def fewest(reached: Callable[[int], float], wanted: int) -> int:
    """Fewest seeds with which the chance is nine in ten."""
    return next(n for n in range(wanted, 10_000) if reached(n) >= 0.9)


@pytest.mark.parametrize(("pct", "plants"), [(90.0, 50), (80.0, 10), (72.0, 200)])
def test_seeds_to_sow_are_the_beta_binomials(pct: float, plants: int) -> None:
    """A lot tested today (x of 400) sown today is beta-binomial (x + 1, 401 - x): scipy's count."""
    store = shelf_of(lot("A", pct=pct, seeds=5000))
    line = answered(store, PlanLine("onion", plants, loss_pct=0.0)).lines[0]
    x = pct * 4
    expected = fewest(lambda n: stats.betabinom.sf(plants - 1, n, x + 1, 401 - x), plants)
    assert line.lots[0].sow_seeds == pytest.approx(expected, abs=1)
    assert line.packets == 0
    assert line.own_chance >= 0.9


def test_losses_after_emergence_and_in_the_field_are_counted() -> None:
    """With 10 % lost and 80 % emerging 0.72 of seed that germinates is left; scipy's quadrature."""
    store = shelf_of(lot("A", seeds=5000))
    line = answered(store, PlanLine("onion", 50, loss_pct=10.0, field_factor=0.8)).lines[0]

    def reached(seeds: int) -> float:
        return integrate.quad(
            lambda p: stats.beta.pdf(p, 361, 41) * stats.binom.sf(49, seeds, 0.72 * p), 0.8, 0.97
        )[0]

    assert line.lots[0].sow_seeds == pytest.approx(fewest(reached, 50), abs=1)
    assert "10 % of seedlings" in line.notes[-1]
    assert "80 %" in line.notes[-1]


def test_packets_for_what_is_missing() -> None:
    """40 seeds of a good lot for 100 plants: packets by the convolution of scipy's distributions.

    New onion seed counts 70 % (7 CFR 201.31).
    """
    store = shelf_of(lot("A", seeds=40))
    line = answered(store, PlanLine("onion", 100, packet_seeds=20, loss_pct=0.0)).lines[0]
    own = stats.betabinom.pmf(np.arange(41), 40, 361, 41)

    def reached(packets: int) -> float:
        new = stats.binom.sf(99 - np.arange(41), 20 * packets, 0.70)
        return float(own @ new)

    assert line.lots[0].sow_seeds == 40
    assert line.packets == next(n for n in range(50) if reached(n) >= 0.9)
    assert reached(line.packets - 1) < 0.9


def test_several_lots_against_simulation() -> None:
    """Three lots together reach the plants as often as 200,000 simulated sowings (seed 5) do."""
    old = lot("A", age_days=900, pct=85.0, seeds=30, prior_temp_c=12.0, prior_rh_pct=30.0)
    store = shelf_of(old, lot("B", age_days=300, pct=88.0, seeds=25), lot("C", pct=92.0, seeds=300))
    line = answered(store, PlanLine("onion", 60, loss_pct=10.0, packet_seeds=50)).lines[0]
    rng = np.random.default_rng(5)
    plants = np.zeros(200_000, dtype=np.int64)
    for each in line.lots:
        case = lot_case(store, each.lot, NOW_MS)
        assert case.evidence is not None
        # apart from the grid: label as beta, multiplier log-normal, loss in probits
        x = float(each.lot.label_pct or 0.0) * 4
        v0 = stats.norm.ppf(rng.beta(x + 1, 401 - x, plants.size))
        k = np.exp(case.evidence.log_spread * rng.standard_normal(plants.size))
        alive = stats.norm.cdf(v0 - k * case.total_probit)
        plants += rng.binomial(each.sow_seeds, 0.9 * alive)
    simulated = float((plants >= 60).mean())
    assert line.own_chance == pytest.approx(simulated, abs=0.005)
    assert [each.sow_seeds for each in line.lots[:2]] == [30, 25]
    assert 0 < line.lots[2].sow_seeds < 60


def test_oldest_lot_is_used_first_and_the_rest_kept() -> None:
    """The older lot is sown; the newer one is not needed and says so."""
    store = shelf_of(lot("NEW", seeds=500), lot("OLD", age_days=400, seeds=500, prior_rh_pct=30.0))
    line = answered(store, PlanLine("onion", 20)).lines[0]
    assert [each.lot.code for each in line.lots] == ["OLD", "NEW"]
    assert line.lots[0].sow_seeds > 0
    assert line.lots[1].sow_seeds == 0
    assert "keep it" in line.lots[1].words
    assert line.duplicate == "You already have two lots of this."


def test_seed_that_one_line_uses_is_not_there_for_the_next() -> None:
    """Lines share what is in hand; one that names a variety chooses before one that takes any."""
    red, pale = lot("A", variety="Red", seeds=60), lot("B", variety="Pale", age_days=9, seeds=60)
    store = shelf_of(red, pale)
    wide, named = PlanLine("onion", 60, packet_seeds=200), PlanLine("onion", 40, "red")
    found = answered(store, wide, named)
    any_line, red_line = found.lines
    assert [each.lot.code for each in red_line.lots] == ["A"]
    used = {each.lot.code: each.sow_seeds for each in any_line.lots}
    assert used["A"] + red_line.lots[0].sow_seeds <= 60
    assert any_line.packets > 0
    assert "left by the lines before" in next(
        each.hand.words for each in any_line.lots if each.lot.code == "A"
    )


def test_worn_out_seed_is_replaced_and_doubtful_seed_tested() -> None:
    """Onion eight years at room conditions is replaced; doubtful seed tested where time allows."""
    store = shelf_of(lot("DEAD", age_days=3000, seeds=400), lot("MAYBE", age_days=700, seeds=400))
    line = answered(store, PlanLine("onion", 50), sow_on=TODAY + timedelta(days=40)).lines[0]
    dead, maybe = (each.judgement for each in line.lots)
    assert dead is not None
    assert maybe is not None
    assert dead.without_test is Verdict.REPLACE
    assert maybe.verdict is Verdict.TEST_FIRST
    soon = answered(store, PlanLine("onion", 50)).lines[0].lots[1].judgement
    assert soon is not None
    assert soon.verdict is soon.without_test


def test_tests_are_sorted_by_what_they_can_change() -> None:
    """Tests the plan hangs on come first, then the most telling; each lot once."""
    store = shelf_of(
        *(lot(f"L{age}", age_days=age, seeds=400) for age in (500, 650, 800)),
        lot("P", "parsnip", age_days=700, seeds=400),
    )
    lines = (PlanLine("onion", 50), PlanLine("onion", 30), PlanLine("parsnip", 20))
    found = answered(store, *lines, sow_on=TODAY + timedelta(days=60))
    ranks = [(not test.needed, -test.chance_of_change) for test in found.tests]
    assert ranks == sorted(ranks)
    assert len({test.lot.code for test in found.tests}) == len(found.tests) > 0
    assert all(test.chance_of_change >= 0.2 for test in found.tests)


def test_loss_ahead_adds_up() -> None:
    """Loss to a later day is the loss to now and the loss ahead, for a lot that stays as it is."""
    store = shelf_of(lot("A", age_days=200))
    now, later = (lot_case(store, store.lot("A"), NOW_MS + d * DAY_MS) for d in (0, 150))
    ahead = losses_ahead(now, Wrap.OPEN, RECENT, np.array([50.0, 100.0, 150.0]))
    assert now.loss.total_probit is not None
    total = now.loss.total_probit + ahead.loss_probit[2]
    assert total == pytest.approx(later.loss.total_probit, rel=1e-6)
    assert np.diff(ahead.loss_probit)[0] == pytest.approx(np.diff(ahead.loss_probit)[1])


@pytest.mark.parametrize("wrap", [Wrap.OPEN, Wrap.PAPER, Wrap.POLY, Wrap.FOIL])
def test_loss_ahead_in_other_air_is_the_integral(wrap: Wrap) -> None:
    """Moved to 25 °C and 70 %, the loss is the integral of the rate along the lag; scipy's quad."""
    store = shelf_of(lot("A"))
    case, model = lot_case(store, store.lot("A"), NOW_MS), seed_model_for(kind("onion"))
    start, target = (equilibrium_mc_dry_pct(model, *air) for air in ((50.0, 20.0), (70.0, 25.0)))
    tau = tau_days(wrap, model.size, 25.0)

    def rate(day: float) -> float:
        return loss_rate_per_day(model, float(relax(start, target, day, tau)), 25.0)

    ahead = losses_ahead(case, wrap, storage_named("given", 25.0, 70.0), np.array([20.0, 120.0]))
    first = integrate.quad(rate, 0.0, 20.0, limit=200)[0]
    second = integrate.quad(rate, 20.0, 120.0, limit=200)[0]
    assert ahead.loss_probit[0] == pytest.approx(first, rel=2e-3)
    assert ahead.loss_probit[1] == pytest.approx(first + second, rel=2e-3)


def test_assumptions_are_said_and_pull_the_right_way() -> None:
    """Colder and drier until sowing leaves more alive, warmer and moister less; each is stated."""
    store = shelf_of(lot("A", age_days=300, seeds=400))
    line, sow_on = PlanLine("onion", 50), date(2027, 10, 1)
    said, medians = [], []
    for how in (
        {"storage": "given", "temp_c": 30.0, "rh_pct": 65.0},
        {"storage": "shelf"},
        {"storage": "gel"},
        {"storage": "fridge"},
        {"storage": "freezer"},
    ):
        found = answered(store, line, sow_on=sow_on, **how)
        band = found.lines[0].lots[0].at_sowing
        assert band is not None
        medians.append(float(band.median_pct))
        said.append(found.assumptions[0])
    assert medians == sorted(medians)
    assert medians[-1] - medians[0] > 20
    assert "30 °C and 65 %" in said[0]
    assert "shelf at 20 °C" in said[1]
    stays = answered(store, line, sow_on=sow_on).lines[0].lots[0].at_sowing
    assert stays is not None
    # it lives at 20 °C and 50 % already
    assert float(stays.median_pct) == pytest.approx(medians[1], abs=0.5)


def test_what_is_not_known_is_said() -> None:
    """Unknown numbers of seed, a guessed packet, a date gone by: each stands beside the answer."""
    store = shelf_of(lot("A", age_days=30), lot("B", "onion", age_days=3000))
    found = answered(store, PlanLine("onion", 20), sow_on=TODAY - timedelta(days=10))
    assert "The sowing date has passed" in found.assumptions[1]
    assert "taken as enough: B, A" in found.lines[0].notes[0]
    nothing = answered(store, PlanLine("leek", 20)).lines[0]
    assert nothing.lots == ()
    assert nothing.packets > 0
    assert "100 seeds a packet (our assumption)" in nothing.notes[0]
    assert nothing.duplicate == ""
    with pytest.raises(InvalidInputError, match="no way of keeping seed"):
        answered(store, PlanLine("onion", 20), storage="cellar")


def test_seed_without_a_life_model_is_not_judged() -> None:
    """Acorns are listed with the reason, and not counted on."""
    line = answered(shelf_of(lot("A", "oak", seeds=90)), PlanLine("oak", 5)).lines[0]
    assert line.lots[0].judgement is None
    assert "dies when it dries" in line.lots[0].notes[0]
    assert line.packets > 0
    assert line.duplicate == "You already have one lot of this."


def test_own_tests_speak() -> None:
    """A bad test turns a lot that was to be sown into one to be replaced."""
    good = lot("A", age_days=200, seeds=400)
    bad = GerminationTest(0, "A", TODAY - timedelta(days=5), 100, 12)
    before = answered(shelf_of(good), PlanLine("onion", 50)).lines[0].lots[0]
    after = answered(shelf_of(good, tests=(bad,)), PlanLine("onion", 50)).lines[0].lots[0]
    assert before.sow_seeds > 0
    assert after.judgement is not None
    assert after.judgement.without_test is Verdict.REPLACE


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Early Red", "early red", True),
        ("Élan", "elan", True),
        ("Early Red", "early-red", True),
        ("Early Red", "Early", True),
        ("Purpel Star", "Purple Star", True),
        ("Early Red", "Late Red", False),
        ("Red", "Rod", False),
        ("", "Red", False),
    ],
)
def test_varieties_are_compared_loosely(one: str, other: str, *, same: bool) -> None:
    """Case, accents, signs, one slip and a shortened name are forgiven; another name is not."""
    assert same_variety(one, other) is same
    assert same_variety(other, one) is same


def test_seeds_are_reckoned_from_their_weight() -> None:
    """8 g of onion seed at the table's weight of 1,000 seeds; a count goes before a weight."""
    weight = kind("onion").tsw_g
    assert weight is not None
    assert hand_of(lot("A", grams=8.0), kind("onion")).seeds == int(8000.0 / weight.value)
    assert hand_of(lot("A", grams=8.0, seeds=7), kind("onion")).seeds == 7
    assert hand_of(lot("A"), kind("onion")).seeds is None
