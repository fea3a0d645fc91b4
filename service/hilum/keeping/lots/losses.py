"""What storage has cost a lot so far, with its doubts.

The loss counts from the day of the germination figure it is set against (see ``origin``), or from
the first stay where none is known. It has loss multiplier 1; ``factor`` says how far it may be off,
each way.
"""

import math
from dataclasses import dataclass

import numpy as np

from hilum.domain.model import MS_PER_DAY, Floats, Ints, Lot
from hilum.domain.ports import Store
from hilum.keeping.lots.life import LotLife
from hilum.keeping.lots.lossnotes import loss_notes
from hilum.keeping.reckoning.course import ISOTHERM_TEMP_C, Ledger, Moment
from hilum.science.errors import NoLifeModelError, UnknownNameError
from hilum.science.isotherms import RH_HIGH_PCT, wet_from_dry_pct
from hilum.science.kinds import Kind, kind, own_isotherm
from hilum.science.seedmodel import SeedModel, loss_rate_per_day
from hilum.science.surrogates import COLD_FACTOR, DRY_FACTOR, Basis, basis_for, model_on

RECENT_MS = 30 * MS_PER_DAY
"""The present burn rate is the mean over this time, since the rate swings with the weather."""

AHEAD_MS = round(365.25 * MS_PER_DAY)
"""What is to come is reckoned at the mean rate over this time in the present box, or as much of it
as there is: a whole year holds every season."""

RECENT_LEAST_MS = MS_PER_DAY
"""A shorter history gives no mean: the rate of the moment stands for it."""


@dataclass(frozen=True, slots=True)
class LotLoss:
    """What storage has cost a lot up to a time, and how the seed is then.

    All figures are ``None`` where the loss is not modelled (seed that dies when dried, storage
    organs, unknown kinds): ``notes`` says why. Loss is in probits, with loss multiplier 1.

    Attributes
    ----------
    code : str
        The lot.
    at_ms : int
        The time.
    observed_probit, unobserved_probit : float or None
        Loss in boxes with readings (gaps included), and elsewhere.
    unobserved_days : float or None
        Time [d] reckoned at the lot's prior conditions.
    covered_s, estimated_s : float or None
        Time in boxes [s] backed by readings, and bridged or held beyond them.
    wet_s : float or None
        Time [s] in which seed was too wet for the equation. Never show the loss without it.
    cold_probit, dry_probit : float or None
        Loss that ran below 5 °C and below 20 % seed humidity, where doubt is larger.
    mc_wet_pct, erh_pct : float or None
        Moisture of the kind's own seed [% wet basis], and seed humidity [%].
    temp_c : float or None
        Temperature of the box [°C], or that taken for where there are no readings.
    rate_per_day, recent_per_day : float or None
        Loss [probit/d] at this moment, and over the last 30 days.
    ahead_per_day, ahead_days : float or None
        Loss [probit/d] to reckon with from now on if the lot stays where it is, and the time [d]
        over which it is the mean: up to a year, not beyond the present stay.
    basis : Basis or None
        Whose constants are used.
    factor : float or None
        95 % factor each way on the loss, wider for what ran cold or very dry.
    notes : tuple of str
        What to say beside the figures.
    """

    code: str
    at_ms: int
    observed_probit: float | None = None
    unobserved_probit: float | None = None
    unobserved_days: float | None = None
    covered_s: float | None = None
    estimated_s: float | None = None
    wet_s: float | None = None
    cold_probit: float | None = None
    dry_probit: float | None = None
    mc_wet_pct: float | None = None
    erh_pct: float | None = None
    temp_c: float | None = None
    rate_per_day: float | None = None
    recent_per_day: float | None = None
    ahead_per_day: float | None = None
    ahead_days: float | None = None
    basis: Basis | None = None
    factor: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def modelled(self) -> bool:
        """Whether there are figures at all."""
        return self.observed_probit is not None

    @property
    def total_probit(self) -> float | None:
        """Loss observed and unobserved [probit]."""
        if self.observed_probit is None or self.unobserved_probit is None:
            return None
        return self.observed_probit + self.unobserved_probit


