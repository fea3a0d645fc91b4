import psychrolib
import pytest

from hilum.simulate import physics


@pytest.mark.parametrize("temp_c", [0.1, 5.0, 10.0, 20.0, 30.0])
def test_saturation_pressure_agrees_with_another_library(temp_c: float) -> None:
    """Over water the Magnus form lies within 0.3 % of PsychroLib (Hyland & Wexler 1983)."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    assert physics.saturation_pa(temp_c) == pytest.approx(
        psychrolib.GetSatVapPres(temp_c), rel=0.0032
    )


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "g_m3"), [(25, 50, 11.516), (20, 60, 10.372), (15, 15, 1.924)]
)
def test_water_in_air_agrees_with_the_ideal_gas_table(
    temp_c: float, rh_pct: float, g_m3: float
) -> None:
    """Absolute humidity from Hyland & Wexler 1983 pressures and the ideal gas law, g/m3."""
    found = physics.vapour_g_m3(rh_pct / 100 * physics.saturation_pa(temp_c), temp_c)
    assert found == pytest.approx(g_m3, rel=0.0035)


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "per_100_g"),
    [
        (20, 10, 6.36),
        (20, 15, 8.46),
        (20, 20, 10.85),
        (20, 25, 13.56),
        (20, 30, 16.53),
        (20, 40, 22.46),
        (25, 50, 27.0),
        (25, 70, 32.6),
        (25, 90, 35.4),
        (15, 20, 11.1),
    ],
)
def test_gel_holds_what_the_type_125_fit_says(
    temp_c: float, rh_pct: float, per_100_g: float
) -> None:
    """Loads of type 125 gel (Schawe 2000 fit), g per 100 g dry gel, as tabulated; and back."""
    load, _ = physics.gel_load(rh_pct / 100, temp_c)
    assert 100 * load == pytest.approx(per_100_g, abs=0.05)
    assert physics.gel_rh_pct(load, temp_c) == pytest.approx(rh_pct, abs=0.01)


def test_gel_is_a_straight_line_from_dry_below_ten_percent() -> None:
    """Below 10 % relative humidity the fit is not used: half the humidity, half the load."""
    at_ten, _ = physics.gel_load(0.10, 20.0)
    assert physics.gel_load(0.05, 20.0)[0] == pytest.approx(at_ten / 2, rel=1e-9)
    assert physics.gel_rh_pct(0.0, 20.0) < 0.2


@pytest.mark.parametrize(
    ("oil", "rh_pct", "temp_c", "mc_dry_pct"),
    [
        (0.02, 15, 15, 6.5425),
        (0.40, 15, 15, 4.0056),
        (0.02, 20, 20, 7.3441),
        (0.20, 30, 20, 7.5796),
        (0.02, 50, 25, 12.4218),
        (0.30, 25, 5, 6.8154),
    ],
)
def test_seed_holds_what_the_general_isotherm_says(
    oil: float, rh_pct: float, temp_c: float, mc_dry_pct: float
) -> None:
    """Cromarty, Ellis & Roberts 1982 with the whole group squared, % dry basis, four decimals."""
    found = physics.seed_scale(oil, temp_c) * physics.seed_shape(rh_pct / 100)[0]
    assert 100 * found == pytest.approx(mc_dry_pct, abs=6e-5)


@pytest.mark.parametrize("r", [0.02, 0.099, 0.101, 0.3, 0.6, 0.95])
def test_slopes_are_those_of_the_curves(r: float) -> None:
    """The slopes given with gel and seed curves agree with small differences."""
    d = 1e-6
    for curve in (physics.seed_shape, lambda x: physics.gel_load(x, 12.0)):
        numeric = (curve(r + d)[0] - curve(r - d)[0]) / (2 * d)
        assert curve(r)[1] == pytest.approx(numeric, rel=1e-4)


def test_polypropylene_at_room_temperature() -> None:
    """0.0429 g mm/(m2 day kPa) at 38 °C becomes 0.0257 at 20 °C with 21.5 kJ/mol (derived)."""
    found = physics.permeability(0.0429, 21_500.0, 20.0)
    assert found == pytest.approx(0.0257, rel=0.003)
