import numpy as np
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR
from hilum.simulate.box import (
    Ajar,
    BoxEvent,
    BoxModel,
    BoxSpec,
    Opening,
    SeedMass,
    Swap,
    simulate_box,
)
from hilum.simulate.physics import gel_load, saturation_pa, vapour_g_m3
from hilum.simulate.weather import ColdSpec, RoomSpec, SteadySpec, surroundings

# 30 x 20 x 15 cm polypropylene box, 1.5 mm wall, 0.3 air changes a day; room 20 °C and 60 %.
WORKED = BoxSpec(volume_l=9.0, air_changes_per_day=0.3, wall_area_m2=0.27, wall_mm=1.5)
WORKED_G_PER_DAY = 0.0259  # wall 0.0049 + leak 0.0210, inside at 15 % (computed by hand)


def with_gel(grams: float, start: float) -> BoxSpec:
    """The worked example's box with desiccant."""
    return BoxSpec(
        volume_l=9.0,
        air_changes_per_day=0.3,
        wall_area_m2=0.27,
        wall_mm=1.5,
        gel_g=grams,
        gel_start=start,
    )


@settings(max_examples=25, deadline=None)
@given(
    gel_g=st.sampled_from([0.0, 50.0, 500.0]),
    seed_g=st.floats(0.0, 3000.0),
    changes=st.floats(0.0, 50.0),
    step_s=st.sampled_from([60, 600]),
    seed=st.integers(0, 100),
)
def test_water_is_neither_made_nor_lost(
    gel_g: float, seed_g: float, changes: float, step_s: int, seed: int
) -> None:
    """Grams that entered are the grams that are there more, whatever happens to the box."""
    spec = BoxSpec(
        volume_l=15.0,
        air_changes_per_day=changes,
        wall_area_m2=0.4,
        gel_g=gel_g,
        seeds=(SeedMass(seed_g, 0.05, 16.0), SeedMass(seed_g / 3, 0.4, 1.0, mc_dry_pct=11.0)),
    )
    events: list[BoxEvent] = [
        Opening(1 * MS_PER_DAY + 7, share=0.8),
        Ajar(2 * MS_PER_DAY, 3 * MS_PER_DAY),
        Swap(4 * MS_PER_DAY),
    ]
    air = surroundings(RoomSpec(), 0, seed, step_s).advance(5 * 86_400 // step_s)
    box = BoxModel(spec, 0, 18.0, 55.0, events, step_s=step_s)
    before = box.stored_g()
    truth = box.advance(air)
    assert np.max(np.abs(truth.stored_g - before - truth.entered_g)) < 1e-9 * max(before, 1.0)
    assert np.all((truth.rh_pct >= 0) & (truth.rh_pct <= 100))
    assert box.stored_g() == pytest.approx(truth.stored_g[-1], rel=1e-12)


def test_water_enters_the_worked_box_as_computed_by_hand() -> None:
    """Inside held at 15 % by much desiccant, 0.0259 g a day enter: 419 days for 10.85 g."""
    held, _ = gel_load(0.15, 20.0)
    truth = simulate_box(with_gel(20_000.0, held), SteadySpec(20.0, 60.0), 0, 30 * MS_PER_DAY)
    per_day = truth.entered_g[-1] / 30
    assert per_day == pytest.approx(WORKED_G_PER_DAY, rel=0.01)
    assert 100 * gel_load(0.20, 20.0)[0] / per_day == pytest.approx(419, rel=0.01)


@pytest.mark.parametrize("start", [0.0, 0.02])
def test_desiccant_lasts_as_long_as_an_independent_integral_says(start: float) -> None:
    """100 g of gel to 20 %: the time is the integral of capacity over ingress (scipy, PsychroLib).

    Against the published worked example (419 and 342 days), whose inside stays at 15 %, the inside
    starts drier, draws more, and lasts about a tenth less.
    """
    psychrolib.SetUnitSystem(psychrolib.SI)
    full_pa = psychrolib.GetSatVapPres(20.0)
    full_g = full_pa / (461.52 * 293.15) * 1000 * 0.009

    def days_per_r(r: float) -> float:
        drive = 0.60 - r
        wall = 0.0257 * 0.27 / 1.5 * drive * full_pa / 1000
        capacity = 100 * gel_load(r, 20.0)[1] + full_g
        return float(capacity / (wall + 0.3 * full_g * drive))

    first = start / gel_load(0.05, 20.0)[1]
    expected = quad(days_per_r, first, 0.20, points=[0.10])[0]
    end = 450 * MS_PER_DAY
    passes = simulate_box(with_gel(100.0, start), SteadySpec(20.0, 60.0), 0, end).passes_ms(20.0)
    assert passes is not None
    assert passes / MS_PER_DAY == pytest.approx(expected, rel=0.01)
    assert passes / MS_PER_DAY == pytest.approx(419 if start == 0 else 342, rel=0.12)


@pytest.mark.parametrize(
    ("ratio", "start", "erh_pct", "mc_wet_pct", "load_pct"),
    [
        (0.25, 0.0, 32.4, 8.86, 18.0),
        (0.5, 0.0, 22.6, 7.29, 12.2),
        (1.0, 0.0, 13.5, 5.59, 7.8),
        (0.25, 0.02, 34.0, 9.10, None),
        (0.5, 0.02, 24.8, 7.67, None),
        (1.0, 0.02, 16.6, 6.21, None),
    ],
)
def test_gel_and_seed_share_the_water_of_a_closed_box(
    ratio: float, start: float, erh_pct: float, mc_wet_pct: float, load_pct: float | None
) -> None:
    """1 kg of starchy seed from 60 % with gel: the computed balance of the moisture reference."""
    dry_g = 1000 / 1.1488  # 14.88 % dry basis at 60 % and 20 °C
    spec = BoxSpec(
        volume_l=3.0,
        gel_g=1000 * ratio,
        gel_start=start,
        seeds=(SeedMass(dry_g, 0.02, 1.0, 14.88),),
        start_rh_pct=60.0,
    )
    truth = simulate_box(spec, SteadySpec(20.0, 60.0), 0, 60 * MS_PER_DAY)
    mc_dry_pct = truth.seed_mc_dry_pct[0, -1]
    assert truth.erh_pct[-1] == pytest.approx(erh_pct, abs=0.1)
    assert 100 * mc_dry_pct / (100 + mc_dry_pct) == pytest.approx(mc_wet_pct, abs=0.03)
    if load_pct is not None:
        assert 100 * truth.gel_load[-1] == pytest.approx(load_pct, abs=0.06)


@pytest.mark.parametrize(
    ("set_pct", "temp_c", "erh_pct"),
    [
        (15, 4, 11.5),
        (15, 30, 17.4),
        (30, 0, 21.9),
        (30, 10, 25.9),
        (30, 25, 32.1),
        (50, 4, 40.5),
        (50, 15, 47.1),
        (50, 35, 58.5),
    ],
)
def test_a_sealed_box_of_seed_drifts_with_temperature(
    set_pct: float, temp_c: float, erh_pct: float
) -> None:
    """Seed set at 20 °C, box closed and brought to another temperature (computed table)."""
    spec = BoxSpec(volume_l=1.0, seeds=(SeedMass(2000.0, 0.1, 0.2),), start_rh_pct=set_pct)
    box = BoxModel(spec, 0, 20.0, 60.0)
    truth = box.advance(surroundings(SteadySpec(temp_c, 60.0), 0, 0).advance(10 * 144))
    assert truth.erh_pct[-1] == pytest.approx(erh_pct, abs=0.1)
    assert truth.rh_pct[-1] == pytest.approx(erh_pct, abs=0.1)


def test_an_empty_box_drifts_the_other_way() -> None:
    """Without seed the same water in colder air means a higher humidity."""
    box = BoxModel(BoxSpec(volume_l=10.0, thermal_tau_h=0.0), 0, 20.0, 30.0)
    truth = box.advance(surroundings(SteadySpec(10.0, 30.0), 0, 0).advance(3))
    expected = 30 * vapour_g_m3(saturation_pa(20.0), 20.0) / vapour_g_m3(saturation_pa(10.0), 10.0)
    assert truth.rh_pct[-1] == pytest.approx(expected, rel=1e-6)


def test_partial_openings_follow_the_mixing_law() -> None:
    """A tenth of the air exchanged each hour, 0 to 100 %: 10, 19, 27 % after 1, 2, 3 h."""
    events = [Opening(h * MS_PER_HOUR + 1, share=0.1) for h in range(3)]
    spec = BoxSpec(volume_l=10.0, start_rh_pct=0.0)
    truth = simulate_box(spec, SteadySpec(20.0, 100.0), 0, 3 * MS_PER_HOUR, events)
    assert truth.rh_pct[[5, 11, 17]] == pytest.approx([10.0, 19.0, 27.1], abs=1e-6)


def test_a_steady_leak_follows_the_exponential_law() -> None:
    """An empty box with N air changes a day approaches the outside as exp(-N t)."""
    spec = BoxSpec(volume_l=10.0, air_changes_per_day=1.0, start_rh_pct=20.0)
    truth = simulate_box(spec, SteadySpec(20.0, 60.0), 0, 2 * MS_PER_DAY, step_s=60)
    days = truth.time_ms / MS_PER_DAY
    assert np.max(np.abs(truth.rh_pct - (60 - 40 * np.exp(-days)))) < 0.02


def test_a_lid_ajar_counts_for_its_time_only() -> None:
    """Water by a lid ajar for ninety minutes equals that of a leak of the same size and time."""
    held, _ = gel_load(0.10, 20.0)
    spec = BoxSpec(volume_l=10.0, gel_g=50_000.0, gel_start=held, mixing_min=0.0)
    truth = simulate_box(
        spec, SteadySpec(20.0, 60.0), 0, MS_PER_DAY, [Ajar(1_234_000, 6_634_000, 40.0)]
    )
    expected = 0.010 * 40 * 1.5 / 24 * 0.5 * vapour_g_m3(saturation_pa(20.0), 20.0)
    assert truth.entered_g[-1] == pytest.approx(expected, rel=0.01)


def test_a_cold_jar_opened_in_a_warm_room_takes_in_the_rooms_water() -> None:
    """One litre of room air at 10.37 g/m3 (20 °C, 60 %) brings 10.4 mg and wets a jar at 4 °C."""
    spec = BoxSpec(volume_l=1.0, start_rh_pct=20.0, thermal_tau_h=1e6)
    box = BoxModel(spec, 0, 4.0, 60.0, [Opening(1)])
    before = box.stored_g()
    truth = box.advance(surroundings(SteadySpec(20.0, 60.0), 0, 0).advance(1))
    assert truth.stored_g[-1] == pytest.approx(0.010372, rel=0.0035)
    assert truth.entered_g[-1] == pytest.approx(truth.stored_g[-1] - before, rel=1e-9)
    assert truth.rh_pct[-1] == 100.0


def test_fresh_desiccant_dries_the_box() -> None:
    """After a swap the gel's load is that of regenerated gel and the humidity falls."""
    truth = simulate_box(
        with_gel(200.0, 0.18), SteadySpec(20.0, 60.0), 0, 20 * MS_PER_DAY, [Swap(10 * MS_PER_DAY)]
    )
    assert truth.erh_pct[1430] > 30
    assert truth.erh_pct[-1] < 5
    assert truth.gel_load[-1] == pytest.approx(0.022, abs=0.002)


def test_a_finer_step_changes_little() -> None:
    """Ten-minute and one-minute steps tell the same story, lifted lid and all, within 0.3 % eRH."""
    spec = BoxSpec(
        volume_l=12.0, air_changes_per_day=2.0, gel_g=100.0, seeds=(SeedMass(300.0),), gel_start=0.1
    )
    fine = simulate_box(spec, ColdSpec(), 0, 2 * MS_PER_DAY, [Opening(MS_PER_DAY)], step_s=60)
    air = surroundings(ColdSpec(), 0, 0, 60).advance(2880)
    coarse_air = type(air)(air.time_ms[9::10], air.temp_c[9::10], air.rh_pct[9::10])
    first = float(air.temp_c[0]), float(air.rh_pct[0])
    coarse = BoxModel(spec, 0, *first, [Opening(MS_PER_DAY)]).advance(coarse_air)
    assert np.max(np.abs(coarse.erh_pct - fine.erh_pct[9::10])) < 0.3
    assert abs(coarse.erh_pct[-1] - fine.erh_pct[-1]) < 0.01
    assert coarse.stored_g[-1] == pytest.approx(fine.stored_g[-1], abs=0.01)


def test_a_lifted_lid_does_not_count_as_passing_a_limit() -> None:
    """The limit is passed when the humidity stays above it; never is None."""
    truth = simulate_box(
        with_gel(100.0, 0.02), SteadySpec(20.0, 60.0), 0, 100 * MS_PER_DAY, [Opening(MS_PER_DAY)]
    )
    assert truth.passes_ms(90.0) is None
    passes = truth.passes_ms(5.0)
    assert passes is not None
    assert passes > 2 * MS_PER_DAY
