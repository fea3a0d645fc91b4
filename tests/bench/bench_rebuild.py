"""How long a rebuild of the ledger takes against the bare arithmetic over arrays in memory.

Run by hand: ``python tests/bench/bench_rebuild.py [readings]``. The bare side knows no gaps, no
wet, cold or dry parts and no rows; it reads nothing and writes nothing. The rebuild includes the
hour and day summaries. On a busy machine the ratio of processor time is the steadier one.
"""

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from hilum.domain.model import (
    Box,
    BoxType,
    CurveKey,
    Floats,
    Ints,
    Placement,
    Reading,
    Role,
    Sensor,
    Wrap,
)
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.science.lag import tau_days
from hilum.science.seedmodel import SeedModel, equilibrium_mc_dry_pct, loss_rate_per_day, model_for
from hilum.stores.sqlite import SqliteStore

READINGS = 5_000_000
T0 = 1_400_000_000_000
MODELS = (
    "allium-cepa/oil23.5/small",
    "lactuca-sativa*0.4/oil37/small",
    "gossypium-hirsutum/oil21/small",
    "pisum-sativum/oil1.5/large",
    "zea-mays/d245-maize-yellow-dent/large",
    "brassica-napus/oil45/small",
)
WRAPS = (Wrap.PAPER, Wrap.POLY)
BLOCK = 4096


def history(count: int) -> tuple[Ints, Floats, Floats]:
    """Ten years of minutes with weather."""
    rng = np.random.default_rng(1)
    time_ms = T0 + np.arange(count) * 60_000 + rng.integers(0, 900, count)
    day = (time_ms - T0) / 86_400_000
    temp_c = 15 + 8 * np.sin(day * 2 * np.pi / 365) + 2 * np.sin(day * 2 * np.pi)
    rh_pct = 45 + 10 * np.sin(day * 2 * np.pi / 365) + rng.normal(0, 0.5, count)
    return time_ms, np.round(temp_c, 2), np.round(rh_pct, 2)


def bare_lag(time_days: Floats, target: Floats, tau: Floats) -> Floats:
    """First-order lag in blocks, each in closed form with a scaled running sum."""
    steps = np.diff(time_days, prepend=time_days[0]) / tau
    total = np.cumsum(steps)
    share = np.ones(len(steps))
    share[1:] = -np.expm1(-steps[1:]) / steps[1:]
    pull = np.diff(target, prepend=target[0]) * share
    behind = np.empty(len(target))
    last = 0.0
    for start in range(0, len(target), BLOCK):
        here = slice(start, start + BLOCK)
        scale = np.exp(total[here] - total[start])
        running = np.cumsum(pull[here] * scale)
        behind[here] = (last * np.exp(-steps[start]) - running) / scale
        last = float(behind[here][-1])
    return target + behind


def bare_curve(
    time_days: Floats, temp_c: Floats, rh_pct: Floats, model: SeedModel, wrap: Wrap
) -> Floats:
    """Moisture, rate and cumulative loss of one curve."""
    target = equilibrium_mc_dry_pct(model, rh_pct, temp_c)
    mc = bare_lag(time_days, target, tau_days(wrap, model.size, temp_c))
    rate = loss_rate_per_day(model, mc, temp_c)
    return np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(time_days))


def fill(store: SqliteStore, time_ms: Ints, temp_c: Floats, rh_pct: Floats) -> None:
    """Put the readings in, and one box with twelve curves."""
    store.save_box(Box("tub", "Tub", BoxType.TUB))
    store.save_sensor(Sensor("lane/a1", 0))
    store.add_placement(Placement(0, "lane/a1", "tub", Role.INSIDE, 0))
    store.add_curves([CurveKey("tub", model, wrap) for model in MODELS for wrap in WRAPS])
    columns = (time_ms.tolist(), temp_c.tolist(), rh_pct.tolist())
    readings = [Reading("lane/a1", *each) for each in zip(*columns, strict=True)]
    for start in range(0, len(readings), 100_000):
        store.add(readings[start : start + 100_000], T0)


def clocks() -> Floats:
    """Time by the wall clock and by the processor [s]."""
    return np.array([time.perf_counter(), time.process_time()])


def main(count: int) -> None:
    """Time both and print the ratio."""
    time_ms, temp_c, rh_pct = history(count)
    time_days = (time_ms - T0) / 86_400_000
    began = clocks()
    bare = {
        (model, wrap): bare_curve(time_days, temp_c, rh_pct, model_for(model), wrap)[-1]
        for model in MODELS
        for wrap in WRAPS
    }
    bare_s = clocks() - began
    with tempfile.TemporaryDirectory() as folder:
        store = SqliteStore(Path(folder) / "bench.sqlite3")
        fill(store, time_ms, temp_c, rh_pct)
        began = clocks()
        LedgerKeeper(store).update()
        ledger_s = clocks() - began
        for key in store.curves():
            loss = store.rows(key).loss_probit[-1]
            off = loss / bare[key.model, key.wrap] - 1
            print(f"{key.model:40} {key.wrap:6} {loss:.6f} probit, {off:+.1e} off the bare one")
        store.close()
    print(f"{count:,} readings, {len(bare)} curves")
    for name, bare_one, ledger_one in zip(("wall", "processor"), bare_s, ledger_s, strict=True):
        ratio = ledger_one / bare_one
        print(f"{name}: bare {bare_one:.1f} s, rebuild {ledger_one:.1f} s, ratio {ratio:.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else READINGS)
