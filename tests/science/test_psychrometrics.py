"""Air and its water against published tables, another library and measured room air."""

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import psychrolib
import pytest

from hilum.science import psychrometrics as air
from hilum.science.errors import OutOfRangeError

Published = Callable[[str], list[dict[str, str]]]
TEMPS_C = np.linspace(-40.0, 60.0, 41)


@pytest.fixture(autouse=True)
def si_units() -> None:
    """Put psychrolib, which keeps its units in a global, into SI units."""
    psychrolib.SetUnitSystem(psychrolib.SI)


def test_pressure_over_water_equals_the_published_formula(published: Published) -> None:
    """Saturation over water agrees to 0.01 Pa with the tabulated Hyland-Wexler values."""
    for row in published("saturation_pressure"):
        ours = air.saturation_pressure_water_pa(float(row["temp_c"]))
        assert ours == pytest.approx(float(row["hyland_wexler"]), abs=0.006)


def test_pressure_over_water_agrees_with_other_formulas(published: Published) -> None:
    """Saturation over water lies within 0.05 % of IAPWS-IF97 and of Sonntag 1990."""
    for row in published("saturation_pressure"):
        for other in (row["iapws_if97"], row["sonntag"]):
            ours = air.saturation_pressure_water_pa(float(row["temp_c"]))
            assert not other or ours == pytest.approx(float(other), rel=5e-4)


def test_pressure_over_ice_equals_the_published_formula(published: Published) -> None:
    """Saturation over ice agrees to 0.01 Pa with Hyland-Wexler and within 0.02 % with WMO."""
    for row in published("saturation_pressure_ice"):
        ours = air.saturation_pressure_ice_pa(float(row["temp_c"]))
        assert ours == pytest.approx(float(row["hyland_wexler"]), abs=0.006)
        assert ours == pytest.approx(float(row["wmo"]), rel=2e-4)


def test_supercooled_water_at_freezer_temperature() -> None:
    """At -18 °C water stands at 149.01 Pa (Hyland-Wexler), within 0.3 % of WMO's 149.39."""
    ours = air.saturation_pressure_water_pa(-18.0)
    assert ours == pytest.approx(149.01, abs=0.006)
    assert ours == pytest.approx(149.39, rel=3e-3)


def test_pressures_equal_psychrolib() -> None:
    """Both pressures equal psychrolib's, which takes ice below and water above the triple point."""
    for temp_c in TEMPS_C:
        theirs = psychrolib.GetSatVapPres(temp_c)
        over = air.saturation_pressure_water_pa if temp_c > 0.01 else air.saturation_pressure_ice_pa
        assert over(min(temp_c, 0.0) if temp_c <= 0.01 else temp_c) == pytest.approx(
            theirs, rel=1e-9
        )


def test_moist_air_equals_the_published_table(published: Published) -> None:
    """Vapour pressure, dew point, absolute humidity and ratio agree with the worked table."""
    for row in published("moist_air"):
        state = float(row["temp_c"]), float(row["rh_pct"])
        assert air.vapour_pressure_pa(*state) == pytest.approx(float(row["e_pa"]), abs=0.06)
        assert air.dew_point_c(*state) == pytest.approx(float(row["dew_c"]), abs=0.006)
        assert air.absolute_humidity_g_m3(*state) == pytest.approx(
            float(row["ah_g_m3"]), abs=0.0006
        )
        assert 1000 * air.humidity_ratio(*state) == pytest.approx(float(row["w_g_kg"]), abs=0.0006)


def test_dew_point_above_freezing_agrees_with_magnus(published: Published) -> None:
    """Where the dew point lies above 0 °C it is within 0.03 °C of the WMO Magnus inverse."""
    for row in published("moist_air"):
        if float(row["dew_c"]) > 0:
            ours = air.dew_point_c(float(row["temp_c"]), float(row["rh_pct"]))
            assert ours == pytest.approx(float(row["dew_magnus_c"]), abs=0.03)


def test_saturated_air_equals_the_published_table(published: Published) -> None:
    """Saturated absolute humidity agrees with the table from 0 to 35 °C."""
    for row in published("saturated_air"):
        ours = air.absolute_humidity_g_m3(float(row["temp_c"]), 100.0)
        assert ours == pytest.approx(float(row["ah_g_m3"]), abs=0.0006)


