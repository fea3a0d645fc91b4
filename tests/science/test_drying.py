"""Grams of desiccant for a box, against the worked examples of the moisture reference."""

from typing import TypedDict

import pytest

from hilum.science.desiccant import gel_load_pct
from hilum.science.drying import (
    SeedPortion,
    grams_needed,
    seed_water_g,
    settled_rh_pct,
)
from hilum.science.errors import OutOfRangeError
from hilum.science.isotherms import GeneralIsotherm, wet_from_dry_pct

WHEAT = [SeedPortion(1000.0, GeneralIsotherm(0.02))]


class Start(TypedDict):
    """Seed at the start."""

    from_rh_pct: float
    temp_c: float


AIR_DRY: Start = {"from_rh_pct": 60.0, "temp_c": 20.0}


def test_example_a() -> None:
    """1 kg of starchy seed from 60 to 20 %: 65.6 g of water, 605 g of dry gel, 742 g from 2 %.

    Computed by hand from Cromarty, Ellis & Roberts 1982 and Schawe 2000.
    """
    dry = grams_needed(WHEAT, **AIR_DRY, target_rh_pct=20.0, initial_load_pct=0.0)
    fresh = grams_needed(WHEAT, **AIR_DRY, target_rh_pct=20.0)
    assert dry.seed_water_g == pytest.approx(65.6, abs=0.05)
    assert dry.grams == pytest.approx(605, abs=1)
    assert fresh.grams == pytest.approx(742, abs=1)
    assert fresh.low_grams < fresh.grams < fresh.high_grams
    assert fresh.settles_rh_pct == pytest.approx(20.0, abs=1e-6)


@pytest.mark.parametrize(
    ("ratio", "erh_pct", "mc_wet_pct", "fresh_erh_pct", "fresh_mc_wet_pct"),
    [
        (0.25, 32.4, 8.86, 34.0, 9.10),
        (0.5, 22.6, 7.29, 24.8, 7.67),
        (1, 13.5, 5.59, 16.6, 6.21),
        (2, 6.0, 3.7, 9.8, 4.77),
        (3, 2.9, 2.6, 6.8, 3.96),
    ],
)
def test_example_b(
    ratio: float, erh_pct: float, mc_wet_pct: float, fresh_erh_pct: float, fresh_mc_wet_pct: float
) -> None:
    """Where starchy seed from 60 % and gel meet in a tight box, dry and from 2 %: computed.

    Below 10 % the printed figures follow the bare fit's tail, which gives a drier end than the
    straight line; both are extrapolations.
    """
    for load, expected, moisture in (
        (0.0, erh_pct, mc_wet_pct),
        (2.0, fresh_erh_pct, fresh_mc_wet_pct),
    ):
        found = settled_rh_pct(WHEAT, 1000 * ratio, **AIR_DRY, initial_load_pct=load)
        if expected >= 10.0:
            assert found == pytest.approx(expected, abs=0.06)
            mc = wet_from_dry_pct(GeneralIsotherm(0.02).mc_dry_pct(found, 20.0))
            assert mc == pytest.approx(moisture, abs=0.011)
        else:
            assert expected < found < 10.0


@pytest.mark.parametrize(
    ("oil", "ratio", "erh_pct", "mc_wet_pct"),
    [(0.10, 0.25, 26, 7.3), (0.10, 1, 10, 4.5), (0.43, 0.25, 21, 4.2)],
)
def test_air_dry_seed_with_gel(oil: float, ratio: float, erh_pct: float, mc_wet_pct: float) -> None:
    """Onion-like and lettuce-like seed from 50 % with dry gel: computed, to the printed digits."""
    seeds = [SeedPortion(1000.0, GeneralIsotherm(oil))]
    found = settled_rh_pct(seeds, 1000 * ratio, from_rh_pct=50.0, temp_c=20.0, initial_load_pct=0.0)
    assert found == pytest.approx(erh_pct, abs=0.6)
    mc = wet_from_dry_pct(GeneralIsotherm(oil).mc_dry_pct(found, 20.0))
    assert mc == pytest.approx(mc_wet_pct, abs=0.06)


def test_equal_weight_over_dries_oily_seed() -> None:
    """Lettuce-like seed at 50 % with as much gel ends at 6 to 10 % (computed); the advice warns."""
    lettuce = [SeedPortion(500.0, GeneralIsotherm(0.43))]
    settled = settled_rh_pct(lettuce, 500.0, from_rh_pct=50.0, temp_c=20.0, initial_load_pct=0.0)
    assert 6.0 < settled < 10.0
    advice = grams_needed(lettuce, from_rh_pct=50.0, target_rh_pct=20.0, temp_c=20.0)
    assert any("As much" in caution for caution in advice.cautions)
    wheat = grams_needed(WHEAT, **AIR_DRY, target_rh_pct=20.0)
    assert not any("As much" in caution for caution in wheat.cautions)


def test_a_reserve_that_dries_too_far_is_warned_of() -> None:
    """Gel for a year of leaks, put in at once, takes oily seed below 10 %."""
    lettuce = [SeedPortion(300.0, GeneralIsotherm(0.43))]
    advice = grams_needed(
        lettuce, from_rh_pct=40.0, target_rh_pct=25.0, temp_c=20.0, ingress_g=(30.0, 60.0, 120.0)
    )
    assert advice.settles_rh_pct is not None
    assert advice.settles_rh_pct < 10.0
    assert any("swap it more often" in caution for caution in advice.cautions)
    assert advice.low_grams < advice.grams / 1.2


def test_ingress_alone() -> None:
    """Without seed the grams are the water over the load: 10.85 g need 100 g to 20 %: by hand."""
    advice = grams_needed(
        [],
        from_rh_pct=50.0,
        target_rh_pct=20.0,
        temp_c=20.0,
        initial_load_pct=0.0,
        ingress_g=(10.85, 10.85, 10.85),
    )
    assert advice.grams == pytest.approx(100, abs=0.1)
    assert advice.high_grams == pytest.approx(advice.grams / 0.8)
    assert advice.settles_rh_pct is None


def test_dry_seed_asks_for_nothing() -> None:
    """Seed drier than the target gives no water off and needs no gel."""
    assert grams_needed(WHEAT, from_rh_pct=15.0, target_rh_pct=30.0, temp_c=20.0).grams == 0.0
    assert seed_water_g(WHEAT, 15.0, 30.0, 20.0) < 0.0


def test_zeolite_beside_seed_is_a_range_up_to_equal_weight() -> None:
    """65.6 g of water at 18 to 20 % uptake (University of California Davis), up to 1,000 g."""
    advice = grams_needed(
        WHEAT, **AIR_DRY, target_rh_pct=20.0, desiccant="zeolite", initial_load_pct=0.0
    )
    assert advice.low_grams == pytest.approx(65.6 / 0.20, rel=0.001)
    assert advice.high_grams == 1000.0
    assert advice.settles_rh_pct is None
    assert any("sensor" in caution for caution in advice.cautions)


def test_gel_that_is_as_full_as_the_target_is_refused() -> None:
    """Gel that starts at what it holds at 15 % cannot dry to 15 %."""
    load = gel_load_pct("gel", 15.0, 20.0)
    with pytest.raises(OutOfRangeError, match="initial load"):
        grams_needed(WHEAT, **AIR_DRY, target_rh_pct=15.0, initial_load_pct=load)
