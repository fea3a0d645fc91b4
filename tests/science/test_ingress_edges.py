"""How leaky boxes are, and how long gel lasts in one, worked by hand."""

import math

import pytest

from hilum.science.desiccant import gel_load_pct
from hilum.science.ingress import enclosure, leak_g_per_day, permeability, wall_g_per_day

AIR = {"temp_c": 20.0, "rh_out_pct": 60.0, "rh_in_pct": 15.0}


@pytest.mark.parametrize(
    ("key", "low", "high"), [("tub", 0.1, 1.0), ("unsealed", 10.0, 50.0), ("jar", 0.01, 0.05)]
)
def test_leaks_of_each_kind_of_box(key: str, low: float, high: float) -> None:
    """Air changes a day as recalled (low), the lower end of the jar ours; middle by logarithms."""
    box = enclosure(key)
    assert (box.low, box.high) == (low, high)
    assert math.log(box.middle) == pytest.approx((math.log(low) + math.log(high)) / 2.0)
    assert "memory (low)" in box.status


def test_a_hundred_grams_of_gel_last_fourteen_months() -> None:
    """The reference's box at 0.3 air changes: 0.0259 g a day, 419 days of dry gel up to 20 %."""
    walls = wall_g_per_day(
        permeability_g_mm=permeability(0.0429, 20.0), area_m2=0.27, wall_mm=1.5, **AIR
    )
    a_day = walls + leak_g_per_day(volume_l=9.0, changes_per_day=0.3, **AIR)
    assert a_day == pytest.approx(0.0259, abs=5e-5)
    assert gel_load_pct("silica-gel", 20.0, 20.0) / a_day == pytest.approx(419, abs=2)
    fresh = gel_load_pct("silica-gel", 20.0, 20.0) - 2.0
    assert fresh / a_day == pytest.approx(342, abs=2)


@pytest.mark.parametrize(("activation", "factor"), [(20_000.0, 1.61), (45_000.0, 2.91)])
def test_walls_let_less_through_when_cool(activation: float, factor: float) -> None:
    """From 38 to 20 °C by Arrhenius' law, the exponent worked by hand: Ea/R x 1.9735e-4 per K.

    1/293.15 - 1/311.15 = 1.9735e-4; with 8.314462: exponents of 0.4747 and 1.0681.
    """
    assert permeability(1.0, 38.0, activation) / permeability(1.0, 20.0, activation) == (
        pytest.approx(factor, abs=0.005)
    )
