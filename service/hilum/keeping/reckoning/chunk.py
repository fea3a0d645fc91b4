"""Readings of boxes, hour by hour, with all that curves share of them.

Within an hour the time constant is that of its first reading's temperature, which makes moisture
linear in the moisture at that reading: ``keep * first + gain``. Both factors depend on readings
only, so curves share them; per curve remain one short loop over hours and the loss rate.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, Floats, Ints, Series
from hilum.science.isotherms import GeneralIsotherm
from hilum.science.lag import relax, relax_ramp, tau_days
from hilum.science.seedmodel import SeedModel, equilibrium_mc_dry_pct

Column = TypeVar("Column", Ints, Floats)

COLD_C = 5.0
"""Below this the viability equation is doubted more (outcomes of storage trials; derived)."""

TAU_TEMP_C = (-60.0, 100.0)
"""Temperatures for which the lag is defined; no sensor reports others."""


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
    boxes: tuple[slice, ...]  # hours of each box

    @property
    def newest(self) -> Before:
        """Its last reading, which stands before the next chunk."""
        return Before(int(self.time_ms[-1]), float(self.temp_c[-1]), float(self.rh_pct[-1]))


def chunk_of(parts: Sequence[tuple[Series, Before | None]]) -> Chunk:
    """Prepare readings for the curves, those of several boxes one after the other.

    Parameters
    ----------
    parts : sequence of tuple of Series and Before or None
        For each box, at least one reading, in order of time, without NaN, whole hours; and the
        reading before them. ``None``: there is none, or no curve asks for it.
    """
    time_ms = np.concatenate([readings.time_ms for readings, _ in parts])
    temp_c = np.concatenate([readings.temp_c for readings, _ in parts])
    rh_pct = np.concatenate([readings.rh_pct for readings, _ in parts])
    starts = np.cumsum([0, *(len(readings) for readings, _ in parts[:-1])])
    hour_of = time_ms // MS_PER_HOUR
    begins = np.concatenate(([True], hour_of[1:] != hour_of[:-1]))
    begins[starts] = True
    first = np.flatnonzero(begins)
    last = np.append(first[1:], len(time_ms)) - 1
    step_days = np.diff(time_ms, prepend=time_ms[0]) / MS_PER_DAY
    step_days[first] = 0.0
    cold = (temp_c + np.concatenate((temp_c[:1], temp_c[:-1]))) * 0.5 < COLD_C
    heads = np.searchsorted(first, starts)
    befores = [
        before or Before(int(time_ms[at]), float(temp_c[at]), float(rh_pct[at]))
        for (_, before), at in zip(parts, starts.tolist(), strict=True)
    ]
    before_ms = _before(time_ms, last, heads, [each.time_ms for each in befores])
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
        lead_days=(time_ms[first] - before_ms) / MS_PER_DAY,
        lead_temp_c=_before(temp_c, last, heads, [each.temp_c for each in befores]),
        lead_rh_pct=_before(rh_pct, last, heads, [each.rh_pct for each in befores]),
        place=place,
        widths=widths,
        boxes=tuple(map(slice, heads.tolist(), [*heads[1:].tolist(), len(first)])),
    )


def _before(column: Column, last: Ints, heads: Ints, begin: Sequence[float]) -> Column:
    """Give the value before each hour; at the head of each box what it begins with."""
    shifted = np.concatenate((column[:1], column[last[:-1]]))
    shifted[heads] = begin
    return shifted


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
