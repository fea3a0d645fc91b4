"""10,000 lots' posteriors at once, against a plain loop over the same grid.

``python tests/bench/bench_posterior.py`` prints seconds and their ratio. Both use a grid of 48 by
48 cells a lot and give median and band at one loss. The loop works through 20 lots and is scaled
up. It lays its cells by fixed steps of v0 and ln k, as one would first write it.
"""

import math
import time
from statistics import NormalDist

import numpy as np

from hilum.science.germination import Count, Evidence
from hilum.science.posterior import bands

LOTS, LOOPED = 10_000, 20
CELLS = 48
NORMAL = NormalDist()


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


def plain(evidence: Evidence, loss: float) -> tuple[float, float, float]:
    """Median, low and high in per cent, by loops alone."""
    cells = []
    for i in range(CELLS):
        y = -4.0 + 8.0 * (i + 0.5) / CELLS
        k = math.exp(evidence.log_spread * y)
        for j in range(CELLS):
            v0 = -3.0 + 6.0 * (j + 0.5) / CELLS
            density = -0.5 * (v0 * v0 + y * y)
            for count in evidence.counts:
                share = min(max(NORMAL.cdf(v0 - k * count.loss_probit), 1e-300), 1 - 1e-16)
                dead = count.sown - count.germinated
                density += count.germinated * math.log(share) + dead * math.log(1.0 - share)
            cells.append((v0 - k * loss, density))
    cells.sort()
    top = max(density for _, density in cells)
    total = sum(math.exp(density - top) for _, density in cells)
    found, running, shares = [], 0.0, [0.05, 0.5, 0.95]
    for ned, density in cells:
        running += math.exp(density - top) / total
        while shares and running >= shares[0]:
            found.append(100 * NORMAL.cdf(ned))
            shares.pop(0)
    return found[1], found[0], found[2]


def main() -> None:
    """Time both and print."""
    evidences, losses = lots(LOTS)
    start = time.perf_counter()
    bands(evidences, np.array(losses)[:, None])
    at_once = time.perf_counter() - start
    start = time.perf_counter()
    for evidence, loss in zip(evidences[:LOOPED], losses[:LOOPED], strict=True):
        plain(evidence, loss)
    looped = (time.perf_counter() - start) * LOTS / LOOPED
    print(f"{LOTS:,} lots at once: {at_once:.1f} s ({1e6 * at_once / LOTS:.0f} µs a lot)")
    print(f"plain loop, scaled from {LOOPED} lots: {looped:.0f} s")
    print(f"ratio: {looped / at_once:.0f}")


if __name__ == "__main__":
    main()
