"""Seeds, plants and packets at their edges, with losses, against scipy's binomial."""

import numpy as np
import pytest
from scipy import stats

from hilum.science.decisions import Plan, Verdict, decide
from hilum.science.errors import OutOfRangeError
from hilum.science.sowing import Levels, packets_to_order, plants_pmf, seeds_to_sow

MIXED = Levels(np.array([0.9, 0.5, 0.2]), np.array([0.5, 0.3, 0.2]))


@pytest.mark.parametrize("loss_pct", [0.0, 10.0, 35.0, 99.0])
def test_plants_with_losses_after_emergence(loss_pct: float) -> None:
    """Chances of 0 to 19 plants of 40 seeds: scipy's binomials at three levels, averaged."""
    chance = np.array([0.9, 0.5, 0.2]) * (1.0 - loss_pct / 100.0)
    each = stats.binom.pmf(np.arange(20)[:, None], 40, chance)
    expected = each @ np.array([0.5, 0.3, 0.2])
    found = plants_pmf(MIXED, 40, 20, loss_pct)
    assert found[:-1] == pytest.approx(expected, abs=1e-12)
    assert found.sum() == pytest.approx(1.0)


@pytest.mark.parametrize("loss_pct", [0.0, 25.0])
def test_packets_with_losses_after_emergence(loss_pct: float) -> None:
    """No seed in hand, 30 plants, packets of seven at 80 %: the fewest by scipy's binomial."""
    none = np.zeros(31)
    none[0] = 1.0
    chance = 0.8 * (1.0 - loss_pct / 100.0)
    expected = next(n for n in range(99) if stats.binom.sf(29, 7 * n, chance) >= 0.9)
    assert packets_to_order(none, Levels.exactly(80.0), 7, loss_pct) == expected


def test_many_packets_need_no_table_of_every_plant() -> None:
    """20,000 plants wanted: the table of levels is cut into parts, and the sum is still one."""
    found = plants_pmf(MIXED, 30_000, 20_000)
    assert found[-1] == pytest.approx(0.5, abs=1e-9)  # only the level of 90 % can reach them
    assert found.sum() == pytest.approx(1.0)


def test_nine_in_ten_is_nine_in_ten() -> None:
    """One plant of seed at 90 %: one seed, one packet of one, and the same as new seed of 90 %."""
    sure = Levels.exactly(90.0)
    assert int(seeds_to_sow(sure, 1)) == 1
    assert packets_to_order(np.array([1.0, 0.0]), sure, 1) == 1
    plan = Plan(plants_wanted=1, seeds_in_hand=None, fresh_pct=90.0, packet_seeds=1)
    found = decide(sure, plan)
    assert (found.verdict, found.seeds, found.thickness) == (Verdict.SOW, 1, 1.0)


def test_nothing_wanted_needs_nothing() -> None:
    """No plants: no seeds for any lot, and no packets."""
    lots = Levels(np.array([[0.0], [0.5]]), np.ones((2, 1)))
    assert seeds_to_sow(lots, 0).tolist() == [0, 0]
    assert packets_to_order(np.array([1.0]), Levels.exactly(50.0), 10) == 0
    assert plants_pmf(MIXED, 5, 0).tolist() == [1.0]


def test_one_lot_and_many_lots_give_the_same_seeds() -> None:
    """Lots cut alike are answered alike, alone or side by side; dead seed never does."""
    rows = np.array([[0.9, 0.7], [0.6, 0.5], [0.0, 0.0]])
    weight = np.full((3, 2), 0.5)
    together = seeds_to_sow(Levels(rows, weight), 12, 10.0)
    alone = [int(seeds_to_sow(Levels(rows[i], weight[i]), 12, 10.0)) for i in range(3)]
    assert together.tolist() == alone
    assert alone[2] == -1
    for i in range(2):
        reached = [
            float(np.mean(stats.binom.sf(11, n, 0.9 * rows[i]))) for n in (alone[i] - 1, alone[i])
        ]
        assert reached[0] < 0.9 <= reached[1]


def test_new_seed_that_cannot_do_it_is_an_error() -> None:
    """A hundred thousand plants of seed at 1 % would take ten million seeds: said, not searched."""
    plan = Plan(plants_wanted=100_000, seeds_in_hand=None, fresh_pct=1.0, packet_seeds=100)
    with pytest.raises(OutOfRangeError, match="new seed"):
        decide(Levels.exactly(90.0), plan)
