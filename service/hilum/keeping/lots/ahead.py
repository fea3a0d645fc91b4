"""What a lot will lose from now on, under a named assumption about how it is kept.

An assumption is always said: it stands in words beside every figure that rests on it.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Box, Floats, Wrap
from hilum.keeping.lots.known import FACTOR_DECIMALS, LOSS_DECIMALS
from hilum.keeping.lots.outlook import Case
from hilum.keeping.reckoning.kernel import COLD_C, DRY_ERH_PCT, burden
from hilum.keeping.reckoning.ledger import is_sealed
from hilum.science.germination import MAX_LOSS_PROBIT, Evidence
from hilum.science.lag import relax, tau_days
from hilum.science.seedmodel import SeedModel, equilibrium_mc_dry_pct
from hilum.science.surrogates import COLD_FACTOR, DRY_FACTOR, model_on

ROOM_C = 20.0
DRY_PCT = 25.0
"""Humidity to which seed is dried before it is sealed for the cold: the middle of the usual target
band; the Center for Plant Conservation allows 10 to 25 % (read)."""

STEPS = 96
"""Steps of the way ahead, short ones first, while moisture settles."""

ISOTHERM_TEMP_C = (0.0, 50.0)
TEMP_C, RH_PCT = (-40.0, 50.0), (0.0, 99.0)


@dataclass(frozen=True, slots=True)
class Storage:
    """A way of keeping seed.

    Without a temperature it stays as warm as it is, without humidity as moist as it is.
    ``dried`` seed is dried at room temperature first and then sealed: its moisture stays.
    """

    key: str
    words: str
    temp_c: float | None = None
    rh_pct: float | None = None
    dried: bool = False


RECENT = Storage(
    "recent", "each lot stays where it is and goes on losing as it did over the last 30 days"
)
AS_IS = Storage("as-is", "temperature and seed moisture stay as they are at this moment")
SHELF = Storage("shelf", "on a shelf at 20 °C and 50 % humidity", ROOM_C, 50.0)
FRIDGE = Storage(
    "fridge",
    "in a fridge at 5 °C, dried first to 25 % humidity and sealed",
    5.0,
    DRY_PCT,
    dried=True,
)
FREEZER = Storage(
    "freezer",
    "in a freezer at -18 °C, dried first to 25 % humidity and sealed",
    -18.0,
    DRY_PCT,
    dried=True,
)
GEL = Storage("gel", "as warm as it is, with fresh gel at 25 % humidity", None, DRY_PCT)

STORAGES: Mapping[str, Storage] = MappingProxyType(
    {each.key: each for each in (RECENT, AS_IS, SHELF, FRIDGE, FREEZER, GEL)}
)


@dataclass(frozen=True, slots=True)
class Ahead:
    """Loss from now on [probit] at times ahead, and the parts of it that run cold and very dry.

    ``wet``: the seed is too wet for the equation at some time.
    """

    loss_probit: Floats
    cold_probit: Floats
    dry_probit: Floats
    wet: bool


def storage_named(
    name: str, temp_c: float | None = None, rh_pct: float | None = None, box: Box | None = None
) -> Storage:
    """Give a way of keeping seed by name.

    Parameters
    ----------
    name : str
        One of ``STORAGES``, or "given" with temperature and humidity.
    temp_c : float, optional
        Temperature [°C], -40 to 50.
    rh_pct : float, optional
        Relative humidity [%], 0 to 99.
    box : Box, optional
        Fresh gel holds the middle of its target band.

    Raises
    ------
    InvalidInputError
        The name is not known, or a number is missing or cannot be.
    """
    if temp_c is not None or rh_pct is not None or name == "given":
        if name not in {"given", RECENT.key}:
            raise InvalidInputError(f"Give either “{name}” or a temperature and humidity.", "store")
        return _given(temp_c, rh_pct)
    if name not in STORAGES:
        known = ", ".join(STORAGES)
        raise InvalidInputError(f"“{name}” is no way of keeping seed; known are {known}.", "store")
    if name == GEL.key and box is not None:
        middle = 0.5 * (box.target_low_pct + box.target_high_pct)
        words = f"as warm as it is, with fresh gel that holds {middle:.0f} % humidity"
        return replace(GEL, words=words, rh_pct=middle)
    return STORAGES[name]


def _given(temp_c: float | None, rh_pct: float | None) -> Storage:
    if temp_c is None or rh_pct is None:
        raise InvalidInputError("Give both a temperature and a humidity.", "temp")
    for what, value, (low, high), unit, field in (
        ("temperature", temp_c, TEMP_C, "°C", "temp"),
        ("humidity", rh_pct, RH_PCT, "%", "rh"),
    ):
        if not low <= value <= high:
            raise InvalidInputError(
                f"The {what} must be between {low:g} and {high:g} {unit}, not {value:g}.", field
            )
    return Storage("given", f"at {temp_c:g} °C and {rh_pct:g} % humidity", temp_c, rh_pct)


def losses_ahead(case: Case, wrap: Wrap, storage: Storage, days: Floats) -> Ahead:
    """Loss of a lot from now on under an assumption.

    Parameters
    ----------
    case : Case
        The lot as it is now; its kind has a life model.
    wrap : Wrap
        Its wrap: sealed seed keeps its moisture wherever it goes, other seed follows the air.
    storage : Storage
        How it is kept.
    days : ndarray
        Times ahead [d], 0 or more.

    Returns
    -------
    Ahead
        Loss with multiplier 1 [probit].
    """
    loss = case.loss
    if storage.key in {RECENT.key, AS_IS.key}:
        rate = loss.recent_per_day if storage.key == RECENT.key else loss.rate_per_day
        ahead = (rate or 0.0) * days
        cold = ahead * float((loss.temp_c or 0.0) < COLD_C)
        dry = ahead * float((loss.erh_pct or 0.0) < DRY_ERH_PCT)
        return Ahead(ahead, cold, dry, wet=False)
    model = _model(case)
    temp_c = storage.temp_c if storage.temp_c is not None else float(loss.temp_c or 0.0)
    elapsed, mc = _moisture(case, model, wrap, storage, float(days.max(initial=0.0)))
    load = burden(model, mc, np.full(len(mc), temp_c))
    total, dry = (_running(elapsed, each, days) for each in (load.rate_per_day, load.dry_per_day))
    cold = total * float(temp_c < COLD_C)
    return Ahead(total, cold, dry, wet=bool(load.wet.any()))


def evidence_then(case: Case, ahead: Ahead, index: int) -> tuple[Evidence, float]:
    """What is known of a lot at a time ahead, and its loss then [probit] from the same origin.

    The doubt about the loss is as large as what of it ran cold or very dry by then makes it.
    """
    total = case.total_probit + float(ahead.loss_probit[index])
    return (
        Evidence(case.evidence.counts if case.evidence else (), _factor(case, ahead, index)),
        min(round(total, LOSS_DECIMALS), MAX_LOSS_PROBIT),
    )


def _factor(case: Case, ahead: Ahead, index: int) -> float:
    loss, basis = case.loss, case.loss.basis
    if basis is None:
        return loss.factor or 1.0
    total = (loss.total_probit or 0.0) + float(ahead.loss_probit[index])
    if total <= 0.0:
        return basis.factor
    cold = (loss.cold_probit or 0.0) + float(ahead.cold_probit[index])
    dry = (loss.dry_probit or 0.0) + float(ahead.dry_probit[index])
    widened = (cold * math.log(COLD_FACTOR) + dry * math.log(DRY_FACTOR)) / total
    return round(basis.factor * math.exp(widened), FACTOR_DECIMALS)


def _model(case: Case) -> SeedModel:
    if case.kind is None or case.loss.basis is None:
        raise ValueError("A lot without a life model has no loss ahead.")
    return model_on(case.loss.basis, case.kind)


def _moisture(
    case: Case, model: SeedModel, wrap: Wrap, storage: Storage, most_days: float
) -> tuple[Floats, Floats]:
    """Times ahead [d] and the moisture of the model's seed then [% dry basis]."""
    now_c = min(max(case.loss.temp_c or 0.0, ISOTHERM_TEMP_C[0]), ISOTHERM_TEMP_C[1])
    mc = equilibrium_mc_dry_pct(model, case.loss.erh_pct or 0.0, now_c)
    elapsed = most_days * np.linspace(0.0, 1.0, STEPS + 1) ** 3
    if is_sealed(wrap, model.size) or storage.rh_pct is None:
        return elapsed, np.full(len(elapsed), mc)
    if storage.dried:
        dry = equilibrium_mc_dry_pct(model, storage.rh_pct, ROOM_C)
        return elapsed, np.full(len(elapsed), dry)
    temp_c = storage.temp_c if storage.temp_c is not None else now_c
    target = equilibrium_mc_dry_pct(model, storage.rh_pct, temp_c)
    return elapsed, relax(mc, target, elapsed, tau_days(wrap, model.size, temp_c))


def _running(elapsed: Floats, rate: Floats, days: Floats) -> Floats:
    """Add a rate up to some days."""
    steps = np.diff(elapsed)
    total = np.concatenate(([0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * steps)))
    found: Floats = np.interp(days, elapsed, total)
    return found
