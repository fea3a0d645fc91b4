"""How many bytes of disk a reading takes, against the 16 that must be kept of it.

``python tests/bench/bench_disk.py [readings]``: a key of 8 bytes and two numbers of 4 bytes are the
least. Sensors are read in turn, as they arrive. The summaries by hour and day are counted with it.
What a curve of the ledger takes is told beside it: that depends on the lots, not on the readings.
"""

import sqlite3
import sys
import tempfile
from contextlib import closing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench.decade import MODELS, WRAPS, asked, fill
from bench.rows import Row, table
from hilum.domain.model import CurveKey
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.sqlite import SqliteStore

KEPT = 16
BOXES = 20


def size(path: Path) -> int:
    """Size of a database once what was written last is in its place."""
    with closing(sqlite3.connect(path)) as conn:
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return path.stat().st_size


def measure(count: int = 2_000_000) -> list[Row]:
    """Fill a database in steps and look at its size."""
    with tempfile.TemporaryDirectory(prefix="hilum-bench-") as folder:
        path = Path(folder) / "disk.sqlite3"
        with closing(SqliteStore(path)) as store:
            fill(store, count // BOXES, boxes=BOXES)
            curves = list(store.curves())
            store.drop_curves(curves)
        with closing(SqliteStore(path)) as store:
            LedgerKeeper(store).update()
        readings = size(path)
        with closing(SqliteStore(path)) as store:
            one_box = [CurveKey("tub", model, wrap) for model in MODELS for wrap in WRAPS]
            store.add_curves(one_box)
            store.mark_dirty("lane/a1", 0)
            LedgerKeeper(store).update()
            hours = sum(len(store.rows(key)) for key in one_box)
        ledger = size(path) - readings
    yearly_mb = ledger / hours * 8766 / 1e6
    each = readings / (count // BOXES * BOXES)
    return [
        Row(
            f"disk for a million readings, {BOXES} sensors in turn, with summaries",
            f"{each:.1f} MB",
            f"{KEPT} MB that must be kept (a curve takes {yearly_mb:.2f} MB a year)",
            each / KEPT,
            2.5,
        )
    ]


if __name__ == "__main__":
    print(table(measure(asked() if len(sys.argv) > 1 else 2_000_000)))
