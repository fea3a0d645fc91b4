"""The arithmetic of the ledger: moisture and loss through a chunk of readings, hour by hour.

Every hour's row follows from the row before it and the hour's own readings, by the same operations
in the same order however the readings were divided into chunks. So an update and a rebuild agree to
the last bit. A step between two readings belongs to the hour of its end.

Curves of one model go through a chunk together, whichever boxes they are in: with many boxes most
of the time would else be spent on calls for arrays of a few numbers. No number depends on company.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
import numpy.typing as npt

from hilum.domain.model import Floats, Ints, LedgerRows
from hilum.keeping.reckoning.chunk import COLD_C, Chunk, Path
from hilum.science.lag import relax
from hilum.science.seedmodel import (
    SeedModel,
    equilibrium_mc_dry_pct,
    is_wet,
    loss_rate_per_day,
)

__all__ = [
    "COLD_C",
    "DRY_ERH_PCT",
    "NOTHING_YET",
    "SECONDS_PER_DAY",
    "SUMS",
    "Burden",
    "Start",
    "burden",
    "follow",
]

DRY_ERH_PCT = 20.0
"""Below this seed humidity the viability equation is doubted more (idem)."""

MIN_GAP_DAYS = 1 / 24
"""A gap is at least this long, whatever the box says: it then always ends at an hour's first
reading."""

SECONDS_PER_DAY = 86_400.0


@dataclass(frozen=True, slots=True)
class Start:
    """Where a curve stands before it goes through a chunk.

    ``scale`` is the water its seed holds as a multiple of its path's unit seed, or its own moisture
    where sealed. A step longer than ``gap_days`` is bridged with its worse end. ``opening_days`` is
    ``None`` for a curve that goes on from its last row. A new curve has no reading before it: its
    first reading's conditions held for so many days.
    """

    hours: slice  # of the chunk, to follow; at least one
    scale: float
    gap_days: float
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


Part = slice | Ints


@dataclass(frozen=True, slots=True)
class _Runs:
    """Several curves of one model, one after the other: the hours and readings they go through."""

    hours: Part  # of the chunk
    readings: Part  # of the chunk
    heads: Ints  # (R) first hour of each run
    lengths: Ints  # (R) hours
    first: Ints  # (H) first reading of each hour
    last: Ints  # (H) and its last
    count: Ints  # (H)
    scale: Floats  # (H)
    gap_days: Floats  # (H)


def _runs(chunk: Chunk, starts: Sequence[Start]) -> _Runs:
    lengths = np.array([start.hours.stop - start.hours.start for start in starts])
    heads = np.cumsum(lengths) - lengths
    hours: Part = starts[0].hours
    if len(starts) == 1:
        readings: Part = slice(int(chunk.first[hours][0]), int(chunk.last[hours][-1]) + 1)
    else:
        begin = np.array([start.hours.start for start in starts])
        hours = _ranges(begin, lengths)
        first, last = chunk.first[begin], chunk.last[begin + lengths - 1]
        readings = _ranges(first, last - first + 1)
    count = chunk.count[hours]
    last = np.cumsum(count) - 1
    return _Runs(
        hours=hours,
        readings=readings,
        heads=heads,
        lengths=lengths,
        first=last - count + 1,
        last=last,
        count=count,
        scale=np.repeat([start.scale for start in starts], lengths),
        gap_days=np.repeat([max(start.gap_days, MIN_GAP_DAYS) for start in starts], lengths),
    )


def _ranges(begin: Ints, lengths: Ints) -> Ints:
    """Count up from each beginning, one after the other."""
    ends = np.cumsum(lengths)
    return np.arange(ends[-1]) + np.repeat(begin - ends + lengths, lengths)


def follow(chunk: Chunk, path: Path, model: SeedModel, starts: Sequence[Start]) -> list[LedgerRows]:
    """Follow curves of one model and wrap through a chunk, all at once.

    Parameters
    ----------
    chunk : Chunk
        The readings.
    path : Path
        Of the model's unit seed in the curves' wrap.
    model : SeedModel
        The seed.
    starts : sequence of Start
        Where each curve stands, and the hours of its box it goes through.

    Returns
    -------
    list of LedgerRows
        For each curve one row for each of its hours.
    """
    runs = _runs(chunk, starts)
    temp_c = chunk.temp_c[runs.readings]
    leads = _leads(chunk, path, model, starts, runs)
    keep = path.keep[runs.readings]
    gain = path.gain[runs.readings] * np.repeat(runs.scale, runs.count)
    firsts, before = _chain(starts, runs, leads, keep[runs.last], gain[runs.last])
    mc_dry_pct = keep * np.repeat(firsts, runs.count) + gain
    loads = _Loads(
        within=burden(model, mc_dry_pct, temp_c),
        opening=burden(model, before[runs.heads], leads.temp_c[runs.heads]),
        bridged=burden(model, np.maximum(before[leads.gaps], firsts[leads.gaps]), leads.gap_temp_c),
    )
    increments = _increments(chunk, runs, leads, loads)
    return _rows(chunk, mc_dry_pct[runs.last], starts, runs, increments)


@dataclass(frozen=True, slots=True)
class _Loads:
    """Burden at every reading, at the start of each curve's first step, and over each gap."""

    within: Burden
    opening: Burden
    bridged: Burden


