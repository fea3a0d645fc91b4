"""The loss of viability with its limits, and models that come back from their keys."""

import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hilum.science.errors import OutOfRangeError, UnknownNameError
from hilum.science.isotherms import GeneralIsotherm, d245, dry_from_wet_pct, wet_from_dry_pct
from hilum.science.normal import ned, viability_fraction
from hilum.science.seedmodel import (
    SeedModel,
    equilibrium_mc_dry_pct,
    is_very_dry,
    is_wet,
    loss_rate_per_day,
    model_for,
)
from hilum.science.viability import constants, sigma_days

KEYS = [
    "allium-cepa/oil23.5/small",
    "lactuca-sativa*0.4/oil37/small",
    "allium-cepa*0.3333333333333333/oil23.5/small",
    "zea-mays/oil4.7/large",
    "zea-mays/d245-maize-yellow-dent/large",
    "glycine-max/d245-soybean/large",
    "triticum-aestivum/d245-wheat-durum/large",
    "sorghum-bicolor/d245-sorghum/large",
]
MODELS = st.sampled_from(KEYS).map(model_for)
MOISTURES = st.floats(0.0, 60.0)
TEMPS = st.floats(-40.0, 70.0)
DAYS_A_YEAR = 365.25


@pytest.mark.parametrize(
    ("key", "dry", "damp"),
    # Years to lose one probit at 30 % and 15 °C, and at 50 % and 20 °C, computed apart from the
    # equation of Ellis & Roberts 1980 and the isotherm of Cromarty et al. 1982.
    [
        ("allium-cepa/oil23.5/small", 6.0, 1.26),
        ("lactuca-sativa/oil37/small", 14.3, 1.92),
        ("gossypium-hirsutum/oil21/large", 33.3, 4.49),
        ("pisum-sativum/oil2/large", 39.3, 5.46),
        ("capsicum-annuum/oil24/small", 4.6, 0.74),
        ("zea-mays/oil4.7/large", 17.4, 2.10),
        ("sesamum-indicum/oil51.8/small", 23.9, 4.48),
    ],
)
def test_years_at_equal_humidity(key: str, dry: float, damp: float) -> None:
    """Isotherm and equation together give the tabled years at two climates."""
    model = model_for(key)
    for (rh_pct, temp_c), years, step in (((30.0, 15.0), dry, 0.06), ((50.0, 20.0), damp, 0.006)):
        moisture = equilibrium_mc_dry_pct(model, rh_pct, temp_c)
        rate = loss_rate_per_day(model, moisture, temp_c)
        assert 1 / rate / DAYS_A_YEAR == pytest.approx(years, abs=step)


@pytest.mark.parametrize("key", KEYS)
def test_within_the_limits_it_is_the_bare_equation(key: str) -> None:
    """Between 15 and 85 % humidity the rate is that of the equation, times the scale."""
    model = model_for(key)
    for rh_pct in (16.0, 30.0, 45.0):
        for temp_c in (0.0, 5.0, 20.0, 40.0):
            moisture = model.isotherm.mc_dry_pct(rh_pct, temp_c)
            sigma = sigma_days(model.constants, wet_from_dry_pct(moisture), temp_c)
            rate = loss_rate_per_day(model, moisture, temp_c)
            assert rate == pytest.approx(1 / (sigma * model.sigma_scale), rel=1e-12)


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("temp_c", [-15.0, 0.0, 20.0, 45.0])
def test_no_gain_is_claimed_below_the_dry_limit(key: str, temp_c: float) -> None:
    """Below 15 % humidity, taken at storage temperature or 0 °C, the loss stands still."""
    model = model_for(key)
    limit = model.isotherm.mc_dry_pct(15.0, max(temp_c, 0.0))
    at_limit = loss_rate_per_day(model, limit, temp_c)
    assert loss_rate_per_day(model, limit * 0.3, temp_c) == at_limit
    assert loss_rate_per_day(model, -1.0, temp_c) == at_limit
    assert loss_rate_per_day(model, limit * 1.01, temp_c) > at_limit
    assert is_very_dry(model, limit * 0.999, temp_c)
    assert not is_very_dry(model, limit * 1.001, temp_c)


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("temp_c", [-15.0, 0.0, 20.0, 45.0])
def test_the_loss_is_held_at_the_wet_limit(key: str, temp_c: float) -> None:
    """Above 85 % humidity or 15 % moisture, whichever comes first, the loss stands still."""
    model = model_for(key)
    limit = min(model.isotherm.mc_dry_pct(85.0, max(temp_c, 0.0)), dry_from_wet_pct(15.0))
    at_limit = loss_rate_per_day(model, limit, temp_c)
    assert loss_rate_per_day(model, limit * 3, temp_c) == at_limit
    assert loss_rate_per_day(model, limit * 0.99, temp_c) < at_limit
    assert is_wet(model, limit * 1.001, temp_c)
    assert not is_wet(model, limit * 0.999, temp_c)


