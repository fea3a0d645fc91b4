"""What the ledger says of a lot at any moment of its stays.

A stay is read off two curves: its own start-up until that has joined the shared curve, the shared
one from there on. In a sealed wrap one curve of constant moisture serves.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from hilum.domain.model import MS_PER_DAY, CurveKey, LedgerRows, Lot, Stay
from hilum.domain.ports import Store
from hilum.keeping.reckoning.kernel import COLD_C, NOTHING_YET, SECONDS_PER_DAY, SUMS, burden
from hilum.keeping.reckoning.ledger import is_sealed
from hilum.science.errors import NoLifeModelError, UnknownNameError
from hilum.science.isotherms import dry_from_wet_pct
from hilum.science.kinds import kind, own_isotherm
from hilum.science.lag import relax, tau_days
from hilum.science.seedmodel import SeedModel, equilibrium_mc_dry_pct, model_for
from hilum.science.surrogates import seed_model_for

START_DECIMALS = 3
"""Moisture on arrival is rounded to so many decimals of a per cent, so that lots that arrive alike
share a curve. The loss rate changes by less than one part in a thousand."""

HELD_STEPS = 48
"""Steps in which conditions held after the last reading are followed, short ones first."""

ISOTHERM_TEMP_C = (0.0, 50.0)

Sums = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Moment:
    """A lot at one time: sums since the curve's start as in ``SUMS``, and how it is then.

    Moisture is that of the model's seed. Temperature and humidity are the box's.
    """

    sums: Sums
    mc_dry_pct: float
    temp_c: float
    rh_pct: float


class Ledger:
    """Reads the ledger, each row only once: for one page or one run."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._rows: dict[tuple[CurveKey, int], LedgerRows] = {}
        self._moments: dict[tuple[CurveKey, int], Moment | None] = {}

    def around(self, key: CurveKey, time_ms: int) -> LedgerRows:
        """Give the last row up to a time and the one after it, as far as there are any."""
        name = (key, time_ms)
        if name not in self._rows:
            self._rows[name] = self._store.rows_at([(key, time_ms)])[1]
        return self._rows[name]

    def moment(self, key: CurveKey, time_ms: int) -> Moment | None:
        """Read one curve; ``None``: it has no rows."""
        name = (key, time_ms)
        if name not in self._moments:
            rows = self.around(key, time_ms)
            self._moments[name] = _read(key, rows, time_ms) if len(rows) else None
        return self._moments[name]


@dataclass(frozen=True, slots=True)
class Course:
    """A stay with the curves that stand for it. Moisture on arrival is that of the model's seed."""

    stay: Stay
    model: SeedModel
    start_mc_dry_pct: float

    @property
    def sealed(self) -> bool:
        """Whether the wrap holds the seed's own moisture."""
        return is_sealed(self.stay.wrap, self.model.size)

    @property
    def shared(self) -> CurveKey:
        """The curve that serves all lots of this model in this box and wrap."""
        mc = self.start_mc_dry_pct if self.sealed else None
        return CurveKey(self.stay.box, self.model.key, self.stay.wrap, None, mc)

    @property
    def start_up(self) -> CurveKey:
        """The curve of the stay's own beginning; the shared one where sealed."""
        if self.sealed:
            return self.shared
        return replace(
            self.shared, start_ms=self.stay.from_ms, start_mc_dry_pct=self.start_mc_dry_pct
        )

    def curves(self) -> tuple[CurveKey, ...]:
        """All curves the stay needs."""
        return (self.shared,) if self.sealed else (self.shared, self.start_up)

    def at(self, ledger: Ledger, time_ms: int) -> Moment | None:
        """Give the seed at a time of the stay; ``None`` while the box has no readings."""
        rows = ledger.around(self.start_up, time_ms)
        if self.sealed or len(rows) != 1 or int(rows.last_ms[0]) > time_ms:
            return ledger.moment(self.start_up, time_ms)
        join_ms = int(rows.last_ms[0])
        if not (ledger.around(self.shared, time_ms).last_ms > join_ms).any():
            return ledger.moment(self.start_up, time_ms)
        now, then = (ledger.moment(self.shared, each) for each in (time_ms, join_ms))
        if now is None or then is None:
            return None
        sums = zip(_moment(rows, 0).sums, now.sums, then.sums, strict=True)
        return replace(now, sums=tuple(begun + (end - start) for begun, end, start in sums))


def _read(key: CurveKey, rows: LedgerRows, time_ms: int) -> Moment:
    """Read a curve between two rows, before its first, or held after its last."""
    model = model_for(key.model)
    first, first_ms = _moment(rows, 0), int(rows.last_ms[0])
    if len(rows) == 2:
        return _between(first, first_ms, _moment(rows, 1), int(rows.last_ms[1]), time_ms)
    if first_ms <= time_ms:
        return held(model, key.wrap, first, (time_ms - first_ms) / MS_PER_DAY)
    mc = first.mc_dry_pct if key.start_mc_dry_pct is None else key.start_mc_dry_pct
    start = replace(first, sums=NOTHING_YET, mc_dry_pct=mc)
    begin_ms = key.start_ms
    if begin_ms is None:  # its first reading
        begin_ms = first_ms - round(sum(first.sums[1:3]) * 1000.0)
    if begin_ms <= time_ms:
        return _between(start, begin_ms, first, first_ms, time_ms)
    missed = held(model, key.wrap, start, (begin_ms - time_ms) / MS_PER_DAY)
    return replace(start, sums=tuple(-value for value in missed.sums))


