"""Freezing: the verdict at each edge of the rule, and when a cold box may be opened."""

from dataclasses import replace

import psychrolib
import pytest

from hilum.science.errors import OutOfRangeError
from hilum.science.freezing import (
    CAUTIONS,
    Freezing,
    freezing_advice,
    most_moisture_pct,
    opening_advice,
)
from hilum.science.isotherms import wet_from_dry_pct
from hilum.science.kinds import Behaviour, Fact, Kind, kind, kinds, own_isotherm


def oily(oil_pct: float) -> Kind:
    """A kind of seed that bears drying, with this much oil and the general isotherm."""
    return replace(
        kind("onion"), oil_pct=Fact(oil_pct, "test", "test"), isotherm=Fact("", "test", "test")
    )


def moisture(of: Kind, erh_pct: float) -> float:
    """Moisture at which its humidity at 20 °C is this."""
    return float(wet_from_dry_pct(own_isotherm(of).mc_dry_pct(erh_pct, 20.0)))


@pytest.mark.parametrize(
    ("erh_pct", "verdict"),
    [
        (10.0, Freezing.ALLOWED),
        (29.9, Freezing.ALLOWED),
        (30.1, Freezing.FRIDGE),
        (49.9, Freezing.FRIDGE),
        (50.1, Freezing.NO),
        (64.9, Freezing.NO),
        (65.1, Freezing.DANGER),
        (90.0, Freezing.DANGER),
    ],
)
def test_edges_of_humidity(erh_pct: float, verdict: Freezing) -> None:
    """Up to 30 % freezing is allowed, up to 50 % the fridge; above 65 % it must be dried now.

    Limits: derived rule, from freezable water in Vertucci 1989 and Dussert et al. 2001. Seed with
    24 % oil stays below its limit of moisture at 30 % humidity, so that only humidity decides.
    """
    seed = oily(24.0)
    advice = freezing_advice(seed, moisture(seed, erh_pct))
    assert advice.verdict is verdict
    assert advice.erh_pct == pytest.approx(erh_pct, abs=1e-6)
    cold = verdict in {Freezing.ALLOWED, Freezing.FRIDGE}
    assert advice.cautions == (CAUTIONS if cold else ())


@pytest.mark.parametrize(
    ("oil_pct", "limit"),
    [(0.0, 9.0), (9.9, 9.0), (10.0, 8.0), (25.0, 8.0), (25.1, 6.5), (60.0, 6.5)],
)
def test_edges_of_moisture_by_oil(oil_pct: float, limit: float) -> None:
    """Below 10 % oil 9 % water is the most, to 25 % oil 8 %, above 6.5 %; derived rule."""
    assert most_moisture_pct(oil_pct) == limit


def test_starchy_seed_dries_below_9_pct() -> None:
    """Seed with 2 % oil reaches its 9 % water at 33 % humidity: just above, the fridge only.

    Cromarty, Ellis & Roberts 1982 with 2 % oil at 20 °C: 8.50 % wet basis at 30 % humidity, 8 % at
    27 %.
    """
    seed = oily(2.0)
    assert freezing_advice(seed, 8.6).verdict is Freezing.FRIDGE
    assert freezing_advice(seed, 8.0).verdict is Freezing.ALLOWED


def test_moisture_forbids_below_30_pct_too() -> None:
    """Where the kind holds more water than its limit at a humidity that is allowed, it waits."""
    moist = replace(
        oily(24.0),
        oil_pct=Fact(30.0, "test", "test"),
        isotherm=Fact("wheat-hard-red", "test", "test"),
    )
    mc = moisture(moist, 25.0)
    assert mc > 6.5
    advice = freezing_advice(moist, mc)
    assert advice.verdict is Freezing.FRIDGE
    assert "6.5 % is the most for its oil" in advice.words


@pytest.mark.parametrize("behaviour", [each for each in Behaviour if each != "orthodox"])
def test_seed_that_bears_no_drying_is_never_frozen(behaviour: Behaviour) -> None:
    """Recalcitrant, intermediate and unknown seed and storage organs are never frozen, however dry.

    Behaviour: Walters & Towill, USDA Agriculture Handbook 66.
    """
    seed = kind("onion")
    seed = replace(seed, behaviour_fact=replace(seed.behaviour_fact, value=behaviour))
    advice = freezing_advice(seed, 3.0)
    assert advice.verdict is Freezing.NEVER
    assert advice.cautions == ()


def test_every_kind_has_a_verdict() -> None:
    """No kind of the table is left without a verdict; only orthodox ones are ever allowed."""
    for each in kinds().values():
        allowed = freezing_advice(each, 4.0).verdict is not Freezing.NEVER
        assert allowed == (each.behaviour is Behaviour.ORTHODOX)


def test_what_is_not_known_is_not_frozen() -> None:
    """An unknown kind is never frozen; unknown moisture is not frozen either."""
    assert freezing_advice(None, 5.0).verdict is Freezing.NEVER
    assert freezing_advice(kind("onion"), None).verdict is Freezing.NO
    with pytest.raises(OutOfRangeError, match="moisture"):
        freezing_advice(kind("onion"), 60.0)


@pytest.mark.parametrize(("room_c", "room_rh_pct"), [(20.0, 60.0), (25.0, 40.0), (15.0, 80.0)])
def test_opening_two_degrees_above_the_dew_point(room_c: float, room_rh_pct: float) -> None:
    """A box opens 2 °C above the room's dew point; dew point by psychrolib (ASHRAE 2017)."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    edge = psychrolib.GetTDewPointFromRelHum(room_c, room_rh_pct / 100.0) + 2.0
    assert opening_advice(edge + 0.1, room_c, room_rh_pct).may_open
    shut = opening_advice(edge - 0.1, room_c, room_rh_pct)
    assert not shut.may_open
    assert shut.open_from_c == pytest.approx(edge, abs=0.05)
    assert "Keep it closed" in shut.words
    assert not opening_advice(-18.0, room_c, room_rh_pct).may_open