def test_both_wet_limits_are_met() -> None:
    """Oily seed is wet by its humidity, starchy seed by its moisture."""
    oily, starchy = model_for("helianthus-annuus/oil44.4/large"), model_for("zea-mays/oil4.7/large")
    assert is_wet(oily, oily.isotherm.mc_dry_pct(85.5, 20.0), 20.0)
    assert not is_wet(oily, oily.isotherm.mc_dry_pct(84.5, 20.0), 20.0)
    assert starchy.isotherm.erh_pct(dry_from_wet_pct(15.1), 20.0) < 85.0
    assert is_wet(starchy, dry_from_wet_pct(15.1), 20.0)
    assert not is_wet(starchy, dry_from_wet_pct(14.9), 20.0)


def test_temperature_is_held_within_the_equation() -> None:
    """Below -20 °C the equation would turn round; above 50 °C it is not for stores."""
    model = model_for("vigna-unguiculata/oil2/large")  # turns over at -26 °C
    assert loss_rate_per_day(model, 10.0, -40.0) == loss_rate_per_day(model, 10.0, -20.0)
    assert loss_rate_per_day(model, 5.0, 80.0) == loss_rate_per_day(model, 5.0, 50.0)
    assert loss_rate_per_day(model, 10.0, -19.0) > loss_rate_per_day(model, 10.0, -20.0)
    assert loss_rate_per_day(model, 5.0, 49.0) < loss_rate_per_day(model, 5.0, 50.0)


@given(MODELS, st.tuples(MOISTURES, MOISTURES), TEMPS)
def test_wetter_never_loses_less(
    model: SeedModel, moistures: tuple[float, float], temp_c: float
) -> None:
    """More moisture never slows the loss, which is finite and above 0 for any finite input."""
    dry, damp = sorted(moistures)
    slow, fast = (loss_rate_per_day(model, each, temp_c) for each in (dry, damp))
    assert 0.0 < slow <= fast < np.inf


@given(MODELS, st.floats(0.0, 99.9), st.tuples(TEMPS, TEMPS))
def test_warmer_air_of_the_same_dryness_never_loses_less(
    model: SeedModel, rh_pct: float, temps: tuple[float, float]
) -> None:
    """At constant moisture within the limits of both temperatures warmth never slows the loss."""
    cool, warm = sorted(temps)
    moisture = model.isotherm.mc_dry_pct(rh_pct, 20.0)
    limited = any(
        is_wet(model, moisture, each) or is_very_dry(model, moisture, each) for each in (cool, warm)
    )
    slow, fast = (loss_rate_per_day(model, moisture, each) for each in (cool, warm))
    assert limited or slow <= fast * (1 + 1e-12)


@given(MODELS, MOISTURES, TEMPS, st.floats(0.1, 4000.0), st.floats(0.0, 1.0))
def test_losses_add_up(
    model: SeedModel, mc_dry_pct: float, temp_c: float, days: float, cut: float
) -> None:
    """A period split in two loses what the whole loses, and one sigma costs one probit."""
    rate = loss_rate_per_day(model, mc_dry_pct, temp_c)
    start = ned(0.98)
    halfway = start - rate * days * cut
    assert halfway - rate * days * (1 - cut) == pytest.approx(start - rate * days, rel=1e-9)
    assert start - rate * (start / rate) == pytest.approx(0.0, abs=1e-12)
    assert viability_fraction(start - rate * (start / rate)) == pytest.approx(0.5, abs=1e-12)


