"""What storage has cost a lot so far, with its doubts.

The loss counts from the day of the germination figure it is set against (see ``origin``), or from
the first stay where none is known. It has loss multiplier 1; ``factor`` says how far it may be off,
each way.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from hilum.domain.model import MS_PER_DAY, Floats, Ints, Lot
from hilum.domain.ports import Store
from hilum.keeping.lots.known import FACTOR_DECIMALS
from hilum.keeping.lots.legs import NONE
from hilum.keeping.lots.life import Lives, States
from hilum.keeping.lots.lossnotes import Around, Spent, loss_notes
from hilum.keeping.lots.lossparts import LossParts, loss_parts
from hilum.keeping.reckoning.course import ISOTHERM_TEMP_C, NEVER_MS
from hilum.keeping.reckoning.kernel import SECONDS_PER_DAY
from hilum.keeping.reckoning.moments import Moments, alike
from hilum.science.errors import NoLifeModelError, UnknownNameError
from hilum.science.isotherms import RH_HIGH_PCT, wet_from_dry_pct
from hilum.science.kinds import Kind, kind, own_isotherm
from hilum.science.seedmodel import SeedModel, is_very_dry, is_wet, loss_rate_per_day
from hilum.science.surrogates import COLD_FACTOR, DRY_FACTOR, Basis, basis_for, model_on

RECENT_MS = 30 * MS_PER_DAY
"""The present burn rate is the mean over this time, since the rate swings with the weather."""

AHEAD_MS = round(365.25 * MS_PER_DAY)
"""What is to come is reckoned at the mean rate over this time in the present box, or as much of it
as there is: a whole year holds every season."""

LEAST_DAYS = 1.0
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


class Losses:
    """What storage has cost many lots: loaded once, asked for any time.

    Parameters
    ----------
    store : Store
        Stays and ledger; for many lots a ``Snapshot`` of it.
    lots : sequence of Lot
        The lots.
    """

    def __init__(self, store: Store, lots: Sequence[Lot]) -> None:
        self._store = store
        self._lots = lots
        found = [_seed_of(lot.kind) for lot in lots]
        self._why_not = [each if isinstance(each, str) else "" for each in found]
        self._seeds = [each for each in found if isinstance(each, _Seed)]
        modelled = [place for place, why in enumerate(self._why_not) if not why]
        self._place = np.full(len(lots), NONE)
        self._place[modelled] = np.arange(len(modelled))
        self._modelled = [lots[place] for place in modelled]
        self._lives = Lives(store, self._modelled, [seed.model for seed in self._seeds])

    def since_origin(self, which: Ints, times_ms: Ints) -> Floats:
        """Give the loss of some lots at times.

        Parameters
        ----------
        which : ndarray of int
            Which of the lots; any of them more than once.
        times_ms : ndarray of int
            A time for each [ms since 1970 UTC].

        Returns
        -------
        ndarray
            Loss since the lot's origin [probit], negative before it; NaN where it is not modelled.
        """
        lost = np.full(len(which), np.nan)
        known = np.flatnonzero(self._place[which] != NONE)
        lives, at = self._lives, self._place[which[known]]
        some, back = np.unique(at, return_inverse=True)
        start = lives.losses(some, lives.origin_ms[some])[back.reshape(-1)]
        lost[known] = lives.losses(at, times_ms[known]) - start
        lost[known[lives.origin_ms[at] == NEVER_MS]] = 0.0
        return lost

    def up_to(self, at_ms: int) -> list[LotLoss]:
        """Say what storage has cost each lot up to a time.

        Parameters
        ----------
        at_ms : int
            The time; after the last reading of its box the conditions are held and counted as
            estimated.

        Returns
        -------
        list of LotLoss
            Figures with notes; without figures where the kind has no life model.
        """
        told = self._told(at_ms)
        return [
            LotLoss(lot.code, at_ms, notes=(why,)) if why else next(told)
            for lot, why in zip(self._lots, self._why_not, strict=True)
        ]

    def parts(self, which: int, at_ms: int) -> LossParts | None:
        """Say where one lot's loss up to a time came about; ``None`` where it is not modelled."""
        place = int(self._place[which])
        if place == NONE:
            return None
        stays = self._store.stays(lot=self._lots[which].code)
        first_ms = min((stay.from_ms for stay in stays), default=None)
        return loss_parts(self._lives, place, at_ms, first_ms)

    def _told(self, at_ms: int) -> Iterator[LotLoss]:
        lives, every = self._lives, np.arange(len(self._modelled))
        origin_ms = np.minimum(lives.origin_ms, at_ms)
        now, begun = lives.states(every, np.full(len(every), at_ms)), lives.states(every, origin_ms)
        observed, unobserved = now.observed - begun.observed, now.unobserved - begun.unobserved
        looks = _looks(self._seeds, now.seed)
        means = _means(lives, now, begun, origin_ms, at_ms)
        in_box, later = observed[:, :3], (observed + unobserved)[:, 3:]
        figures = np.concatenate([in_box, unobserved[:, [0, 2]], later, looks, means], axis=1)
        newest_ms = lives.newest_ms(now.stay, at_ms).tolist()
        for place, row in enumerate(figures.tolist()):
            around = Around(
                self._modelled[place],
                *lives.stay_of(place, int(now.stay[place])),
                newest_ms[place],
                at_ms,
            )
            yield self._one(around, self._seeds[place], row)

    def _one(self, around: Around, seed: "_Seed", figures: list[float]) -> LotLoss:
        in_box, covered_s, estimated_s, elsewhere, unknown_s, wet_s, cold, dry, *looks = figures
        temp_c, erh_pct, mc_wet_pct, rate, wet_now, very_dry, *means = looks
        recent, recent_days, ahead, ahead_days = means
        days = unknown_s / SECONDS_PER_DAY
        spent = Spent(covered_s, estimated_s, wet_s, days, bool(wet_now), bool(very_dry))
        return LotLoss(
            code=around.lot.code,
            at_ms=around.at_ms,
            observed_probit=in_box,
            unobserved_probit=elsewhere,
            unobserved_days=days,
            covered_s=covered_s,
            estimated_s=estimated_s,
            wet_s=wet_s,
            cold_probit=cold,
            dry_probit=dry,
            mc_wet_pct=mc_wet_pct,
            erh_pct=erh_pct,
            temp_c=temp_c,
            rate_per_day=rate,
            recent_per_day=recent if recent_days >= LEAST_DAYS else rate,
            ahead_per_day=ahead if ahead_days >= LEAST_DAYS else rate,
            ahead_days=ahead_days,
            basis=seed.basis,
            factor=_factor(seed.basis, in_box + elsewhere, cold, dry),
            notes=loss_notes(self._store, around, spent),
        )


