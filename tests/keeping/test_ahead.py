"""Loss that is to come under each way of keeping seed, against plain small steps."""

import math
from dataclasses import replace

import numpy as np
import pytest

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Box, BoxType, Wrap
from hilum.keeping.lots.ahead import (
    STORAGES,
    Ahead,
    Storage,
    evidence_then,
    losses_ahead,
    storage_named,
)
from hilum.keeping.lots.outlook import Case, lot_case
from hilum.science.seedmodel import SeedModel, equilibrium_mc_dry_pct, loss_rate_per_day
from hilum.science.surrogates import basis_for, model_on
from keeping.shelves import NOW_MS, lot, shelf_of

DAYS = np.array([0.0, 3.0, 60.0, 400.0])
KEPT = lot("A", age_days=200, prior_temp_c=12.0, prior_rh_pct=55.0)
"""An onion lot that has lived at 12 °C and 55 % for 200 days: at rest with its air."""


def case() -> Case:
    """The lot as it is now."""
    return lot_case(shelf_of(KEPT), KEPT, NOW_MS)


def onion() -> SeedModel:
    """Onion's own model."""
    found = case().kind
    assert found is not None
    return model_on(basis_for(found), found)


def plain(temp_c: float, from_mc: float, to_mc: float, tau_days: float) -> list[float]:
    """Loss by 200 steps a day of seed that drifts from one moisture to another."""
    model, steps = onion(), 200
    count = int(DAYS[-1]) * steps
    middle = (np.arange(count) + 0.5) / steps
    mc = to_mc + (from_mc - to_mc) * np.exp(-middle / tau_days)
    rate = loss_rate_per_day(model, mc, np.full(count, temp_c)) / steps
    total = np.concatenate(([0.0], np.cumsum(rate)))
    return [float(total[int(day * steps)]) for day in DAYS]


def ahead(storage: Storage, wrap: Wrap = Wrap.PAPER) -> Ahead:
    """What is to come."""
    return losses_ahead(case(), wrap, storage, DAYS)


@pytest.mark.parametrize(
    ("wrap", "tau_days"), [(Wrap.OPEN, 1.0), (Wrap.PAPER, 4.0), (Wrap.POLY, 90.0)]
)
def test_seed_on_a_shelf_comes_to_rest_with_the_room(wrap: Wrap, tau_days: float) -> None:
    """From 12 °C and 55 % to 20 °C and 50 %, with the lag of the wrap at 20 °C."""
    model = onion()
    now = equilibrium_mc_dry_pct(model, 55.0, 12.0)
    shelf = equilibrium_mc_dry_pct(model, 50.0, 20.0)
    found = ahead(STORAGES["shelf"], wrap)
    assert found.loss_probit == pytest.approx(plain(20.0, now, shelf, tau_days), rel=5e-3)
    assert found.cold_probit.tolist() == [0.0] * 4
    assert found.dry_probit.tolist() == [0.0] * 4
    assert not found.wet


def test_sealed_seed_keeps_its_moisture_wherever_it_goes() -> None:
    """In foil on the shelf: only the temperature changes; so in the fridge, dried first or not."""
    model = onion()
    now = equilibrium_mc_dry_pct(model, 55.0, 12.0)
    for key, temp_c in (("shelf", 20.0), ("fridge", 5.0), ("freezer", -18.0), ("gel", 12.0)):
        found = ahead(STORAGES[key], Wrap.FOIL)
        rate = float(loss_rate_per_day(model, now, temp_c))
        assert found.loss_probit == pytest.approx(rate * DAYS, rel=1e-6), key


@pytest.mark.parametrize(("key", "temp_c", "cold"), [("fridge", 5.0, 0.0), ("freezer", -18.0, 1.0)])
def test_seed_for_the_cold_is_dried_and_sealed_first(key: str, temp_c: float, cold: float) -> None:
    """At once as dry as 25 % at 20 °C makes it; below 5 °C all of the loss counts as cold."""
    model = onion()
    rate = float(loss_rate_per_day(model, equilibrium_mc_dry_pct(model, 25.0, 20.0), temp_c))
    found = ahead(STORAGES[key])
    assert found.loss_probit == pytest.approx(rate * DAYS, rel=1e-6)
    assert found.cold_probit == pytest.approx(cold * rate * DAYS, rel=1e-6)


