"""Series to points on a screen: envelopes, scales and the paths of drawn panels. Pure."""

from dataclasses import dataclass

import numpy as np

from hilum.domain.model import Floats, Ints
from hilum.keeping.overview import History

PATH_WIDTH, PATH_HEIGHT = 1000.0, 100.0
"""Coordinates of drawn paths; the page stretches them."""

_STEPS = (1.0, 2.0, 5.0)


@dataclass(frozen=True, slots=True)
class Columns:
    """What a chart draws: at most one row per bucket, and a row of NaN in every gap.

    Each quantity has its lowest, mean and highest value within the bucket, so at most two points
    lie on a pixel when there is a bucket per pixel.
    """

    time_ms: Ints
    temp_lo: Floats
    temp_mid: Floats
    temp_hi: Floats
    erh_lo: Floats
    erh_mid: Floats
    erh_hi: Floats
    mc_starchy_pct: Floats
    mc_oily_pct: Floats

    def __len__(self) -> int:
        return len(self.time_ms)


VALUES = tuple(name for name in Columns.__dataclass_fields__ if name != "time_ms")


def decimate(history: History, start_ms: int, end_ms: int, buckets: int) -> Columns:
    """Reduce a history to so many buckets of equal length, with its gaps marked.

    Parameters
    ----------
    history : History
        Rows within the span, in order of time.
    start_ms, end_ms : int
        The span that is drawn.
    buckets : int
        At least 1; the width in pixels.
    """
    length = max(1, end_ms - start_ms)
    place = np.clip((history.time_ms - start_ms) * buckets // length, 0, buckets - 1)
    first = np.flatnonzero(np.append(True, np.diff(place) > 0)) if len(history) else place
    columns = {name: _reduce(name, getattr(history, name), first) for name in VALUES}
    time_ms = _reduce("time_mid", history.time_ms.astype(float), first).astype(np.int64)
    starts = history.time_ms[first]
    ends = history.time_ms[np.append(first[1:], len(history)) - 1] if len(history) else starts
    silent = np.flatnonzero(starts[1:] - ends[:-1] > history.step_ms)
    gap_ms = (ends[silent] + starts[silent + 1]) // 2
    return Columns(
        time_ms=np.insert(time_ms, silent + 1, gap_ms),
        **{name: np.insert(column, silent + 1, np.nan) for name, column in columns.items()},
    )


def _reduce(name: str, values: Floats, first: Ints) -> Floats:
    """One value per bucket, NaN only where the whole bucket is; ``first`` starts the buckets."""
    if not len(values):
        return np.empty(0)
    if name.endswith("_lo"):
        return np.asarray(np.fmin.reduceat(values, first))
    if name.endswith("_hi"):
        return np.asarray(np.fmax.reduceat(values, first))
    known = ~np.isnan(values)
    amount = np.add.reduceat(known.astype(float), first)
    total = np.add.reduceat(np.where(known, values, 0.0), first)
    mean: Floats = np.divide(total, amount, out=np.full(len(first), np.nan), where=amount > 0)
    return mean


@dataclass(frozen=True, slots=True)
class Scale:
    """A vertical scale with round ticks."""

    low: float
    high: float
    ticks: tuple[float, ...]

    def height(self, value: float) -> float:
        """Distance from the top of the panel, in % of its height."""
        return round((self.high - value) / (self.high - self.low) * 100, 2)


def scale(low: float, high: float, *, most_ticks: int = 5, least_span: float = 1.0) -> Scale:
    """Choose a scale that holds two values, with round ticks, the outer ones at its ends."""
    if high - low < least_span:
        middle = (high + low) / 2
        low, high = middle - least_span / 2, middle + least_span / 2
    step = next(s for s in _steps(high - low) if _tick_count(low, high, s) <= most_ticks)
    first, last = np.floor(low / step), np.ceil(high / step)
    ticks = tuple(float(round(k * step, 9)) for k in np.arange(first, last + 1))
    return Scale(ticks[0], ticks[-1], ticks)


def _steps(span: float) -> list[float]:
    power = int(np.floor(np.log10(span)))
    return [s * 10.0**p for p in range(power - 1, power + 2) for s in _STEPS]


def _tick_count(low: float, high: float, step: float) -> int:
    return int(np.ceil(high / step) - np.floor(low / step)) + 1


def bounds(*parts: Floats) -> tuple[float, float] | None:
    """Lowest and highest known value; ``None`` if nothing is known."""
    values = np.concatenate([np.ravel(part) for part in parts])
    known = values[~np.isnan(values)]
    return (float(known.min()), float(known.max())) if known.size else None


def line_path(x: Floats, y: Floats) -> str:
    """SVG path of a line, broken where a value is NaN; a lone point becomes a short dash."""
    return "".join(
        f"M{_points(x[run], y[run])}" + ("h1" if run.stop - run.start == 1 else "")
        for run in _runs(y)
    )


def area_path(x: Floats, low: Floats, high: Floats) -> str:
    """SVG path of the area between two lines, broken where either is NaN."""
    return "".join(
        f"M{_points(x[run], high[run])}L{_points(x[run][::-1], low[run][::-1])}Z"
        for run in _runs(low + high)
    )


def _runs(y: Floats) -> list[slice]:
    known = np.concatenate(([False], ~np.isnan(y), [False]))
    edges = np.flatnonzero(np.diff(known.astype(np.int8)))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _points(x: Floats, y: Floats) -> str:
    return "L".join(f"{a:.1f} {b:.2f}" for a, b in zip(x, y, strict=True))
