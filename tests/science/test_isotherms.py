"""Seed moisture against printed tables, independent points and its own inverse."""

from collections.abc import Callable

import numpy as np
import pytest

from hilum.science import tables
from hilum.science.errors import OutOfRangeError, UnknownNameError
from hilum.science.isotherms import (
    GeneralIsotherm,
    Isotherm,
    ModifiedOswin,
    d245,
    dry_from_wet_pct,
    wet_from_dry_pct,
)

Published = Callable[[str], list[dict[str, str]]]
SETS = [(row["key"], row["form"]) for row in tables.rows("isotherm_coefficients")]


def wet_pct(isotherm: Isotherm, rh_pct: float, temp_c: float) -> float:
    """Moisture as printed tables give it."""
    return wet_from_dry_pct(isotherm.mc_dry_pct(rh_pct, temp_c))


def test_basis_conversion_equals_the_arithmetic() -> None:
    """Wet basis becomes dry basis as 100 m / (100 - m) does on paper."""
    pairs = [(4, 4.167), (5, 5.263), (6, 6.383), (7, 7.527), (8, 8.696), (10, 11.111)]
    for wet, dry in [*pairs, (12, 13.636), (13.5, 15.607), (15, 17.647), (20, 25.0)]:
        assert dry_from_wet_pct(wet) == pytest.approx(dry, abs=6e-4)
        assert wet_from_dry_pct(dry_from_wet_pct(wet)) == pytest.approx(wet, rel=1e-14)


def test_general_isotherm_equals_its_regression_table(published: Published) -> None:
    """Cromarty 1982, temperature inside the square, agrees with 88 values computed apart."""
    rows = published("general_isotherm")
    assert len(rows) == 88
    for row in rows:
        isotherm = GeneralIsotherm(float(row["oil_fraction"]))
        ours = wet_pct(isotherm, float(row["rh_pct"]), float(row["temp_c"]))
        assert ours == pytest.approx(float(row["mc_wet_pct"]), abs=0.0051)


@pytest.mark.parametrize(
    ("fraction", "temp_c", "oil", "dry", "wet"),
    [
        (0.15, 15, 0.02, 6.5425, 6.1407),
        (0.15, 15, 0.40, 4.0056, 3.8513),
        (0.20, 20, 0.02, 7.3441, 6.8417),
        (0.30, 20, 0.20, 7.5796, 7.0456),
        (0.50, 25, 0.02, 12.4218, 11.0493),
        (0.25, 5, 0.30, 6.8154, 6.3805),
    ],
)
def test_general_isotherm_to_four_decimals(
    fraction: float, temp_c: float, oil: float, dry: float, wet: float
) -> None:
    """Six values of the published formula, computed apart, are met on both bases and inverted."""
    isotherm = GeneralIsotherm(oil)
    ours = isotherm.mc_dry_pct(100 * fraction, temp_c)
    assert ours == pytest.approx(dry, abs=5.1e-5)
    assert wet_from_dry_pct(ours) == pytest.approx(wet, abs=5.1e-5)
    assert isotherm.erh_pct(dry, temp_c) == pytest.approx(100 * fraction, abs=1e-3)


def test_general_isotherm_against_vegetable_seed(published: Published) -> None:
    """With literature oil the recalled vegetable table is met: rms 0.9, at worst 2.3 % moisture.

    Handbook 506, 10 to 75 % humidity, 25 °C. The form with the temperature term outside the square
    misses by 1 to 2.5.
    """
    rows = published("emc_vegetables")
    misses = np.array(
        [
            wet_pct(GeneralIsotherm(float(row["oil_pct"]) / 100), float(row["rh_pct"]), 25.0)
            - float(row["mc_wet_pct"])
            for row in rows
        ]
    )
    assert len(misses) >= 120
    assert np.sqrt(np.mean(misses**2)) <= 0.9
    assert np.abs(misses).max() <= 2.3


def test_general_isotherm_meets_the_genebank_point() -> None:
    """At 15 % and 15 °C seed holds about 3 to 7 % by oil content (Kew Information Sheet 11)."""
    assert 6.0 < wet_pct(GeneralIsotherm(0.0), 15.0, 15.0) < 7.0
    assert 3.0 < wet_pct(GeneralIsotherm(0.5), 15.0, 15.0) < 4.0


