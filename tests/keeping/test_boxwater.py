"""Water of a box, against the worked examples of the moisture reference and a plain ODE."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from hilum.domain.model import Floats
from hilum.keeping.desiccant.boxwater import (
    Balance,
    Charge,
    SeedShare,
    Weighing,
    balance_g,
    gel_water_g,
    held_g,
    weighed_scale,
)
from hilum.science.isotherms import GeneralIsotherm

STARCHY_DRY_G = 1000.0 / 1.1488  # 1 kg at 60 % and 20 °C holds 14.88 % dry basis (computed)
OIL_FREE_G = STARCHY_DRY_G * 0.98
SEED = [SeedShare(OIL_FREE_G, 4.0)]
GEL = Charge("silica-gel", 605.0, 0)


def test_a_kilogram_gives_off_what_the_reference_says() -> None:
    """1 kg of starchy seed from 60 to 20 % at 20 °C: 65.6 g (Cromarty et al. 1982, computed)."""
    water = balance_g(None, 1.0, SEED, np.array([20.0, 60.0]), 20.0)
    assert water[1] - water[0] == pytest.approx(65.6, abs=0.1)


def test_gel_takes_up_what_the_reference_says() -> None:
    """605 g of gel at 20 % and 20 °C: 65.6 g (Schawe 2000, computed); a weighing scales it."""
    rh_pct, temp_c = np.array([20.0]), np.array([20.0])
    assert gel_water_g(GEL, 1.0, rh_pct, temp_c)[0] == pytest.approx(65.6, abs=0.1)
    assert gel_water_g(GEL, 0.8, rh_pct, temp_c)[0] == pytest.approx(0.8 * 65.6, abs=0.1)
    both = balance_g(GEL, 1.0, SEED, rh_pct, 20.0) - balance_g(None, 1.0, SEED, rh_pct, 20.0)
    assert both[0] == pytest.approx(65.6, abs=0.1)


def test_a_weighing_is_set_against_the_curve() -> None:
    """13.02 g per 100 g where the curve has 10.85 (20 %, 20 °C): a fifth more."""
    assert weighed_scale(GEL, Weighing(0, 13.02), 20.0, 20.0) == pytest.approx(1.2, abs=1e-3)
    at_the_edge = weighed_scale(GEL, Weighing(0, 0.2), 0.0, 20.0)  # never in air without water
    assert at_the_edge == pytest.approx(weighed_scale(GEL, Weighing(0, 0.2), 0.5, 20.0))


@pytest.mark.parametrize(
    ("set_at", "warmer", "cooler"), [(15.0, 16.2, 13.9), (30.0, 32.1, 27.9), (50.0, 52.9, 47.1)]
)
def test_a_box_full_of_seed_gets_damper_as_it_warms(
    set_at: float, warmer: float, cooler: float
) -> None:
    """Sealed at 20 °C, then at 25 and 15 °C: the reference's table of sealed boxes (computed)."""
    balance = Balance(None, 1.0, SEED, 20.0)
    slope = float(balance.per_degree(np.array([set_at]))[0])
    assert set_at + 5.0 * slope == pytest.approx(warmer, abs=0.15)
    assert set_at - 5.0 * slope == pytest.approx(cooler, abs=0.15)


def test_humidity_and_water_lead_to_each_other() -> None:
    """There and back over the whole range, with gel and seed and with gel alone."""
    rh_pct = np.linspace(1.0, 98.0, 200)
    for seeds in (SEED, []):
        balance = Balance(GEL, 1.0, seeds, 20.0)
        assert balance.rh_pct(balance.water_g(rh_pct)) == pytest.approx(rh_pct, abs=1e-6)
        fine = balance_g(GEL, 1.0, seeds, rh_pct, 20.0)
        assert balance.water_g(rh_pct) == pytest.approx(fine, rel=2e-3, abs=0.05)


def test_seed_follows_the_air_with_its_lag() -> None:
    """Two kinds of seed in swinging air: scipy's ODE solver, half as fast 10 °C below 20 °C."""
    day = np.linspace(0.0, 60.0, 481)
    temp_c = 18.0 + 8.0 * np.sin(day / 9.0)
    rh_pct = 40.0 + 15.0 * np.sin(day / 5.0)
    seeds = [SeedShare(300.0, 4.0), SeedShare(150.0, 16.0)]
    isotherm = GeneralIsotherm(0.0)
    goal = isotherm.mc_dry_pct(rh_pct, temp_c)
    expected = np.zeros(len(day))
    for share in seeds:

        def slope(t: float, m: Floats, tau: float = share.tau_days) -> Floats:
            slower = 2.0 ** (max(20.0 - float(np.interp(t, day, temp_c)), 0.0) / 10.0)
            return np.asarray((np.interp(t, day, goal) - m) / (tau * slower))

        solved = solve_ivp(
            slope, (0.0, 60.0), [goal[0]], t_eval=day, max_step=0.125, rtol=1e-8, atol=1e-8
        )
        expected += share.oil_free_g * solved.y[0] / 100.0
    found = held_g(seeds, day, temp_c, rh_pct)
    assert found == pytest.approx(expected, abs=0.02)
    assert found[0] == pytest.approx(450.0 * goal[0] / 100.0)
