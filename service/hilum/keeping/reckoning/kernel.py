"""The arithmetic of the ledger: moisture and loss through a chunk of readings, hour by hour.

Every hour's row follows from the row before it and the hour's own readings, by the same operations
in the same order however the readings were divided into chunks. So an update and a rebuild agree to
the last bit. A step between two readings belongs to the hour of its end.

Within an hour the time constant is that of its first reading's temperature, which makes moisture
linear in the moisture at that reading: ``keep * first + gain``. Both factors depend on readings
only, so curves share them; per curve remain one short loop over hours and the loss rate.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, Floats, Ints, LedgerRows, Series
from hilum.science.isotherms import GeneralIsotherm
from hilum.science.lag import relax, relax_ramp, tau_days
from hilum.science.seedmodel import (
    SeedModel,
    equilibrium_mc_dry_pct,
    is_wet,
    loss_rate_per_day,
)

COLD_C = 5.0
"""Below this the viability equation is doubted more (outcomes of storage trials; derived)."""

DRY_ERH_PCT = 20.0
"""Below this seed humidity the viability equation is doubted more (idem)."""

MIN_GAP_DAYS = 1 / 24
"""A gap is at least this long, whatever the box says: it then always ends at an hour's first
reading."""

TAU_TEMP_C = (-60.0, 100.0)
"""Temperatures for which the lag is defined; no sensor reports others."""

SECONDS_PER_DAY = 86_400.0


@dataclass(frozen=True, slots=True)
class Before:
    """The reading before a chunk."""

    time_ms: int
    temp_c: float
    rh_pct: float


@dataclass(frozen=True, slots=True)
class Chunk:
    """Readings of whole hours with what all curves need of them. ``N`` readings in ``H`` hours."""

    time_ms: Ints
    temp_c: Floats
    rh_pct: Floats
    hour: Ints  # (H) hours since 1970 UTC
    first: Ints  # (H) index of the hour's first reading
    last: Ints  # (H) and of its last
    count: Ints  # (H) readings in the hour
    elapsed_days: Floats  # (N) since the hour's first reading
    step_days: Floats  # (N) since the reading before in the hour; 0 at the first
    weight_days: Floats  # (N) trapezoid weights of the steps within the hour
    cold_days: Floats | None  # (N) the same, cold steps only; None: there are none
    lead_days: Floats  # (H) from the reading before the hour to its first
    lead_temp_c: Floats  # (H) of the reading before the hour
    lead_rh_pct: Floats  # (H) idem
    place: Ints = field(repr=False)  # (N) where each reading stands when sorted by place in hour
    widths: tuple[int, ...] = field(repr=False)  # how many hours have a first, a second reading...

    @property
    def newest(self) -> Before:
        """Its last reading, which stands before the next chunk."""
        return Before(int(self.time_ms[-1]), float(self.temp_c[-1]), float(self.rh_pct[-1]))


def chunk_of(readings: Series, before: Before | None) -> Chunk:
    """Prepare readings for the curves.

    Parameters
    ----------
    readings : Series
        At least one reading, in order of time, without NaN; whole hours.
    before : Before or None
        The reading before them. ``None``: there is none, or no curve asks for it.
    """
    time_ms = np.ascontiguousarray(readings.time_ms)
    temp_c = np.ascontiguousarray(readings.temp_c)
    rh_pct = np.ascontiguousarray(readings.rh_pct)
    hour_of = time_ms // MS_PER_HOUR
    first = np.flatnonzero(np.concatenate(([True], hour_of[1:] != hour_of[:-1])))
    last = np.append(first[1:], len(time_ms)) - 1
    step_days = np.diff(time_ms, prepend=time_ms[0]) / MS_PER_DAY
    step_days[first] = 0.0
    cold = (temp_c + np.concatenate((temp_c[:1], temp_c[:-1]))) * 0.5 < COLD_C
    origin = before or Before(int(time_ms[0]), float(temp_c[0]), float(rh_pct[0]))
    lead_ms = time_ms[first] - np.concatenate(([origin.time_ms], time_ms[last[:-1]]))
    count = last - first + 1
    place, widths = _places(first, count)
    return Chunk(
        time_ms=time_ms,
        temp_c=temp_c,
        rh_pct=rh_pct,
        hour=hour_of[first],
        first=first,
        last=last,
        count=count,
        elapsed_days=(time_ms - np.repeat(time_ms[first], count)) / MS_PER_DAY,
        step_days=step_days,
        weight_days=_weights(step_days),
        cold_days=_weights(step_days * cold) if cold.any() else None,
        lead_days=lead_ms / MS_PER_DAY,
        lead_temp_c=np.concatenate(([origin.temp_c], temp_c[last[:-1]])),
        lead_rh_pct=np.concatenate(([origin.rh_pct], rh_pct[last[:-1]])),
        place=place,
        widths=widths,
    )


def _weights(step_days: Floats) -> Floats:
    """Half of the step before and half of the step after each reading."""
    weights: Floats = 0.5 * (step_days + np.append(step_days[1:], 0.0))
    return weights


def _places(first: Ints, count: Ints) -> tuple[Ints, tuple[int, ...]]:
    """Sort readings by their place in the hour, fuller hours first.

    All first readings come first, then all second ones, and so on; as fuller hours come first, the
    hours that still have a reading at some place are always the first so many.
    """
    rank = np.empty(len(count), np.int64)
    rank[np.argsort(-count, kind="stable")] = np.arange(len(count))
    widths = len(count) - np.cumsum(np.bincount(count))[:-1]
    starts = np.concatenate(([0], np.cumsum(widths)[:-1]))
    in_hour = np.arange(int(count.sum())) - np.repeat(first, count)
    return starts[in_hour] + np.repeat(rank, count), tuple(widths.tolist())


@dataclass(frozen=True, slots=True)
class Path:
    """How seed in one wrap follows the air of a chunk, for a seed that holds one unit of water.

    Moisture at reading i of an hour is ``keep[i] * first + scale * gain[i]``, where ``first`` is
    the moisture at the hour's first reading; the step into the hour works alike.
    """

    tau_days: Floats  # (H)
    target: Floats  # (N) equilibrium moisture
    keep: Floats  # (N)
    gain: Floats  # (N)
    lead_target: Floats  # (H) equilibrium moisture at the reading before the hour
    lead_keep: Floats  # (H)
    lead_gain: Floats  # (H)


def unit_seed(model: SeedModel) -> tuple[SeedModel, float]:
    """Give the same seed without oil, and the factor on its moisture that leads back.

    Oil holds no water: in the general isotherm moisture is proportional to what is not oil
    (Cromarty, Ellis & Roberts 1982), so that all such seeds share one path. Seed with an isotherm
    of its own stands for itself.
    """
    if isinstance(model.isotherm, GeneralIsotherm):
        return replace(model, isotherm=GeneralIsotherm(0.0)), 1.0 - model.isotherm.oil_fraction_dry
    return model, 1.0


def path_of(chunk: Chunk, unit: SeedModel, wrap: str) -> Path:
    """Follow the air through each hour of a chunk.

    Parameters
    ----------
    chunk : Chunk
        The readings.
    unit : SeedModel
        The unit seed; its isotherm and size count.
    wrap : str
        As ``lag.tau_days`` knows it; not sealed.
    """
    target = equilibrium_mc_dry_pct(unit, chunk.rh_pct, chunk.temp_c)
    lead_target = equilibrium_mc_dry_pct(unit, chunk.lead_rh_pct, chunk.lead_temp_c)
    tau_h = tau_days(wrap, unit.size, np.clip(chunk.temp_c[chunk.first], *TAU_TEMP_C))
    tau = np.repeat(tau_h, chunk.count)
    before = np.concatenate((target[:1], target[:-1]))
    factor = relax(1.0, 0.0, chunk.step_days, tau)
    summand = relax_ramp(0.0, before, target, chunk.step_days, tau)
    return Path(
        tau_days=tau_h,
        target=target,
        keep=relax(1.0, 0.0, chunk.elapsed_days, tau),
        gain=_within_hours(chunk, factor, summand),
        lead_target=lead_target,
        lead_keep=relax(1.0, 0.0, chunk.lead_days, tau_h),
        lead_gain=relax_ramp(0.0, lead_target, target[chunk.first], chunk.lead_days, tau_h),
    )


def sealed_path(chunk: Chunk) -> Path:
    """Give the path of a seed that exchanges nothing: its own moisture is its equilibrium."""
    hours, readings = len(chunk.hour), len(chunk.time_ms)
    return Path(
        tau_days=np.full(hours, np.inf),
        target=np.ones(readings),
        keep=np.ones(readings),
        gain=np.zeros(readings),
        lead_target=np.ones(hours),
        lead_keep=np.ones(hours),
        lead_gain=np.zeros(hours),
    )


def _within_hours(chunk: Chunk, factor: Floats, summand: Floats) -> Floats:
    """Run ``x[i] = factor[i] * x[i-1] + summand[i]`` in all hours at once, from 0 at each first."""
    factor_by_place, summand_by_place, values = (np.empty(len(factor)) for _ in range(3))
    factor_by_place[chunk.place] = factor
    summand_by_place[chunk.place] = summand
    values[: chunk.widths[0]] = 0.0
    before, start = 0, chunk.widths[0]
    for width in chunk.widths[1:]:
        here = slice(start, start + width)
        values[here] = (
            factor_by_place[here] * values[before : before + width] + summand_by_place[here]
        )
        before, start = start, start + width
    return values[chunk.place]


@dataclass(frozen=True, slots=True)
class Start:
    """Where a curve stands before it goes through a chunk.

    ``opening`` is ``None`` for a curve that goes on from its last row. A new curve has no reading
    before it: its first reading's conditions held for ``opening`` days.
    """

    index: int  # first hour of the chunk to follow
    mc_dry_pct: float
    sums: tuple[float, ...]  # as SUMS
    opening_days: float | None


SUMS = ("loss_probit", "covered_s", "estimated_s", "wet_s", "cold_probit", "dry_probit")
"""Columns of a row that run from the curve's start."""