def test_sealed_seed_dries_its_box_when_cooled() -> None:
    """At constant moisture the humidity falls with temperature as computed from the formula."""
    published = {
        15: (10.6, 11.5, 12.7, 13.9, 16.2, 17.4, 18.6),
        30: (21.9, 23.4, 25.9, 27.9, 32.1, 34.2, 36.4),
        50: (38.1, 40.5, 44.1, 47.1, 52.9, 55.7, 58.5),
    }
    for oil in (0.0, 0.45):
        isotherm = GeneralIsotherm(oil)
        for at_20_c, expected in published.items():
            moisture = isotherm.mc_dry_pct(float(at_20_c), 20.0)
            drift = isotherm.erh_pct(moisture, np.array([0.0, 4, 10, 15, 25, 30, 35]))
            np.testing.assert_allclose(drift, expected, atol=0.11)  # printed to 0.1, some cut off


def test_d245_sets_equal_printed_tables(published: Published) -> None:
    """D245 sets meet printed tables of maize and rice to their rounding, 0.05 % moisture."""
    rows = published("emc_printed")
    assert len(rows) == 109
    for row in rows:
        ours = wet_pct(d245(row["key"]).isotherm, float(row["rh_pct"]), float(row["temp_c"]))
        assert ours == pytest.approx(float(row["mc_wet_pct"]), abs=0.0505)


def test_d245_sets_equal_their_check_values(published: Published) -> None:
    """The preferred form of 13 materials meets values at 25 °C that were computed apart."""
    for row in published("d245_check"):
        ours = wet_pct(d245(row["key"], row["form"]).isotherm, float(row["rh_pct"]), 25.0)
        assert ours == pytest.approx(float(row["mc_wet_pct"]), abs=0.0051)
        assert d245(row["key"]).isotherm == d245(row["key"], row["form"]).isotherm


@pytest.mark.parametrize(
    ("key", "form", "air", "wet", "tolerance"),
    [
        # Grain-drying notes quoting D245.6: maize and soybean at 60 °F and 80 %
        ("maize-yellow-dent", "chung_pfost", (80, 15.6), 16.1, 0.1),
        ("soybean", "halsey", (80, 15.6), 18.3, 0.15),
        # Univ. Kentucky 2012, soybean at 70 °F and 50 %
        ("soybean", "halsey", (50, 21.1), 8.8, 0.05),
        # Howlett, Osmosis: 15 % dry basis on the 1976 maize curve, humidity read off to 1 or 2 %
        ("maize-yellow-dent-1976-set", "henderson", (49, 0), 13.04, 0.25),
        ("maize-yellow-dent-1976-set", "henderson", (62, 21.1), 13.04, 0.25),
        ("maize-yellow-dent-1976-set", "henderson", (68, 32.2), 13.04, 0.25),
        # Meronuk (Plants 2022 11:3167), starchy cereals at 65 %: 13 %, to 1 %
        ("wheat-hard-red", "oswin", (65, 25), 13.0, 1.0),
        ("wheat-durum", "oswin", (65, 25), 13.0, 1.0),
    ],
)
def test_d245_sets_meet_independent_points(
    key: str, form: str, air: tuple[float, float], wet: float, tolerance: float
) -> None:
    """Points read elsewhere than in the tables of the standard are met."""
    assert wet_pct(d245(key, form).isotherm, *air) == pytest.approx(wet, abs=tolerance)


def test_forms_of_one_material_agree() -> None:
    """Where a grain has several sets they lie within 1.4 % moisture at 30 to 75 %, 25 °C.

    Each equation has a typical error of 0.5 to 1 %. Known miss: sorghum's newer set, up to 2 %.
    """
    for material in ("maize-yellow-dent", "wheat-hard-red", "oats"):
        forms = [d245(key, form).isotherm for key, form in SETS if key == material]
        assert len(forms) == 3
        for rh_pct in (30.0, 45.0, 60.0, 75.0):
            values = [wet_pct(isotherm, rh_pct, 25.0) for isotherm in forms]
            assert max(values) - min(values) < 1.4