def test_humidity_of_a_packaging_standard() -> None:
    """Air of 20 °C and 80 % holds 13.83 g/m³, the figure printed with DIN 55474."""
    assert air.absolute_humidity_g_m3(20.0, 80.0) == pytest.approx(13.83, abs=0.006)


@pytest.mark.parametrize("rh_pct", [1.0, 15.0, 35.0, 60.0, 85.0, 100.0])
def test_dew_point_and_ratio_equal_psychrolib(rh_pct: float) -> None:
    """Above freezing, dew or frost point and humidity ratio equal psychrolib's."""
    for temp_c in TEMPS_C[TEMPS_C > 0.5]:
        ratio = psychrolib.GetHumRatioFromRelHum(temp_c, rh_pct / 100, 95000.0)
        assert air.humidity_ratio(temp_c, rh_pct, 95000.0) == pytest.approx(ratio, rel=1e-6)
        dew = psychrolib.GetTDewPointFromRelHum(temp_c, rh_pct / 100)
        assert air.dew_point_c(temp_c, rh_pct) == pytest.approx(dew, abs=2e-3)


def test_dew_point_solves_its_equation() -> None:
    """Saturation at the dew or frost point equals the vapour pressure over the whole range."""
    temp, humidity = np.meshgrid(np.linspace(-40.0, 100.0, 57), np.linspace(0.1, 100.0, 80))
    vapour = air.vapour_pressure_pa(temp, humidity)
    dew = air.dew_point_c(temp, humidity)
    wet = dew > 0.0
    np.testing.assert_allclose(air.saturation_pressure_water_pa(dew[wet]), vapour[wet], rtol=1e-9)
    frost = dew < -0.001  # the two curves meet at 0 °C but for 0.06 Pa
    np.testing.assert_allclose(air.saturation_pressure_ice_pa(dew[frost]), vapour[frost], rtol=1e-9)
    assert np.all(np.isfinite(dew))


def test_frost_forms_below_saturation_over_water() -> None:
    """At -18 °C a surface frosts above 84 % humidity: the frost point passes the air there."""
    ice_saturation_pct = 100 * 124.92 / 149.01
    assert air.dew_point_c(-18.0, ice_saturation_pct) == pytest.approx(-18.0, abs=0.01)


def test_measured_room_air(shared_data: Callable[[str], Path]) -> None:
    """The humidity ratio published with measured room air (Candanedo & Feldheim 2016) is met."""
    path = shared_data("room_climate_2015-02.csv")
    lines = csv.reader(path.read_text(encoding="utf-8").splitlines()[1:])
    columns = np.array([[row[2], row[3], row[6]] for row in lines], dtype=np.float64)
    temp, humidity, ratio = (np.ascontiguousarray(column) for column in columns.T)
    assert len(ratio) > 2000
    np.testing.assert_allclose(air.humidity_ratio(temp, humidity), ratio, rtol=4e-3)


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "value"),
    [(-40.1, 50.0, -40.1), (100.5, 50.0, 100.5), (20.0, 101.0, 101.0), (20.0, -1.0, -1.0)],
)
def test_outside_the_range_is_refused(temp_c: float, rh_pct: float, value: float) -> None:
    """Every function of air names the value it cannot take."""
    for function in (
        air.vapour_pressure_pa,
        air.dew_point_c,
        air.absolute_humidity_g_m3,
        air.humidity_ratio,
    ):
        with pytest.raises(OutOfRangeError) as caught:
            function(temp_c, rh_pct)
        assert caught.value.value == value


def test_limits_of_the_pressures() -> None:
    """Saturation pressures stop where their formulas do."""
    for temp_c in (-41.0, 201.0):
        with pytest.raises(OutOfRangeError):
            air.saturation_pressure_water_pa(temp_c)
    for temp_c in (-101.0, 0.1):
        with pytest.raises(OutOfRangeError):
            air.saturation_pressure_ice_pa(temp_c)


def test_boiling_water_has_no_humidity_ratio() -> None:
    """Where the vapour alone would exceed the air pressure the ratio is refused."""
    with pytest.raises(OutOfRangeError, match="vapour pressure"):
        air.humidity_ratio(99.0, 100.0, 90000.0)
    with pytest.raises(OutOfRangeError, match="air pressure"):
        air.humidity_ratio(20.0, 50.0, 1013.25)