def test_equilibrium_is_the_isotherm_between_0_and_50_c() -> None:
    """Moisture follows the isotherm; outside its span the nearest published end is used."""
    for key in KEYS:
        model = model_for(key)
        for rh_pct in (5.0, 45.0, 99.0):
            at = model.isotherm.mc_dry_pct(rh_pct, np.array([0.0, 0.0, 20.0, 50.0, 50.0]))
            temp = np.array([-30.0, 0.0, 20.0, 50.0, 75.0])
            np.testing.assert_array_equal(equilibrium_mc_dry_pct(model, rh_pct, temp), at)
        assert equilibrium_mc_dry_pct(model, -3.0, 20.0) == model.isotherm.mc_dry_pct(0.0, 20.0)
        assert equilibrium_mc_dry_pct(model, 104.0, 20.0) == model.isotherm.mc_dry_pct(99.9, 20.0)


def test_dry_air_in_the_freezer_is_very_dry() -> None:
    """Target and limit use the same isotherm in the cold, so 14 % is dry and 16 % is not."""
    for key in KEYS:
        model = model_for(key)
        assert is_very_dry(model, equilibrium_mc_dry_pct(model, 14.0, -18.0), -18.0)
        assert not is_very_dry(model, equilibrium_mc_dry_pct(model, 16.0, -18.0), -18.0)


@pytest.mark.parametrize("key", KEYS)
def test_a_key_makes_the_same_model_again(key: str) -> None:
    """The key alone gives the same model, to the last bit of its answers."""
    kept = pickle.loads(pickle.dumps(model_for(key)))  # noqa: S301 - made a moment ago
    model_for.cache_clear()
    again = model_for(key)
    assert again == kept
    assert again.key == key
    assert loss_rate_per_day(again, 9.7, 17.3) == loss_rate_per_day(kept, 9.7, 17.3)


def test_a_key_says_what_is_in_the_model() -> None:
    """Constants, scale, oil or own isotherm, and size stand in the key."""
    lettuce = model_for("lactuca-sativa*0.4/oil37/small")
    assert lettuce.constants is constants("lactuca-sativa")
    assert lettuce.isotherm == GeneralIsotherm(0.37)
    assert (lettuce.oil_fraction_dry, lettuce.sigma_scale, lettuce.size) == (0.37, 0.4, "small")
    unscaled = model_for("lactuca-sativa/oil37/small")
    faster = loss_rate_per_day(lettuce, 6.0, 20.0) / loss_rate_per_day(unscaled, 6.0, 20.0)
    assert faster == pytest.approx(1 / 0.4, rel=1e-12)
    maize = model_for("zea-mays/d245-maize-yellow-dent/large")
    assert maize.isotherm == d245("maize yellow dent").isotherm
    assert (maize.oil_fraction_dry, maize.sigma_scale, maize.size) == (None, 1.0, "large")


@pytest.mark.parametrize(
    "key",
    [
        "",
        "allium-cepa",
        "allium-cepa/oil23.5",
        "allium-cepa/oil23.5/medium",
        "allium-cepa*0/oil23.5/small",
        "allium-cepa*-1/oil23.5/small",
        "allium-cepa/oilnan/small",
        "allium-cepa/oil23.5/small\n",
        "allium-sepa/oil23.5/small",
        "zea-mays/d245-oak/large",
        "cucurbita-pepo-styriaca/oil40/large",
    ],
)
def test_keys_that_cannot_be_read_are_refused(key: str) -> None:
    """A key with a wrong form, name, scale or size is named."""
    with pytest.raises(UnknownNameError):
        model_for(key)


def test_impossible_oil_is_refused() -> None:
    """Oil above 70 % of dry matter is outside the isotherm."""
    with pytest.raises(OutOfRangeError, match="oil fraction"):
        model_for("allium-cepa/oil71/small")
