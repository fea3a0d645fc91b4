"""Posteriors and season decisions of 10,000 lots at once, against plain loops over the same grid.

``PYTHONPATH=tests python -m bench.bench_posterior [lots ...]`` (1,000 and 10,000 by default). Each
lot has a label and up to two tests of its own. The plain loops lay the same grid of 48 by 48 cells
a lot (a window of the multiplier found by zooming in, in each of its cells v0 about its most likely
value), and work the same out of it in floats. They are timed for 20 lots and scaled up. Nothing is
kept from one run to the next. Seconds are those of the processor, the least of five.
"""

import math
import sys
from collections.abc import Iterator
from functools import partial
from statistics import NormalDist

import numpy as np

from bench.rows import Row, least, machine, ms, table
from hilum.science.decisions import Plan, judge, new_seeds
from hilum.science.germination import Count, Evidence
from hilum.science.posterior import bands, posteriors

SIZES, LOOPED = (1_000, 10_000), 20
CELLS, LEVELS = 48, 64
NORMAL, ROOT_TWO_PI = NormalDist(), math.sqrt(2.0 * math.pi)
PLAN = Plan(plants_wanted=50, seeds_in_hand=None, fresh_pct=80.0, packet_seeds=100)
IN_HAND = 400
TIMES_FASTER, LIMIT_S = 50.0, 5.0

Cells = list[tuple[float, float]]


def lots(count: int) -> tuple[list[Evidence], list[float]]:
    """Lots with a label and up to two own tests, and a loss to look at."""
    rng = np.random.default_rng(1)
    evidences, losses = [], []
    for _ in range(count):
        label = Count(int(rng.integers(300, 400)), 400)
        own = [
            Count(int(rng.integers(10, 50)), 50, float(rng.uniform(0, 1)))
            for _ in range(rng.integers(0, 3))
        ]
        evidences.append(Evidence((label, *own), 4.0))
        losses.append(float(rng.uniform(0, 2)))
    return evidences, losses


def at_once(evidences: list[Evidence], losses: list[float]) -> None:
    """Median and band of every lot, and what to do with it for a plan."""
    loss = np.array(losses)
    for chunk in posteriors(evidences):
        here = loss[chunk.lots]
        chunk.shown(here[:, None])
        judge(chunk.levels(here, LEVELS), PLAN, [IN_HAND] * len(here))


def plain_row(evidence: Evidence, k: float) -> tuple[float, float]:
    """Most likely v0 for a multiplier and the curvature there, by Newton's method."""
    v0, say = 0.0, 1.0
    for count in evidence.counts:
        start = NORMAL.inv_cdf((count.germinated + 0.5) / (count.sown + 1.0))
        weight = count.sown * math.exp(-0.5 * start * start)
        v0, say = v0 + weight * (start + k * count.loss_probit), say + weight
    v0 /= say
    for _ in range(40):
        slope, curve = -v0, 1.0
        for count in evidence.counts:
            ned = v0 - k * count.loss_probit
            share = min(max(NORMAL.cdf(ned), 1e-300), 1 - 1e-16)
            density = math.exp(-0.5 * ned * ned) / ROOT_TWO_PI
            alive, dead = density / share, density / (1.0 - share)
            if ned < -30.0:  # the share is too small for a float
                alive = -ned - 1.0 / ned
            up, down = count.germinated * alive, (count.sown - count.germinated) * dead
            slope += up - down
            curve += up * (ned + alive) + down * (dead - ned)
        curve = max(curve, 1.0)
        v0 += slope / curve
        if abs(slope) / math.sqrt(curve) < 0.1:
            break
    return v0, curve


def plain_log_density(evidence: Evidence, k: float, v0: float) -> float:
    """Log of prior of v0 times likelihood."""
    total = -0.5 * v0 * v0
    for count in evidence.counts:
        share = min(max(NORMAL.cdf(v0 - k * count.loss_probit), 1e-300), 1 - 1e-16)
        dead = count.sown - count.germinated
        total += count.germinated * math.log(share) + dead * math.log(1.0 - share)
    return total


def plain_window(evidence: Evidence) -> tuple[float, float]:
    """Ends of the cells of y that matter, found by zooming in."""
    low, high = -8.0, 8.0
    for _ in range(6):
        heights, step = [], (high - low) / CELLS
        for i in range(CELLS):
            y = low + step * (i + 0.5)
            k = math.exp(evidence.log_spread * y)
            v0, curve = plain_row(evidence, k)
            here = plain_log_density(evidence, k, v0)
            heights.append(here - 0.5 * math.log(curve) - 0.5 * y * y)
        matters = [at for at in range(CELLS) if heights[at] > max(heights) - 14.0]
        first, last = max(matters[0] - 1, 0), min(matters[-1] + 2, CELLS)
        wide = high - low
        low, high = low + step * first, low + step * last
        if high - low > 0.6 * wide:
            break
    return low, high


