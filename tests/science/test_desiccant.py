"""Desiccants against published isotherms, weighings and worked examples."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import quad

from hilum.science import desiccant as d
from hilum.science.errors import OutOfRangeError, UnknownNameError

Rows = list[dict[str, str]]


def loads(published: Callable[[str], Rows], kind: str) -> list[tuple[str, float, float]]:
    """Rows of one kind: desiccant, humidity, load."""
    return [
        (row["desiccant"], float(row["rh"]), float(row["load"]))
        for row in published("desiccant_loads")
        if row["kind"] == kind
    ]


def test_fits_give_what_their_coefficients_say(published: Callable[[str], Rows]) -> None:
    """Each fit at 25 °C to the one decimal of an independent computation."""
    rows = loads(published, "computed")
    assert len(rows) > 25
    for name, rh_pct, load in rows:
        assert d.gel_load_pct(name, rh_pct, 25.0) == pytest.approx(load, abs=0.051), (name, rh_pct)


def test_default_gel_agrees_with_weighings_and_a_chart(published: Callable[[str], Rows]) -> None:
    """Weighings of 500 g of gel and a supplier's chart lie within the stated ±20 %."""
    spread = d.UNKNOWN_GEL_SPREAD_PCT.value / 100
    for _, rh_pct, load in loads(published, "household") + loads(published, "supplier"):
        assert load / d.gel_load_pct("silica-gel", rh_pct, 25.0) == pytest.approx(1, abs=spread)


def test_clay_meets_the_minimum_of_the_standard(published: Callable[[str], Rows]) -> None:
    """Clay holds at least what MIL-D-3464E asks of a unit of 33 g."""
    for name, rh_pct, load in loads(published, "minimum"):
        assert d.gel_load_pct(name, rh_pct, 25.0) >= load


def test_default_gel_at_20_degrees() -> None:
    """6.36 to 22.46 g at 10 to 40 % and 20 °C: the worked example computed from Schawe 2000."""
    rh_pct = np.array([10.0, 15.0, 20.0, 25.0, 30.0, 40.0])
    expected = [6.36, 8.46, 10.85, 13.56, 16.53, 22.46]
    np.testing.assert_allclose(d.gel_load_pct("silica-gel", rh_pct, 20.0), expected, atol=0.006)


@pytest.mark.parametrize(
    ("name", "rh_pct", "expected"),
    [("silica-gel", 20.0, (11.1, 10.6, 10.1)), ("zeolite-13x", 10.0, (22.5, 22.2, 22.0))],
)
def test_loads_change_little_with_temperature(
    name: str, rh_pct: float, expected: tuple[float, ...]
) -> None:
    """At 15, 25 and 35 °C, computed from Schawe 2000 and Wang & LeVan 2009."""
    found = d.gel_load_pct(name, rh_pct, np.array([15.0, 25.0, 35.0]))
    np.testing.assert_allclose(found, expected, atol=0.051)


def test_below_ten_percent_the_default_is_a_straight_line() -> None:
    """Half the humidity, half the load, and none in dry air."""
    ten = d.gel_load_pct("silica-gel", 10.0, 15.0)
    assert d.gel_load_pct("silica-gel", 5.0, 15.0) == pytest.approx(ten / 2, rel=1e-12)
    assert d.gel_load_pct("silica-gel", 0.0, 15.0) == 0.0


@pytest.mark.parametrize("name", d.desiccants())
def test_there_and_back_over_the_whole_range(name: str) -> None:
    """Humidity to load and back, every desiccant, -40 to 80 °C; load never falls with humidity."""
    rh_pct = np.linspace(0.0, d.RH_HIGH_PCT, 2000)
    for temp_c in (-40.0, -18.0, 4.0, 20.0, 35.0, 80.0):
        load = d.gel_load_pct(name, rh_pct, temp_c)
        assert np.all(np.diff(load) >= 0)
        back = np.clip(d.gel_rh_pct(name, load, temp_c), 0.0, d.RH_HIGH_PCT)
        np.testing.assert_allclose(d.gel_load_pct(name, back, temp_c), load, rtol=1e-9, atol=1e-9)
        if d.desiccants()[name].family == "gel":  # zeolite is flat: humidity says little
            np.testing.assert_allclose(back, rh_pct, rtol=1e-5, atol=1e-6)


def test_what_no_desiccant_can_hold_is_refused() -> None:
    """More than it holds in wet air, humidity above the range and unknown names are errors."""
    with pytest.raises(OutOfRangeError, match="load"):
        d.gel_rh_pct("silica-gel", 60.0, 20.0)
    with pytest.raises(OutOfRangeError, match="humidity"):
        d.gel_load_pct("silica-gel", 100.0, 20.0)
    with pytest.raises(UnknownNameError) as caught:
        d.find_desiccant("zeolite bead")
    assert "zeolite beads" in caught.value.nearest