def _increments(chunk: Chunk, runs: _Runs, leads: _Leads, loads: _Loads) -> tuple[Floats, ...]:
    """Add up each hour: what its row adds to the sums, times in days."""
    first, last = runs.first, runs.last
    days = chunk.weight_days[runs.readings]

    def hourly(pick: Callable[[Burden], Floats]) -> tuple[Floats, Floats]:
        """Within the hours, and in the steps that lead into them."""
        values, opening, bridged = map(pick, (loads.within, loads.opening, loads.bridged))
        if not (values.any() or opening.any() or bridged.any()):
            return np.zeros(len(first)), np.zeros(len(first))  # the common case, for less work
        mean = 0.5 * (_shifted(values[last], runs.heads, opening) + values[first])
        mean[leads.gaps] = bridged
        return np.add.reduceat(values * days, first), mean * leads.days

    loss, lead_loss = hourly(lambda each: each.rate_per_day)
    cold = lead_loss * leads.cold(chunk.temp_c[runs.readings][first])
    if chunk.cold_days is not None:
        within = loads.within.rate_per_day * chunk.cold_days[runs.readings]
        cold += np.add.reduceat(within, first)
    estimated = np.zeros(len(first))
    estimated[leads.gaps] = leads.days[leads.gaps]
    covered = chunk.elapsed_days[runs.readings][last] + (leads.days - estimated)
    wet = np.add(*hourly(lambda each: each.wet))
    dry = np.add(*hourly(lambda each: each.dry_per_day))
    return loss + lead_loss, covered, estimated, wet, cold, dry


def _shifted(values: Floats, heads: Ints, begin: Floats) -> Floats:
    """Give the value before each, and at the head of each run what it begins with."""
    shifted = np.concatenate((values[:1], values[:-1]))
    shifted[heads] = begin
    return shifted


def _leads(
    chunk: Chunk, path: Path, model: SeedModel, starts: Sequence[Start], runs: _Runs
) -> _Leads:
    """Steps into the hours, those over gaps bridged with the worse end."""
    hours, scale = runs.hours, runs.scale
    days, temp_c = chunk.lead_days[hours].copy(), chunk.lead_temp_c[hours].copy()
    target = path.lead_target[hours] * scale
    keep, gain = path.lead_keep[hours].copy(), path.lead_gain[hours] * scale
    first = chunk.first[hours]
    here_target, here_temp_c = path.target[first] * scale, chunk.temp_c[first]
    tau = path.tau_days[hours]
    new = [place for place, start in enumerate(starts) if start.opening_days is not None]
    if new:
        at = runs.heads[new]
        days[at] = [starts[place].opening_days for place in new]
        temp_c[at], target[at] = here_temp_c[at], here_target[at]
        keep[at] = relax(1.0, 0.0, days[at], tau[at])
        gain[at] = relax(0.0, here_target[at], days[at], tau[at])
    gaps = np.flatnonzero(days > runs.gap_days)
    gap_temp_c = temp_c[gaps]
    if len(gaps):
        ends = ((target[gaps], gap_temp_c), (here_target[gaps], here_temp_c[gaps]))
        rates = [loss_rate_per_day(model, *end) for end in ends]
        at_start = rates[0] >= rates[1]
        worse = np.where(at_start, ends[0][0], ends[1][0])
        gain[gaps] = relax(0.0, worse, days[gaps], tau[gaps])
        gap_temp_c = np.where(at_start, ends[0][1], ends[1][1])
    return _Leads(days, temp_c, keep, gain, gaps, gap_temp_c)


def _chain(
    starts: Sequence[Start], runs: _Runs, leads: _Leads, keep: Floats, gain: Floats
) -> tuple[Floats, Floats]:
    """Moisture at each hour's first reading, and at the reading before it."""
    firsts = []
    steps = zip(leads.keep.tolist(), leads.gain.tolist(), keep.tolist(), gain.tolist(), strict=True)
    for start, length in zip(starts, runs.lengths.tolist(), strict=True):
        last = start.mc_dry_pct
        for lead_keep, lead_gain, hour_keep, hour_gain in islice(steps, length):
            first = lead_keep * last + lead_gain
            firsts.append(first)
            last = hour_keep * first + hour_gain
    at_first = np.array(firsts)
    begin = np.array([start.mc_dry_pct for start in starts])
    return at_first, _shifted(keep * at_first + gain, runs.heads, begin)


def _rows(
    chunk: Chunk,
    mc_dry_pct: Floats,
    starts: Sequence[Start],
    runs: _Runs,
    increments: tuple[Floats, ...],
) -> list[LedgerRows]:
    """Sum up from where the curves stood, times as seconds; and take the curves apart."""
    last = chunk.last[runs.hours]
    sums = (
        _running(increment * unit, np.array([start.sums[place] for start in starts]), runs)
        for place, (increment, unit) in enumerate(zip(increments, _UNITS, strict=True))
    )
    rows = LedgerRows(
        chunk.hour[runs.hours],
        chunk.time_ms[last],
        chunk.temp_c[last],
        chunk.rh_pct[last],
        mc_dry_pct,
        *sums,
    )
    if len(starts) == 1:
        return [rows]
    columns = [getattr(rows, name) for name in LedgerRows.__slots__]
    ends = zip(runs.heads.tolist(), (runs.heads + runs.lengths).tolist(), strict=True)
    return [LedgerRows(*(column[head:end] for column in columns)) for head, end in ends]


def _running(increments: Floats, carried: Floats, runs: _Runs) -> Floats:
    """Add up each run from what was carried into it, one hour after the other."""
    if len(carried) == 1:
        total: Floats = np.cumsum(np.concatenate((carried, increments)))[1:]
        return total
    total = np.empty(len(increments))
    total[runs.heads] = carried + increments[runs.heads]
    for hour in range(1, int(runs.lengths.max())):
        at = runs.heads[runs.lengths > hour] + hour
        total[at] = total[at - 1] + increments[at]
    return total


_UNITS = (1.0, SECONDS_PER_DAY, SECONDS_PER_DAY, SECONDS_PER_DAY, 1.0, 1.0)