def plain_cells(evidence: Evidence, loss: float) -> Cells:
    """Viability [probit] and share of every cell, weakest first, by loops alone."""
    cells = []
    low, high = plain_window(evidence)
    for i in range(CELLS):
        y = low + (high - low) * (i + 0.5) / CELLS
        k = math.exp(evidence.log_spread * y)
        centre, curve = plain_row(evidence, k)
        width = 1.0 / math.sqrt(curve)
        for j in range(CELLS):
            v0 = centre + width * (16.0 * (j + 0.5) / CELLS - 8.0)
            density = plain_log_density(evidence, k, v0) - 0.5 * y * y + math.log(width)
            cells.append((v0 - k * loss, density))
    cells.sort()
    top = max(density for _, density in cells)
    shares = [math.exp(density - top) for _, density in cells]
    total = sum(shares)
    return [(ned, share / total) for (ned, _), share in zip(cells, shares, strict=True)]


def plain_band(cells: Cells) -> list[float]:
    """Low end, median and high end [%]."""
    found, running, shares = [], 0.0, [0.05, 0.5, 0.95]
    for ned, share in cells:
        running += share
        while shares and running >= shares[0]:
            found.append(100 * NORMAL.cdf(ned))
            shares.pop(0)
    return found


def plain_binomial(trials: int, most: int, chance: float) -> list[float]:
    """Chances of 0 to ``most`` successes."""
    term = (1.0 - chance) ** trials
    found = [term]
    for x in range(most):
        term *= (trials - x) / (x + 1.0) * chance / (1.0 - chance)
        found.append(term)
    return found


def plain_decision(cells: Cells, new: int) -> tuple[int, float]:
    """Verdict for the plan, and the chance that a test of 50 changes it, by loops alone."""
    low, high = cells[0][0], cells[-1][0]
    weight = [0.0] * LEVELS
    for ned, share in cells:
        weight[min(int((ned - low) / (high - low) * LEVELS), LEVELS - 1)] += share
    level = [
        min(max(NORMAL.cdf(low + (high - low) * (at + 0.5) / LEVELS), 1e-12), 1 - 1e-12)
        for at in range(LEVELS)
    ]
    wanted, limits = PLAN.plants_wanted, (math.floor(1.25 * new), 2 * new)
    reach = [
        [1.0 - sum(plain_binomial(seeds, wanted - 1, chance)) for chance in level]
        for seeds in limits
    ]

    def verdict(weights: list[float]) -> int:
        for code, chances in enumerate(reach):
            if sum(w * c for w, c in zip(weights, chances, strict=True)) >= PLAN.probability:
                return code
        return len(reach)

    now = verdict(weight)
    results = [plain_binomial(PLAN.test_seeds, PLAN.test_seeds, chance) for chance in level]
    changed = 0.0
    for x in range(PLAN.test_seeds + 1):
        joint = [w * each[x] for w, each in zip(weight, results, strict=True)]
        chance = sum(joint)
        if chance > 1e-12 and verdict([each / chance for each in joint]) != now:
            changed += chance
    fewest, most = wanted, limits[1]  # seeds to sow, by halving
    while most - fewest > 1:
        middle = (fewest + most) // 2
        short = (sum(plain_binomial(middle, wanted - 1, chance)) for chance in level)
        enough = 1.0 - sum(w * s for w, s in zip(weight, short, strict=True)) >= PLAN.probability
        fewest, most = (fewest, middle) if enough else (middle, most)
    return now, changed


def plain(evidences: list[Evidence], losses: list[float], *, decide: bool) -> None:
    """Do the same for some lots, by loops alone."""
    for evidence, loss in zip(evidences, losses, strict=True):
        cells = plain_cells(evidence, loss)
        plain_band(cells)
        if decide:
            plain_decision(cells, new_seeds(PLAN))


def rows(count: int, slow: list[float]) -> Iterator[Row]:
    """Measure posteriors alone, and with decisions, against the plain loops and against seconds."""
    evidences, losses = lots(count)
    runs = (
        partial(bands, evidences, np.array(losses)[:, None]),
        partial(at_once, evidences, losses),
    )
    names = ("posteriors", "posteriors and decisions")
    for what, plainly, seconds in zip(names, slow, least(5, *runs), strict=True):
        name, loop = f"{what}, {count:,} lots", plainly * count / LOOPED
        against = f"plain loop, {loop:.0f} s"
        yield Row(name, ms(seconds), against, loop / seconds, TIMES_FASTER, least=True)
        yield Row(name, ms(seconds), "seconds", seconds, LIMIT_S * count / 10_000, unit=" s")


def main() -> None:
    """Time both and print."""
    few = lots(LOOPED)
    slow = least(3, *(partial(plain, *few, decide=decide) for decide in (False, True)))
    sizes = [int(word) for word in sys.argv[1:]] or SIZES
    print(machine())
    print(table([row for count in sizes for row in rows(count, slow)]))


if __name__ == "__main__":
    main()