def held(model: SeedModel, wrap: str, start: Moment, days: float) -> Moment:
    """Give the seed after some days in which its box stays as it is; the time is estimated.

    Parameters
    ----------
    model : SeedModel
        The seed.
    wrap : str
        Its wrap.
    start : Moment
        Where it stands.
    days : float
        How long [d].
    """
    elapsed = days * np.linspace(0.0, 1.0, HELD_STEPS + 1) ** 2
    tau = tau_days(wrap, model.size, start.temp_c)
    target = equilibrium_mc_dry_pct(model, start.rh_pct, start.temp_c)
    mc = relax(start.mc_dry_pct, target, elapsed, tau)
    load = burden(model, mc, np.full(len(mc), start.temp_c))
    steps = np.diff(elapsed)
    loss, wet, dry = (
        float(np.sum((values[1:] + values[:-1]) * steps)) * 0.5
        for values in (load.rate_per_day, load.wet, load.dry_per_day)
    )
    cold = loss if start.temp_c < COLD_C else 0.0
    gained = (loss, 0.0, days * SECONDS_PER_DAY, wet * SECONDS_PER_DAY, cold, dry)
    sums = tuple(before + gain for before, gain in zip(start.sums, gained, strict=True))
    return replace(start, sums=sums, mc_dry_pct=float(mc[-1]))


def _moment(rows: LedgerRows, index: int) -> Moment:
    return Moment(
        tuple(float(getattr(rows, name)[index]) for name in SUMS),
        float(rows.mc_dry_pct[index]),
        float(rows.temp_c[index]),
        float(rows.rh_pct[index]),
    )


def _between(before: Moment, before_ms: int, after: Moment, after_ms: int, time_ms: int) -> Moment:
    """Interpolate between two moments in a straight line."""
    share = (time_ms - before_ms) / (after_ms - before_ms)

    def mix(start: float, end: float) -> float:
        return start + (end - start) * share

    return Moment(
        tuple(map(mix, before.sums, after.sums)),
        mix(before.mc_dry_pct, after.mc_dry_pct),
        mix(before.temp_c, after.temp_c),
        mix(before.rh_pct, after.rh_pct),
    )


# Where a lot's courses begin


@cache
def model_of(kind_key: str) -> SeedModel | None:
    """Give the seed model of a kind; ``None`` if its life cannot be modelled or it is unknown."""
    try:
        return seed_model_for(kind(kind_key))
    except (NoLifeModelError, UnknownNameError):
        return None


def courses(ledger: Ledger, lot: Lot, stays: Sequence[Stay]) -> list[Course]:
    """Give a lot's stays with the curves that stand for them.

    Parameters
    ----------
    ledger : Ledger
        Tells the moisture carried over from one stay to the next.
    lot : Lot
        The lot.
    stays : sequence of Stay
        Its stays in order of start.

    Returns
    -------
    list of Course
        One for each stay; none if the kind has no model.
    """
    model = model_of(lot.kind)
    found: list[Course] = []
    if model is None:
        return found
    for stay in stays:
        mc = _arrival(ledger, lot, model, stay, found[-1] if found else None)
        found.append(Course(stay, model, round(mc, START_DECIMALS)))
    return found


def prior_mc_dry_pct(lot: Lot, model: SeedModel) -> float:
    """Moisture in balance with the air a lot lived in before it came here."""
    return equilibrium_mc_dry_pct(model, lot.prior_rh_pct, lot.prior_temp_c)


def _arrival(
    ledger: Ledger, lot: Lot, model: SeedModel, stay: Stay, before: Course | None
) -> float:
    """Moisture on arrival: as given, else carried over, else what the wrap or the air implies."""
    sealed = is_sealed(stay.wrap, model.size)
    if stay.start_mc_wet_pct is not None:
        return _as_model(lot, model, stay.start_mc_wet_pct)
    if before is not None and before.stay.to_ms is not None:
        moment = before.at(ledger, before.stay.to_ms)
        if moment is not None:
            return moment.mc_dry_pct
        if before.sealed:
            return before.start_mc_dry_pct
    hermetic = kind(lot.kind).hermetic_mc_wet_pct
    if sealed and before is None and hermetic is not None:
        return _as_model(lot, model, hermetic.value)
    return prior_mc_dry_pct(lot, model)


def _as_model(lot: Lot, model: SeedModel, mc_wet_pct: float) -> float:
    """Turn a kind's own moisture into that of its model's seed at the same seed humidity."""
    temp_c = min(max(lot.prior_temp_c, ISOTHERM_TEMP_C[0]), ISOTHERM_TEMP_C[1])
    own = own_isotherm(kind(lot.kind))
    erh_pct = own.erh_pct(dry_from_wet_pct(mc_wet_pct), temp_c)
    return equilibrium_mc_dry_pct(model, erh_pct, temp_c)