NOTHING_YET = (0.0,) * len(SUMS)


@dataclass(frozen=True, slots=True)
class _Leads:
    """Steps into each hour, for one curve; in a gap with the conditions of the worse end."""

    days: Floats
    temp_c: Floats  # at the step's start
    keep: Floats
    gain: Floats
    gaps: Ints  # which of them are gaps
    gap_temp_c: Floats

    def cold(self, first_temp_c: Floats) -> npt.NDArray[np.bool_]:
        """Which steps ran in the cold, given the temperature at their ends."""
        cold: npt.NDArray[np.bool_] = (self.temp_c + first_temp_c) * 0.5 < COLD_C
        cold[self.gaps] = self.gap_temp_c < COLD_C
        return cold


@dataclass(frozen=True, slots=True)
class Burden:
    """What moments of a seed's life weigh: loss rate, and whether they count as wet or dry."""

    rate_per_day: Floats
    wet: Floats  # 1 or 0
    dry_per_day: Floats  # loss rate where the seed is very dry, else 0


def burden(model: SeedModel, mc_dry_pct: Floats, temp_c: Floats) -> Burden:
    """Weigh moments of a seed's life."""
    if not len(mc_dry_pct):
        return Burden(mc_dry_pct, mc_dry_pct, mc_dry_pct)
    rate = loss_rate_per_day(model, mc_dry_pct, temp_c)
    dry = mc_dry_pct < equilibrium_mc_dry_pct(model, DRY_ERH_PCT, temp_c)
    return Burden(rate, is_wet(model, mc_dry_pct, temp_c).astype(np.float64), rate * dry)


