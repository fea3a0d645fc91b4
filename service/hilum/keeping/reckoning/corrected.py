"""What a sensor says, corrected: the same questions as to the store, the same shapes of answers.

All that is shown or computed goes through here. What the sensor itself sent is asked of the store:
for exports, and to judge the sensor's own health (a value that stands still, a jump).

Corrections work on each value alone, so any division of the time gives the same bits.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields, replace

import numpy as np

from hilum.domain.corrections import Correction
from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    Floats,
    HourTier,
    Ints,
    Reading,
    Series,
)
from hilum.domain.ports import Store
from hilum.science.salts import Calibration

_TEMPS = ("temp_min", "temp_mean", "temp_max")
_RHS = ("rh_min", "rh_mean", "rh_max")


def series(store: Store, sensor: str, start_ms: int, end_ms: int) -> Series:
    """Give corrected readings with start <= time < end.

    Parameters
    ----------
    store : Store
        Readings and corrections.
    sensor : str
        Name of the sensor; an unknown one has no readings.
    start_ms, end_ms : int
        Period [ms since 1970 UTC].

    Returns
    -------
    Series
        Temperature [°C] and humidity [%], NaN where not reported.
    """
    raw = store.series(sensor, start_ms, end_ms)
    held = store.corrections(sensor)
    return apply(raw, held) if held else raw


def apply(raw: Series, held: Sequence[Correction]) -> Series:
    """Apply corrections of one sensor, in order of time, to its readings."""
    temp_c, rh_pct = raw.temp_c.copy(), raw.rh_pct.copy()
    for each, part in _parts(raw.time_ms, held):
        temp_c[part] += each.temp_offset_c
        rh_pct[part] = _line(each).correct(rh_pct[part])
    return Series(raw.time_ms, temp_c, rh_pct)


def hours(store: Store, sensor: str, start_ms: int, end_ms: int) -> HourTier:
    """Give corrected summaries of the hours that start in start <= hour < end.

    Lowest, mean and highest value are corrected, which is exact for a straight line but for this:
    where single values are held at 0 or 100 %, the mean is that before they were held. An hour in
    which a correction begins is gathered from its readings.
    """
    return _tier(store, sensor, store.hours(sensor, start_ms, end_ms), MS_PER_HOUR)


def days(store: Store, sensor: str, start_ms: int, end_ms: int) -> HourTier:
    """Give corrected summaries of UTC days, as ``hours`` does."""
    return _tier(store, sensor, store.days(sensor, start_ms, end_ms), MS_PER_DAY)


def newest(store: Store, sensor: str) -> Reading | None:
    """Give the newest reading by sensor time, corrected."""
    return _reading(store, store.newest(sensor))


def before(store: Store, sensor: str, time_ms: int) -> Reading | None:
    """Give the newest reading strictly before a time, corrected."""
    return _reading(store, store.before(sensor, time_ms))


def in_force(held: Sequence[Correction], time_ms: int) -> Correction | None:
    """Give the correction that holds at a time; those given are of one sensor, in order."""
    begun = [each for each in held if each.from_ms <= time_ms]
    return begun[-1] if begun else None


def _line(correction: Correction) -> Calibration:
    return Calibration(correction.rh_gain, correction.rh_offset_pct)


def _parts(time_ms: Ints, held: Sequence[Correction]) -> Iterator[tuple[Correction, slice]]:
    """Each correction with the part of the times over which it holds."""
    firsts = np.searchsorted(time_ms, [each.from_ms for each in held]).tolist()
    for each, first, end in zip(held, firsts, [*firsts[1:], len(time_ms)], strict=True):
        yield each, slice(first, end)


def _reading(store: Store, raw: Reading | None) -> Reading | None:
    if raw is None:
        return None
    correction = in_force(store.corrections(raw.sensor), raw.time_ms)
    if correction is None:
        return raw
    return replace(
        raw,
        temp_c=None if raw.temp_c is None else raw.temp_c + correction.temp_offset_c,
        rh_pct=None if raw.rh_pct is None else _line(correction).correct(raw.rh_pct),
    )


def _tier(store: Store, sensor: str, raw: HourTier, length_ms: int) -> HourTier:
    held = store.corrections(sensor)
    if not held or not len(raw):
        return raw
    columns = {field.name: getattr(raw, field.name).copy() for field in fields(raw)}
    for each, part in _parts(raw.start_ms, held):
        for name in _TEMPS:
            columns[name][part] += each.temp_offset_c
        for name in _RHS:
            columns[name][part] = _line(each).correct(columns[name][part])
    for start_ms in {each.from_ms // length_ms * length_ms for each in held}:
        for at in np.flatnonzero(raw.start_ms == start_ms):
            whole = series(store, sensor, start_ms, start_ms + length_ms)
            for names, values in ((_TEMPS, whole.temp_c), (_RHS, whole.rh_pct)):
                for name, value in zip(names, _summary(values), strict=True):
                    columns[name][at] = value
    return HourTier(**columns)


def _summary(values: Floats) -> tuple[float, ...]:
    known = values[~np.isnan(values)]
    of: tuple[Callable[[Floats], float], ...] = (np.min, np.mean, np.max)
    return tuple(float(each(known)) if known.size else np.nan for each in of)