@pytest.mark.parametrize(("key", "form"), SETS)
def test_every_set_is_the_inverse_of_its_inverse(key: str, form: str) -> None:
    """Moisture leads back to humidity over the whole range, and rises with it at 5 to 50 °C."""
    isotherm = d245(key, form).isotherm
    humidity, temp = np.meshgrid(np.linspace(0.5, 99.9, 200), np.linspace(5.0, 50.0, 10))
    moisture = isotherm.mc_dry_pct(humidity, temp)
    held = moisture > 0.0  # Chung-Pfost is dry before 0 % humidity
    assert np.all(held[:, humidity[0] > 12.0])
    np.testing.assert_allclose(isotherm.erh_pct(moisture, temp)[held], humidity[held], rtol=1e-9)
    assert np.all(np.diff(moisture, axis=1) >= 0.0)
    assert np.all(np.diff(moisture[:, 25:], axis=1) > 0.0)
    assert np.all(np.diff(moisture, axis=0) <= 0.0)  # warmer seed holds less


def test_general_isotherm_is_the_inverse_of_its_inverse() -> None:
    """Moisture leads back to humidity for any oil, and falls with oil and warmth."""
    humidity, temp = np.meshgrid(np.linspace(0.0, 99.9, 200), np.linspace(-40.0, 80.0, 25))
    before = None
    for oil in (0.0, 0.2, 0.5, 0.7):
        isotherm = GeneralIsotherm(oil)
        moisture = isotherm.mc_dry_pct(humidity, temp)
        np.testing.assert_allclose(isotherm.erh_pct(moisture, temp), humidity, atol=1e-9)
        assert np.all(np.diff(moisture, axis=1) > 0.0)
        assert np.all(np.diff(moisture[:, 1:], axis=0) < 0.0)
        assert before is None or np.all(moisture[:, 1:] < before[:, 1:])
        before = moisture


@pytest.mark.parametrize(("key", "form"), SETS)
def test_every_set_starts_dry(key: str, form: str) -> None:
    """No humidity means no water; no water means little humidity, Chung-Pfost at most 7 %."""
    isotherm = d245(key, form).isotherm
    assert isotherm.mc_dry_pct(0.0, 20.0) == 0.0
    assert isotherm.erh_pct(0.0, 20.0) <= (7.0 if form == "chung_pfost" else 0.0)


def test_a_form_stops_before_its_pole() -> None:
    """Equations with T + C end one degree above -C, the others at -40 °C."""
    pod = d245("peanut pod (1976 set)", "chung_pfost").isotherm
    with pytest.raises(OutOfRangeError) as caught:
        pod.mc_dry_pct(50.0, -12.0)
    assert caught.value.low == pytest.approx(1 - 12.354)
    assert ModifiedOswin(12.412, -0.060707, 2.9397).mc_dry_pct(50.0, -40.0) > 0


@pytest.mark.parametrize("oil", [-0.01, 0.71, float("nan")])
def test_oil_outside_the_range_is_refused(oil: float) -> None:
    """Oil is a fraction of dry matter between 0 and 0.7; percents are refused."""
    with pytest.raises(OutOfRangeError, match="oil fraction"):
        GeneralIsotherm(oil)


def test_unknown_materials_are_named() -> None:
    """A wrong material offers the nearest, a wrong form those there are."""
    with pytest.raises(UnknownNameError) as caught:
        d245("maize yelow dent")
    assert "maize yellow dent" in caught.value.nearest
    with pytest.raises(UnknownNameError) as caught:
        d245("soybean", "oswin")
    assert caught.value.nearest == ("halsey",)


def test_every_material_has_one_preferred_form() -> None:
    """Each material of the table has exactly one preferred set, with source and status."""
    table = tables.rows("isotherm_coefficients")
    for key, _ in SETS:
        assert sum(row["preferred"] == "yes" for row in table if row["key"] == key) == 1
        found = d245(key)
        assert found.source
        assert found.status in {"read", "memory"}