@dataclass(frozen=True, slots=True)
class Seed:
    """The seed of a curve and how it is looked at.

    ``scale`` is the water it holds as a multiple of its path's unit seed, or its own moisture where
    sealed. A step longer than ``gap_days`` is bridged with its worse end.
    """

    model: SeedModel
    scale: float
    gap_days: float


def follow(chunk: Chunk, path: Path, seed: Seed, start: Start) -> LedgerRows:
    """Follow one curve through a chunk.

    Parameters
    ----------
    chunk : Chunk
        The readings.
    path : Path
        Of the seed's unit seed in the curve's wrap.
    seed : Seed
        The seed.
    start : Start
        Where the curve stands.

    Returns
    -------
    LedgerRows
        One row for each hour from ``start.index`` on.
    """
    index, offset = start.index, int(chunk.first[start.index])
    last = chunk.last[index:] - offset
    leads = _leads(chunk, path, seed, start)
    keep, gain = path.keep[offset:], path.gain[offset:] * seed.scale
    firsts, before = _chain(start.mc_dry_pct, leads, keep[last], gain[last])
    mc_dry_pct = keep * np.repeat(firsts, chunk.count[index:]) + gain
    loads = _Loads(
        within=burden(seed.model, mc_dry_pct, chunk.temp_c[offset:]),
        opening=burden(seed.model, before[:1], leads.temp_c[:1]),
        bridged=burden(
            seed.model,
            np.maximum(before[leads.gaps], firsts[leads.gaps]),
            leads.gap_temp_c,
        ),
    )
    return _rows(chunk, mc_dry_pct[last], start, _increments(chunk, leads, loads, index))


@dataclass(frozen=True, slots=True)
class _Loads:
    """Burden at every reading, at the start of the first step, and over each gap."""

    within: Burden
    opening: Burden
    bridged: Burden