def test_fresh_gel_dries_seed_where_it_stands() -> None:
    """As warm as it is, 12 °C, towards the middle of the box's band, slower in the cool."""
    model = onion()
    now = equilibrium_mc_dry_pct(model, 55.0, 12.0)
    box = Box("tub", "Tub", BoxType.TUB, target_low_pct=20.0, target_high_pct=40.0)
    gel = storage_named("gel", box=box)
    assert "30 %" in gel.words
    assert storage_named("gel").rh_pct == 25.0
    goal = equilibrium_mc_dry_pct(model, 30.0, 12.0)
    slower = 4.0 * 2.0**0.8
    expected = plain(12.0, now, goal, slower)
    assert ahead(gel).loss_probit == pytest.approx(expected, rel=5e-3)


def test_very_dry_loss_is_told_apart_and_damp_is_flagged() -> None:
    """At 15 % nearly all of the loss is very dry (below 20 %); at 95 % the equation fails."""
    dry = ahead(storage_named("given", 20.0, 15.0), Wrap.OPEN)
    assert dry.dry_probit[-1] > 0.5 * dry.loss_probit[-1] > 0.0
    assert dry.dry_probit[1] < dry.loss_probit[1]
    edge = ahead(storage_named("given", 20.0, 25.0), Wrap.OPEN)
    assert edge.dry_probit[-1] == 0.0
    assert ahead(storage_named("given", 20.0, 95.0), Wrap.OPEN).wet
    assert not edge.wet


def test_as_it_is_and_as_it_was() -> None:
    """At the rate of this moment, or at the mean of the last thirty days: not the same thing."""
    here = case()
    other = replace(here, loss=replace(here.loss, recent_per_day=0.01, rate_per_day=0.002))
    for key, rate in (("recent", 0.01), ("as-is", 0.002)):
        found = losses_ahead(other, Wrap.PAPER, STORAGES[key], DAYS)
        assert found.loss_probit == pytest.approx(rate * DAYS)
        assert not found.cold_probit.any()
        assert not found.dry_probit.any()
        assert not found.wet
    chilly = replace(here, loss=replace(here.loss, temp_c=4.9, erh_pct=19.9, recent_per_day=0.01))
    found = losses_ahead(chilly, Wrap.PAPER, STORAGES["recent"], DAYS)
    assert found.cold_probit == pytest.approx(0.01 * DAYS)
    assert found.dry_probit == pytest.approx(0.01 * DAYS)


def test_doubt_then_is_that_of_all_the_loss_until_then() -> None:
    """Onion's factor of 4, times 2 for what ran cold and 1.5 for what ran very dry, by share."""
    here = case()
    lost = here.loss.total_probit or 0.0
    coming = Ahead(np.array([0.5, 2.0]), np.array([0.0, 0.8]), np.array([0.2, 0.6]), wet=False)
    for place, cold, dry in ((0, 0.0, 0.2), (1, 0.8, 0.6)):
        evidence, loss = evidence_then(here, coming, place)
        whole = lost + float(coming.loss_probit[place])
        assert loss == pytest.approx(whole, rel=1e-3)  # told to four digits
        expected = 4.0 * math.exp((cold * math.log(2.0) + dry * math.log(1.5)) / whole)
        assert evidence.factor == pytest.approx(expected, rel=1e-3)
        assert here.evidence is not None
        assert evidence.counts == here.evidence.counts


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "field"),
    [(-40.1, 30.0, "temp"), (50.1, 30.0, "temp"), (20.0, -0.1, "rh"), (20.0, 99.1, "rh"),
     (None, 30.0, "temp"), (20.0, None, "temp")],
)  # fmt: skip
def test_impossible_conditions_are_refused(
    temp_c: float | None, rh_pct: float | None, field: str
) -> None:
    """Outside -40 to 50 °C and 0 to 99 %, or only one of the two: said, at its field."""
    with pytest.raises(InvalidInputError) as refused:
        storage_named("given", temp_c, rh_pct)
    assert refused.value.field == field
    for good in ((-40.0, 0.0), (50.0, 99.0)):
        assert storage_named("given", *good).rh_pct == good[1]


def test_a_name_and_numbers_do_not_go_together() -> None:
    """A fridge at 12 °C is a contradiction; an unknown name is told the known ones."""
    with pytest.raises(InvalidInputError, match="Give either"):
        storage_named("fridge", 12.0, 30.0)
    with pytest.raises(InvalidInputError, match="shelf"):
        storage_named("cellar")
    assert storage_named("recent", 12.0, 30.0).key == "given"
