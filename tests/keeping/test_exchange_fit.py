"""The interval of an exchange time, against many simulated boxes with correlated noise."""

import numpy as np
import pytest

from hilum.domain.model import Floats
from hilum.keeping.desiccant.boxdays import HourSeries
from hilum.keeping.desiccant.breathing import fit_exchange

HOURS, TEMP_C = 24 * 21, 18.0


def with_memory(rng: np.random.Generator, hours: float, spread: float) -> Floats:
    """Noise that forgets itself within so many hours."""
    keep = np.exp(-1.0 / hours)
    kicks = rng.standard_normal(HOURS) * np.sqrt(1.0 - keep**2)
    found = np.zeros(HOURS)
    for i in range(HOURS):
        found[i] = keep * (found[i - 1] if i else rng.standard_normal()) + kicks[i]
    return spread * found


def simulated(
    seed: int, tau_days: float, noise: tuple[float, float]
) -> tuple[HourSeries, HourSeries]:
    """Three weeks of an empty box in a steady temperature: humidity follows with one lag.

    At one temperature absolute humidity is a multiple of the relative one, so that the lag can be
    worked in per cent; steps of a minute.
    """
    rng = np.random.default_rng(seed)
    outside = 50.0 + with_memory(rng, 40.0, 7.0)
    inside, value = np.zeros(HOURS), float(rng.uniform(30.0, 60.0))
    for hour in range(HOURS):
        inside[hour] = value
        if hour + 1 < HOURS:
            for minute in range(60):
                air = outside[hour] + (outside[hour + 1] - outside[hour]) * (minute + 0.5) / 60.0
                value += (air - value) / (tau_days * 1440.0)
    start_ms = np.arange(HOURS, dtype=np.int64) * 3_600_000
    temp_c = np.full(HOURS, TEMP_C)
    seen = inside + with_memory(rng, *noise) + rng.normal(0.0, 0.5)
    return HourSeries(start_ms, temp_c, seen), HourSeries(start_ms, temp_c, outside)


@pytest.mark.parametrize(
    ("noise", "narrowest", "widest"),
    [((0.2, 0.3), 1.0, 1.2), ((24.0, 1.5), 1.2, 3.0)],
    ids=["quiet", "wandering"],
)
def test_intervals_hold_the_truth_and_say_something(
    noise: tuple[float, float], narrowest: float, widest: float
) -> None:
    """Of 36 boxes at least 31 intervals hold the truth (90 % are meant), none is idly wide.

    Noise of the sensor: hours it hangs together, and % RH. What wanders for a day counts for few
    readings, or the intervals would be too narrow.
    """
    held, widths = 0, []
    for tau_days in (0.3, 2.0, 8.0):
        for seed in range(12):
            found = fit_exchange(*simulated(seed, tau_days, noise))
            assert found is not None
            step = 1.06  # times are tried in steps of 10 %
            held += found.low_days / step <= tau_days <= found.high_days * step
            widths.append(found.high_days / found.low_days)
    assert held >= 31
    assert narrowest <= np.median(widths) <= widest