def _increments(chunk: Chunk, leads: _Leads, loads: _Loads, index: int) -> tuple[Floats, ...]:
    """Add up each hour: what its row adds to the sums, times in days."""
    offset = int(chunk.first[index])
    first, last = chunk.first[index:] - offset, chunk.last[index:] - offset
    days = chunk.weight_days[offset:]

    def hourly(pick: Callable[[Burden], Floats]) -> tuple[Floats, Floats]:
        """Within the hours, and in the steps that lead into them."""
        values, opening, bridged = map(pick, (loads.within, loads.opening, loads.bridged))
        if not (values.any() or opening.any() or bridged.any()):
            return np.zeros(len(first)), np.zeros(len(first))  # the common case, for less work
        mean = 0.5 * (np.concatenate((opening, values[last[:-1]])) + values[first])
        mean[leads.gaps] = bridged
        return np.add.reduceat(values * days, first), mean * leads.days

    loss, lead_loss = hourly(lambda each: each.rate_per_day)
    cold = lead_loss * leads.cold(chunk.temp_c[offset:][first])
    if chunk.cold_days is not None:
        within = loads.within.rate_per_day * chunk.cold_days[offset:]
        cold += np.add.reduceat(within, first)
    estimated = np.zeros(len(first))
    estimated[leads.gaps] = leads.days[leads.gaps]
    covered = chunk.elapsed_days[offset:][last] + (leads.days - estimated)
    wet = np.add(*hourly(lambda each: each.wet))
    dry = np.add(*hourly(lambda each: each.dry_per_day))
    return loss + lead_loss, covered, estimated, wet, cold, dry


def _leads(chunk: Chunk, path: Path, seed: Seed, start: Start) -> _Leads:
    """Steps into the hours, those over gaps bridged with the worse end."""
    scale = seed.scale
    hours = slice(start.index, None)
    days, temp_c = chunk.lead_days[hours].copy(), chunk.lead_temp_c[hours].copy()
    target = path.lead_target[hours] * scale
    keep, gain = path.lead_keep[hours].copy(), path.lead_gain[hours] * scale
    first = chunk.first[hours]
    here_target, here_temp_c = path.target[first] * scale, chunk.temp_c[first]
    if start.opening_days is not None:
        days[0], temp_c[0], target[0] = start.opening_days, here_temp_c[0], here_target[0]
        tau = path.tau_days[hours][:1]
        keep[:1] = relax(1.0, 0.0, days[:1], tau)
        gain[:1] = relax(0.0, here_target[:1], days[:1], tau)
    gaps = np.flatnonzero(days > max(seed.gap_days, MIN_GAP_DAYS))
    gap_temp_c = temp_c[gaps]
    if len(gaps):
        ends = ((target[gaps], gap_temp_c), (here_target[gaps], here_temp_c[gaps]))
        rates = [loss_rate_per_day(seed.model, *end) for end in ends]
        at_start = rates[0] >= rates[1]
        worse = np.where(at_start, ends[0][0], ends[1][0])
        gain[gaps] = relax(0.0, worse, days[gaps], path.tau_days[hours][gaps])
        gap_temp_c = np.where(at_start, ends[0][1], ends[1][1])
    return _Leads(days, temp_c, keep, gain, gaps, gap_temp_c)


def _chain(mc: float, leads: _Leads, keep: Floats, gain: Floats) -> tuple[Floats, Floats]:
    """Moisture at each hour's first reading, and at the reading before it."""
    firsts = []
    last = mc
    for lead_keep, lead_gain, hour_keep, hour_gain in zip(
        leads.keep.tolist(), leads.gain.tolist(), keep.tolist(), gain.tolist(), strict=True
    ):
        first = lead_keep * last + lead_gain
        firsts.append(first)
        last = hour_keep * first + hour_gain
    at_first = np.array(firsts)
    return at_first, np.concatenate(([mc], keep[:-1] * at_first[:-1] + gain[:-1]))


def _rows(
    chunk: Chunk, mc_dry_pct: Floats, start: Start, increments: tuple[Floats, ...]
) -> LedgerRows:
    """Sum up from where the curve stood, times as seconds."""
    last = chunk.last[start.index :]
    sums = (
        np.cumsum(np.concatenate(([carried], increment * unit)))[1:]
        for carried, increment, unit in zip(start.sums, increments, _UNITS, strict=True)
    )
    return LedgerRows(
        chunk.hour[start.index :],
        chunk.time_ms[last],
        chunk.temp_c[last],
        chunk.rh_pct[last],
        mc_dry_pct,
        *sums,
    )


_UNITS = (1.0, SECONDS_PER_DAY, SECONDS_PER_DAY, SECONDS_PER_DAY, 1.0, 1.0)
