"""How long a rebuild of the ledger takes against reading all into arrays and the bare arithmetic.

Run by hand: ``python tests/bench/bench_rebuild.py [readings]``. The bare side knows no gaps, no
wet, cold or dry parts and no rows; it holds all readings at once and writes nothing. The rebuild
includes the hour and day summaries, in bounded memory.
"""

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from bench.decade import MODELS, SENSOR, T0, WRAPS, asked, database
from bench.rows import Row, least, ms, table
from hilum.domain.model import Floats, Ints, Wrap
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.science.lag import tau_days
from hilum.science.seedmodel import SeedModel, equilibrium_mc_dry_pct, loss_rate_per_day, model_for
from hilum.stores.sqlite import SqliteStore

BLOCK = 4096


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


def read(path: Path) -> tuple[Ints, Floats, Floats]:
    """Read all readings into arrays, as one would first write it."""
    kinds = [("time_ms", np.int64), ("temp_c", np.float64), ("rh_pct", np.float64)]
    with closing(sqlite3.connect(path)) as conn:
        rows = conn.execute("SELECT time_ms, temp_c, rh_pct FROM reading ORDER BY time_ms")
        table = np.fromiter(rows, dtype=kinds)
    return tuple(np.ascontiguousarray(table[name]) for name, _ in kinds)  # type: ignore[return-value]


def bare(path: Path) -> dict[tuple[str, Wrap], float]:
    """Read, and follow all curves; give the loss of each at the end."""
    time_ms, temp_c, rh_pct = read(path)
    time_days = (time_ms - T0) / 86_400_000
    return {
        (model, wrap): bare_curve(time_days, temp_c, rh_pct, model_for(model), wrap)[-1]
        for model in MODELS
        for wrap in WRAPS
    }


def agrees(store: SqliteStore, losses: dict[tuple[str, Wrap], float]) -> None:
    """Stop if both did not compute the same thing."""
    for key in store.curves():
        off = store.rows(key).loss_probit[-1] / losses[key.model, key.wrap] - 1
        if abs(off) > 1e-3:
            raise SystemExit(f"{key.model} {key.wrap}: {off:+.1e} off the bare one")


def peak_mb(path: Path) -> float:
    """Most memory a process of its own held while it rebuilt."""
    code = (
        "import sys; from pathlib import Path; from hilum.stores.sqlite import SqliteStore;"
        "from hilum.keeping.reckoning.keeper import LedgerKeeper;"
        "store = SqliteStore(sys.argv[1]); store.mark_dirty(sys.argv[2], 0);"
        "LedgerKeeper(store).update(); store.close();"
        "print(Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0])"
    )
    command = [sys.executable, "-c", code, str(path), SENSOR]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return int(done.stdout) / 1024


def measure(path: Path, times: int = 3) -> list[Row]:
    """Time both over a database of ``decade``."""
    losses: dict[tuple[str, Wrap], float] = {}
    with closing(SqliteStore(path)) as store:
        extent = store.extent(SENSOR)

        def again() -> None:
            store.mark_dirty(SENSOR, 0)
            LedgerKeeper(store).update()

        bare_s, ours_s = least(times, lambda: losses.update(bare(path)), again)
        agrees(store, losses)
    memory = peak_mb(path)
    count = extent[0] if extent else 0
    return [
        Row(
            f"rebuild of {count / 1e6:.2f} million readings, {len(losses)} curves",
            ms(ours_s),
            f"reading them into numpy and bare kernels: {ms(bare_s)}",
            ours_s / bare_s,
            1.3,
        ),
        Row("most memory while it does so", f"{memory:.0f} MB", "", memory, 250, unit=" MB"),
    ]


if __name__ == "__main__":
    with database(asked()) as found:
        print(table(measure(found)))
