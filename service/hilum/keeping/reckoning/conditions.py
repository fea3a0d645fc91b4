"""What a box was like: readings of its inside sensors, both quantities at every moment.

Readings are corrected before anything else is made of them (see ``corrected``).
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from hilum.domain.model import Floats, Ints, Placement, Role, Series
from hilum.domain.ports import Store
from hilum.keeping.reckoning import corrected

COMPLETE_MS = 15 * 60_000
"""A value no older than this completes a reading that reports only the other quantity. Our choice:
devices that send the two apart do so within minutes, and a box changes more slowly than that."""

NO_READINGS = Series(np.empty(0, np.int64), np.empty(0), np.empty(0))
"""A series without readings."""


def conditions(readings: Series) -> Series:
    """Give each reading both quantities, as far as they are known.

    A reading with only temperature or only humidity is completed by the newest value of the other
    that is not older than ``COMPLETE_MS``; readings that stay incomplete are left out.

    Parameters
    ----------
    readings : Series
        Readings of one sensor in order of time; NaN where a quantity was not reported.

    Returns
    -------
    Series
        Temperature [°C] and relative humidity [%] at each moment, without NaN.
    """
    gaps = np.isnan(readings.temp_c) | np.isnan(readings.rh_pct)
    if not gaps.any():
        return readings
    temp_c = _completed(readings.time_ms, readings.temp_c)
    rh_pct = _completed(readings.time_ms, readings.rh_pct)
    return _only(readings.time_ms, temp_c, rh_pct, ~(np.isnan(temp_c) | np.isnan(rh_pct)))


def inside(placements: Sequence[Placement]) -> list[Placement]:
    """Those placements whose sensor stands for the conditions in its box."""
    return [placement for placement in placements if placement.role is Role.INSIDE]


def box_conditions(
    store: Store, placements: Sequence[Placement], start_ms: int, end_ms: int
) -> Series:
    """Join the readings of a box's inside placements, each over its own period.

    Parameters
    ----------
    store : Store
        Where the readings are.
    placements : sequence of Placement
        All placements of the box, in order of start.
    start_ms, end_ms : int
        Period, start <= time < end [ms since 1970 UTC].

    Returns
    -------
    Series
        Temperature [°C] and relative humidity [%], in order of time, without NaN.
    """
    parts = [
        part
        for placement in inside(placements)
        if len(part := _part(store, placement, start_ms, end_ms))
    ]
    if len(parts) == 1:
        return parts[0]
    if not parts:
        return NO_READINGS
    return Series(
        np.concatenate([part.time_ms for part in parts]),
        np.concatenate([part.temp_c for part in parts]),
        np.concatenate([part.rh_pct for part in parts]),
    )


def _part(store: Store, placement: Placement, start_ms: int, end_ms: int) -> Series:
    """Conditions over the part of a placement that lies in the period.

    Reading begins earlier, so that the first readings are completed as they would be in any other
    division of the time, but never before the sensor stood in this box.
    """
    start_ms = max(start_ms, placement.from_ms)
    if placement.to_ms is not None:
        end_ms = min(end_ms, placement.to_ms)
    if start_ms >= end_ms:
        return NO_READINGS
    read_from = max(start_ms - COMPLETE_MS, placement.from_ms)
    series = conditions(corrected.series(store, placement.sensor, read_from, end_ms))
    if read_from == start_ms:
        return series
    first = int(np.searchsorted(series.time_ms, start_ms))
    return Series(series.time_ms[first:], series.temp_c[first:], series.rh_pct[first:])


def _completed(time_ms: Ints, values: Floats) -> Floats:
    """Fill NaN with the newest earlier value that is not too old."""
    here = np.arange(len(values))
    newest = np.maximum.accumulate(np.where(np.isnan(values), -1, here))
    young = (newest >= 0) & (time_ms - time_ms[newest] <= COMPLETE_MS)
    return np.where(young, values[newest], np.nan)


def _only(time_ms: Ints, temp_c: Floats, rh_pct: Floats, keep: npt.NDArray[np.bool_]) -> Series:
    return Series(time_ms[keep], temp_c[keep], rh_pct[keep])