def lot_loss(store: Store, lot: Lot, at_ms: int, ledger: Ledger | None = None) -> LotLoss:
    """Say what storage has cost a lot up to a time.

    Parameters
    ----------
    store : Store
        Stays and ledger.
    lot : Lot
        The lot.
    at_ms : int
        The time; after the last reading of its box the conditions are held and counted as
        estimated.
    ledger : Ledger, optional
        Shared by the lots of a page, so that each row is read once.

    Returns
    -------
    LotLoss
        Figures with notes; without figures where the kind has no life model.
    """
    try:
        seed = kind(lot.kind)
        basis = basis_for(seed)
    except (NoLifeModelError, UnknownNameError) as error:
        return LotLoss(lot.code, at_ms, notes=(str(error),))
    model = model_on(basis, seed)
    life = LotLife(ledger or Ledger(store), lot, store.stays(lot=lot.code), model)
    origin_ms = at_ms if life.origin_ms is None else min(life.origin_ms, at_ms)
    tally, moment = life.between(origin_ms, at_ms), life.moment(at_ms)
    loss, _, _, wet_s, cold, dry = tally.both
    erh_pct, mc_wet_pct = _own_moisture(model, seed, moment)
    rate = loss_rate_per_day(model, moment.mc_dry_pct, moment.temp_c)
    since_ms = _since(life, origin_ms, at_ms)
    return LotLoss(
        code=lot.code,
        at_ms=at_ms,
        observed_probit=tally.observed[0],
        unobserved_probit=tally.unobserved[0],
        unobserved_days=tally.unobserved_days,
        covered_s=tally.observed[1],
        estimated_s=tally.observed[2],
        wet_s=wet_s,
        cold_probit=cold,
        dry_probit=dry,
        mc_wet_pct=mc_wet_pct,
        erh_pct=erh_pct,
        temp_c=moment.temp_c,
        rate_per_day=rate,
        recent_per_day=_mean(life, max(origin_ms, at_ms - RECENT_MS), at_ms, rate),
        ahead_per_day=_mean(life, since_ms, at_ms, rate),
        ahead_days=(at_ms - since_ms) / MS_PER_DAY,
        basis=basis,
        factor=_factor(basis, loss, cold, dry),
        notes=loss_notes(store, life, tally, moment, at_ms),
    )


def loss_at(store: Store, lot: Lot, times_ms: Ints, ledger: Ledger | None = None) -> Floats:
    """Give a lot's loss at many times, for the line of its life.

    Parameters
    ----------
    store : Store
        Stays and ledger.
    lot : Lot
        The lot.
    times_ms : ndarray
        Times [ms since 1970 UTC].
    ledger : Ledger, optional
        As for ``lot_loss``.

    Returns
    -------
    ndarray
        Loss since the origin [probit], negative before it; NaN where it is not modelled.
    """
    try:
        seed = kind(lot.kind)
        model = model_on(basis_for(seed), seed)
    except (NoLifeModelError, UnknownNameError):
        return np.full(len(times_ms), np.nan)
    life = LotLife(ledger or Ledger(store), lot, store.stays(lot=lot.code), model)
    return np.array([life.loss_probit(int(time_ms)) for time_ms in times_ms])


def _since(life: LotLife, origin_ms: int, at_ms: int) -> int:
    """Start of the time that stands for what is to come."""
    course = life.course_at(at_ms)
    arrived_ms = origin_ms if course is None else course.stay.from_ms
    return min(max(origin_ms, arrived_ms, at_ms - AHEAD_MS), at_ms)


def _mean(life: LotLife, start_ms: int, at_ms: int, rate: float) -> float:
    """Mean loss over a time [probit/d]; the present rate where the time is too short."""
    if at_ms - start_ms < RECENT_LEAST_MS:
        return rate
    return life.between(start_ms, at_ms).both[0] / ((at_ms - start_ms) / MS_PER_DAY)


def _factor(basis: Basis, loss: float, cold: float, dry: float) -> float:
    """Basis' factor, widened by the share of the loss that ran cold or very dry."""
    if loss <= 0.0:
        return basis.factor
    widened = cold * math.log(COLD_FACTOR) + dry * math.log(DRY_FACTOR)
    return basis.factor * math.exp(widened / loss)


def _own_moisture(model: SeedModel, seed: Kind, moment: Moment) -> tuple[float, float]:
    """Seed humidity, and the moisture of the kind's own seed that goes with it [% wet basis]."""
    temp_c = min(max(moment.temp_c, ISOTHERM_TEMP_C[0]), ISOTHERM_TEMP_C[1])
    erh_pct = model.isotherm.erh_pct(moment.mc_dry_pct, temp_c)
    own = own_isotherm(seed).mc_dry_pct(min(erh_pct, RH_HIGH_PCT), temp_c)
    return erh_pct, wet_from_dry_pct(own)
