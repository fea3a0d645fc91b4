"""The viability equation against published figures, worked values and its own algebra."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hilum.science.errors import OutOfRangeError, UnknownNameError
from hilum.science.normal import viability_fraction
from hilum.science.viability import (
    ViabilityConstants,
    all_constants,
    constants,
    refused_constants,
    sigma_days,
)

Published = Callable[[str], list[dict[str, str]]]
DAYS_A_YEAR = 365.25
SETS = st.sampled_from(all_constants())
MOISTURES = st.floats(1.8, 28.0)
TEMPS = st.floats(-20.0, 90.0)


def test_worked_values_are_met(published: Published) -> None:
    """Sixteen cases over 14 species agree with values computed apart, from sigma to viability."""
    rows = published("viability_arithmetic")
    assert len(rows) == 16
    for row in rows:
        mc_wet_pct, temp_c = float(row["mc_wet_pct"]), float(row["temp_c"])
        sigma = sigma_days(constants(row["key"]), mc_wet_pct, temp_c)
        assert sigma == pytest.approx(float(row["sigma_days"]), rel=6e-7)
        left = float(row["ki"]) - float(row["days"]) / sigma
        assert left == pytest.approx(float(row["ned"]), abs=6e-6)
        assert 100 * viability_fraction(left) == pytest.approx(
            float(row["viability_pct"]), abs=6e-4
        )


@pytest.mark.parametrize(
    ("key", "years"),
    # National Geographic Explorer, April 2019, table of the Svalbard vault: onion and rice read,
    # sunflower recalled. The list gives crop and years; 5 % and -20 °C are inferred.
    [("allium-cepa", 413), ("oryza-sativa-older", 1138), ("helianthus-annuus", 55)],
)
def test_published_years_in_the_vault(key: str, years: int) -> None:
    """One probit at 5 % and -20 °C takes the published years, to their rounding."""
    sigma = sigma_days(constants(key), 5.0, -20.0) / DAYS_A_YEAR
    assert sigma == pytest.approx(years, abs=1.0)


def test_published_gain_from_cooling() -> None:
    """Ten degrees cooler give about 3, 2.4, 1.9 and 1.5 times the life (genebank standards)."""
    pepper = constants("capsicum-annuum")  # on the universal CH, CQ of Dickie et al. 1990
    lives = sigma_days(pepper, 8.0, np.array([20.0, 10.0, 0.0, -10.0, -20.0]))
    np.testing.assert_allclose(lives[1:] / lives[:-1], [3.0, 2.4, 1.9, 1.5], atol=0.06)


def test_published_sigma_of_every_older_species() -> None:
    """Sigma at 8 %, 15 °C agrees with years computed apart for sets the worked values leave out."""
    expected = {
        "sorghum-bicolor": 8672,
        "pennisetum-glaucum": 5594,
        "oryza-glaberrima": 8550,
        "setaria-italica": 3403,
        "saccharum-sp": 2432,
        "eleusine-coracana": 6011,
        "paspalum-scrobiculatum": 3529,
        "cicer-arietinum": 9316,
        "vigna-unguiculata": 8509,
        "oryza-sativa-older": 3345,
        "brassica-napus": 1040,
        "beta-vulgaris-older": 11930,
        "sorghum-bicolor-older": 15758,
        "arachis-hypogaea": 335,
        "sesamum-indicum": 903,
    }
    for key, days in expected.items():
        assert sigma_days(constants(key), 8.0, 15.0) == pytest.approx(days, abs=0.6)


@given(SETS, TEMPS, st.floats(1.8, 14.0))
def test_doubling_moisture_divides_life(
    each: ViabilityConstants, temp_c: float, mc_wet_pct: float
) -> None:
    """Twice the moisture divides sigma by 2 to the power CW, at any temperature."""
    ratio = sigma_days(each, mc_wet_pct, temp_c) / sigma_days(each, 2 * mc_wet_pct, temp_c)
    assert ratio == pytest.approx(2**each.cw, rel=1e-9)


@given(SETS, st.tuples(MOISTURES, MOISTURES), st.tuples(TEMPS, TEMPS))
def test_drier_or_cooler_is_never_worse(
    each: ViabilityConstants, moistures: tuple[float, float], temps: tuple[float, float]
) -> None:
    """Within the limits less moisture and less warmth never shorten life, and life is finite."""
    dry, damp = sorted(moistures)
    cool, warm = sorted(temps)
    best = sigma_days(each, dry, cool)
    for worse in (
        sigma_days(each, damp, cool),
        sigma_days(each, dry, warm),
        sigma_days(each, damp, warm),
    ):
        assert 0.0 < worse <= best * (1 + 1e-12) < np.inf


@pytest.mark.parametrize(
    ("mc_wet_pct", "temp_c", "quantity"),
    [
        (1.7, 20.0, "moisture"),
        (28.1, 20.0, "moisture"),
        (8.0, -20.1, "temperature"),
        (8.0, 90.1, "temperature"),
        (float("nan"), 20.0, "moisture"),
    ],
)
def test_outside_the_published_range_is_refused(
    mc_wet_pct: float, temp_c: float, quantity: str
) -> None:
    """The bare equation answers only where it was published."""
    with pytest.raises(OutOfRangeError, match=quantity):
        sigma_days(constants("zea-mays"), mc_wet_pct, temp_c)


def test_every_set_says_how_far_to_trust_it() -> None:
    """Each set has a key of its own, a source, a status, a confidence and one first per species."""
    sets = all_constants()
    assert len({each.key for each in sets}) == len(sets) == 32
    firsts = [each.species for each in sets if each.use == "first"]
    assert len(firsts) == len(set(firsts))
    for each in sets:
        assert each.source
        assert each.status in {"read", "memory"}
        assert each.confidence in {"high", "medium", "low"}
        assert each.use in {"first", "second", "list"}
        assert constants(each.key) is each


def test_sets_impossible_as_printed_are_refused() -> None:
    """Two published sets give lives of seconds; they are listed with the reason, never used."""
    refused = refused_constants()
    assert len(refused) == 2
    for each in refused:
        assert sigma_days(each, 8.0, 30.0) < 1e-3
        assert "impossible" in each.note
        with pytest.raises(UnknownNameError, match="usable"):
            constants(each.key)


def test_low_trust_sets_are_marked() -> None:
    """Borage and nigella, fitted in warmth only, can be shown but are marked as not to be used."""
    listed = {each.key for each in all_constants() if each.use == "list"}
    assert listed == {"borago-officinalis", "nigella-sativa"}


def test_an_unknown_key_offers_the_nearest() -> None:
    """A mistyped key is answered with one that exists."""
    with pytest.raises(UnknownNameError) as caught:
        constants("allium-sepa")
    assert caught.value.nearest[0] == "allium-cepa"