def lot_loss(store: Store, lot: Lot, at_ms: int) -> LotLoss:
    """Say what storage has cost one lot up to a time; see ``Losses.up_to``."""
    return Losses(store, [lot]).up_to(at_ms)[0]


def lot_loss_parts(store: Store, lot: Lot, at_ms: int) -> LossParts | None:
    """Say where one lot's loss came about; see ``Losses.parts``."""
    return Losses(store, [lot]).parts(0, at_ms)


def loss_at(store: Store, lot: Lot, times_ms: Ints) -> Floats:
    """Give one lot's loss at many times, for the line of its life; see ``Losses.since_origin``."""
    return Losses(store, [lot]).since_origin(np.zeros(len(times_ms), dtype=np.int64), times_ms)


@dataclass(frozen=True, slots=True)
class _Seed:
    kind: Kind
    basis: Basis
    model: SeedModel


@cache
def _seed_of(kind_key: str) -> _Seed | str:
    """Give what stands for a kind, or why its loss is not modelled."""
    try:
        seed = kind(kind_key)
        basis = basis_for(seed)
    except (NoLifeModelError, UnknownNameError) as error:
        return str(error)
    return _Seed(seed, basis, model_on(basis, seed))


def _looks(seeds: Sequence[_Seed], state: Moments) -> Floats:
    """How seed is: temperature [°C], its humidity, moisture of the kind's own seed [% wet basis].

    And the present rate of loss [probit/d], whether it is too wet (1 or 0), and very dry.
    """
    found = np.empty((len(seeds), 6))
    found[:, 0] = state.temp_c
    for one, some in alike([seed.kind.key for seed in seeds]):
        seed, mc, temp_c = seeds[one], state.mc_dry_pct[some], state.temp_c[some]
        held_c = np.clip(temp_c, *ISOTHERM_TEMP_C)
        erh_pct = seed.model.isotherm.erh_pct(mc, held_c)
        own = own_isotherm(seed.kind).mc_dry_pct(np.minimum(erh_pct, RH_HIGH_PCT), held_c)
        found[some, 1:3] = np.stack([erh_pct, wet_from_dry_pct(own)], axis=1)
        found[some, 3] = loss_rate_per_day(seed.model, mc, temp_c)
        found[some, 4] = is_wet(seed.model, mc, temp_c)
        found[some, 5] = is_very_dry(seed.model, mc, temp_c)
    return found


def _means(lives: Lives, now: States, begun: States, origin_ms: Ints, at_ms: int) -> Floats:
    """Loss a day over the last month and year of a stay, each with the days it is the mean of."""
    arrived_ms = np.maximum(lives.arrived_ms(now.stay), origin_ms)
    late = np.flatnonzero(arrived_ms > np.maximum(origin_ms, at_ms - AHEAD_MS))
    arrived = begun.loss_probit.copy()
    arrived[late] = lives.losses(late, arrived_ms[late])
    columns = []
    for span_ms, since_ms, since in (
        (RECENT_MS, origin_ms, begun.loss_probit),
        (AHEAD_MS, arrived_ms, arrived),
    ):
        # loss only grows: where a time is the later one, so is its loss the larger
        lost = now.loss_probit - np.maximum(since, lives.losses_on(at_ms - span_ms))
        days = (at_ms - np.maximum(since_ms, at_ms - span_ms)) / MS_PER_DAY
        columns += [lost / np.maximum(days, LEAST_DAYS), days]
    return np.stack(columns, axis=1)


def _factor(basis: Basis, loss: float, cold: float, dry: float) -> float:
    """Basis' factor, widened by the share of the loss that ran cold or very dry."""
    if loss <= 0.0:
        return basis.factor
    widened = cold * math.log(COLD_FACTOR) + dry * math.log(DRY_FACTOR)
    return round(basis.factor * math.exp(widened / loss), FACTOR_DECIMALS)