def test_default_is_what_the_journal_writes() -> None:
    """A bag of “silica-gel” and “Gel” are the default."""
    assert d.find_desiccant("silica-gel") is d.find_desiccant("Gel") is d.desiccants()[d.DEFAULT]
    assert next(iter(d.desiccants())) == d.DEFAULT


def test_packaging_formula() -> None:
    """DIN 55474's printed terms 553.2 + 1600 + 6552 g over 6 g a unit: 1450.9 units."""
    units = d.packaging_units(
        final_rh_pct=40,
        volume_m3=40,
        air_water_g_m3=13.83,
        packing_kg=20,
        packing_water_g_kg=80,
        barrier_m2=65,
        wvtr_g_m2_day=0.4,
        days=360,
    )
    assert units == pytest.approx((553.2 + 1600 + 6552) / 6, rel=1e-9)
    assert units == pytest.approx(1450.9, abs=0.05)


def test_packaging_formula_knows_four_humidities() -> None:
    """DIN 55474 has 20, 40, 50 and 60 %, and counts no barrier better than 0.1 g/(m² d)."""
    with pytest.raises(OutOfRangeError, match="final humidity"):
        d.packaging_units(
            final_rh_pct=30, volume_m3=1, air_water_g_m3=10, barrier_m2=1, wvtr_g_m2_day=1, days=1
        )
    with pytest.raises(OutOfRangeError, match="transmission"):
        d.packaging_units(
            final_rh_pct=40,
            volume_m3=1,
            air_water_g_m3=10,
            barrier_m2=1,
            wvtr_g_m2_day=0.05,
            days=1,
        )


@pytest.mark.parametrize(
    ("name", "dye", "least", "highest", "said"),
    [
        ("silica-gel", None, 130, 149, "149"),  # vendor: at most 149 °C (300 °F)
        ("silica-gel", "blue", 130, 149, "blue"),  # until blue again
        ("silica-gel", "orange", None, 120, "dye"),  # recalled: the dye degrades above 120 °C
        ("zeolite", None, 250, None, "metal"),  # University of California Davis: 250 °C for 2 h
        ("clay", None, 105, 120, "105"),  # recalled, low
    ],
)
def test_oven(
    name: str, dye: str | None, least: float | None, highest: float | None, said: str
) -> None:
    """Temperatures of the published instructions, with the caution to cool it closed."""
    advice = d.oven_advice(name, dye)
    assert (advice.least_c, advice.highest_c) == (least, highest)
    assert said in advice.words
    assert "cool" in " ".join(advice.cautions)


def test_cobalt_is_warned_of() -> None:
    """Blue gel carries its hazard (ECHA candidate list, IARC 2B) wherever it is dried."""
    assert any("IARC" in caution for caution in d.oven_advice("gel", "cobalt").cautions)
    assert not any("IARC" in caution for caution in d.oven_advice("gel").cautions)


def test_indicators_turn_where_published() -> None:
    """About 8 % uptake is 14 % humidity, about 15 % is 27 %, on the default curve at 20 °C."""
    turns = {key: d.gel_rh_pct("gel", dye.uptake_pct, 20.0) for key, dye in d.indicators().items()}
    assert turns["cobalt"] == pytest.approx(14, abs=0.5)
    assert turns["orange"] == pytest.approx(27, abs=0.5)


def test_hundred_grams_last_as_the_worked_example_says() -> None:
    """0.0259 g a day fill 100 g of dry gel to 20 % in about 419 days, 342 from 2 %: by hand."""
    capacity = d.gel_load_pct("gel", 20.0, 20.0)
    assert capacity / 0.0259 == pytest.approx(419, rel=0.002)
    assert (capacity - d.FRESH_LOAD_PCT.value) / 0.0259 == pytest.approx(342, rel=0.002)


def test_load_is_the_integral_of_its_slope() -> None:
    """An independent quadrature (scipy) of the slope of the curve leads to its value."""

    def slope(rh_pct: float) -> float:
        step = 1e-4
        up = d.gel_load_pct("gel", rh_pct + step, 20.0)
        return (up - d.gel_load_pct("gel", rh_pct - step, 20.0)) / (2 * step)

    area = quad(slope, 10.001, 60.0)[0]
    rise = d.gel_load_pct("gel", 60.0, 20.0) - d.gel_load_pct("gel", 10.001, 20.0)
    assert area == pytest.approx(rise, rel=1e-6)
