"""The ledger once more, in plain loops over ``math``, written from the published formulas.

Nothing of the service's computation is used, so that the two can be held against each other.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

HOUR_MS = 3_600_000
DAY_MS = 86_400_000


@dataclass(frozen=True)
class PlainSeed:
    """Constants of a seed and its wrap.

    Onion, small, in paper: viability constants of Ellis & Roberts 1981 as listed in the project's
    table, oil 23.5 % of dry matter; 4 days to follow the air at 20 °C.
    """

    ke: float = 6.975
    cw: float = 3.470
    ch: float = 0.0400
    cq: float = 0.000428
    oil: float = 0.235
    tau_days: float = 4.0

    def mc(self, rh_pct: float, temp_c: float) -> float:
        """Cromarty, Ellis & Roberts 1982, all of the group squared; % dry basis."""
        temp_c = min(max(temp_c, 0.0), 50.0)
        humidity = min(max(rh_pct, 0.0), 99.9) / 100.0
        return (1.0 - self.oil) * math.sqrt(-440.0 * math.log(1.0 - humidity)) / (1.1 + temp_c / 90)

    def high(self, temp_c: float) -> float:
        """Wettest at which the equation is used: 85 % humidity or 15 % moisture, wet basis."""
        return min(self.mc(85.0, temp_c), 100.0 * 15.0 / 85.0)

    def rate(self, mc: float, temp_c: float) -> float:
        """Ellis & Roberts 1980; probits a day."""
        mc = min(max(mc, self.mc(15.0, temp_c)), self.high(temp_c))
        wet_basis = 100.0 * mc / (100.0 + mc)
        temp_c = min(max(temp_c, -20.0), 50.0)
        log_sigma = self.ke - self.cw * math.log10(wet_basis)
        return math.pow(10.0, self.ch * temp_c + self.cq * temp_c**2 - log_sigma)

    def tau(self, temp_c: float) -> float:
        """Twice as slow for each 10 °C below 20 °C."""
        return self.tau_days * math.pow(2.0, max(20.0 - temp_c, 0.0) / 10.0)


@dataclass
class PlainRow:
    """One hour: moisture at its end and sums up to there."""

    hour: int
    mc: float
    loss: float
    covered_s: float
    estimated_s: float
    wet_s: float
    cold: float
    dry: float


Conditions = tuple[int, float, float]


def plain_curve(
    seed: PlainSeed,
    readings: Sequence[Conditions],
    gap_s: float,
    start: tuple[int, float] | None = None,
) -> list[PlainRow]:
    """Follow seed through readings one by one.

    ``start`` is when it entered the box and with what moisture; ``None``: with the first reading,
    in balance with it. A tally is kept of loss, covered, estimated, wet, cold and dry.
    """
    if start is not None:
        readings = [r for r in readings if r[0] // HOUR_MS >= math.ceil(start[0] / HOUR_MS)]
    rows: list[PlainRow] = []
    if not readings:
        return rows
    first = readings[0]
    before = (first[0] if start is None else start[0], *first[1:])
    mc = seed.mc(first[2], first[1]) if start is None else start[1]
    tally = [0.0] * 6
    hour, tau = None, math.nan
    for reading in readings:
        if reading[0] // HOUR_MS != hour:
            hour = reading[0] // HOUR_MS
            tau = seed.tau(reading[1])
            rows.append(PlainRow(hour, 0, 0, 0, 0, 0, 0, 0))
        mc = _step(seed, before, reading, mc, tau=tau, gap_s=gap_s, tally=tally)
        rows[-1] = PlainRow(hour, mc, *tally)
        before = reading
    return rows


def _step(
    seed: PlainSeed,
    before: Conditions,
    here: Conditions,
    mc: float,
    *,
    tau: float,
    gap_s: float,
    tally: list[float],
) -> float:
    seconds = (here[0] - before[0]) / 1000.0
    days = seconds / 86_400.0
    if seconds > gap_s:
        ends = (before, here)
        worse = max(ends, key=lambda end: seed.rate(_own(seed, end, mc), end[1]))
        temp_c, target = worse[1], _own(seed, worse, mc)
        end_mc = target + (mc - target) * math.exp(-days / tau)
        top = max(mc, end_mc)
        loss = seed.rate(top, temp_c) * days
        tally[0] += loss
        tally[2] += seconds
        tally[3] += seconds * (top > seed.high(temp_c))
        tally[4] += loss * (temp_c < 5.0)
        tally[5] += loss * (top < seed.mc(20.0, temp_c))
        return end_mc
    start, end = _own(seed, before, mc), _own(seed, here, mc)
    end_mc = mc
    if days > 0.0 and not math.isinf(tau):
        slope = (end - start) / days
        gone = -math.expm1(-days / tau)
        end_mc = mc + (start - mc) * gone + slope * (days - tau * gone)
    rates = (seed.rate(mc, before[1]), seed.rate(end_mc, here[1]))
    loss = 0.5 * days * sum(rates)
    tally[0] += loss
    tally[1] += seconds
    tally[3] += 0.5 * seconds * ((mc > seed.high(before[1])) + (end_mc > seed.high(here[1])))
    tally[4] += loss * ((before[1] + here[1]) / 2.0 < 5.0)
    dry = (mc < seed.mc(20.0, before[1]), end_mc < seed.mc(20.0, here[1]))
    tally[5] += 0.5 * days * sum(rate for rate, is_dry in zip(rates, dry, strict=True) if is_dry)
    return end_mc


def _own(seed: PlainSeed, air: Conditions, mc: float) -> float:
    """Moisture it drifts to; its own where sealed."""
    return mc if math.isinf(seed.tau_days) else seed.mc(air[2], air[1])
