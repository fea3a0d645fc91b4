"""All benches, one table: ``python tests/bench/all.py [--quick] [--only NAME,...] [--to FILE]``.

Each row holds what Hilum needs against something simpler measured in the same run, and the limit
it is to keep. All of it takes half an hour; ``--quick`` takes smaller sizes.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench import (
    bench_charts,
    bench_disk,
    bench_ingest,
    bench_live,
    bench_rebuild,
    bench_season,
    bench_start,
    decade,
)
from bench.rows import Row, machine, table

Bench = Callable[[], Sequence["Row | Told"]]


@dataclass(frozen=True)
class Told:
    """A row that a bench of its own printed."""

    line: str

    @property
    def good(self) -> bool:
        """Whether the limit is kept."""
        return self.cells()[-1] == "yes"

    def cells(self) -> tuple[str, ...]:
        """Give the columns of the table."""
        return tuple(cell.strip() for cell in self.line.strip("|").split("|"))


def own(name: str, *sizes: str) -> list[Told]:
    """Run a bench as a command, and take the rows it prints."""
    tests = str(Path(__file__).resolve().parents[1])
    done = subprocess.run(  # fails only where a limit is not kept; then its row says so
        [sys.executable, "-m", f"bench.{name}", *sizes],
        check=False,
        cwd=tests,
        stdout=subprocess.PIPE,
        text=True,
    )
    lines = [line for line in done.stdout.splitlines() if line.startswith("| ")]
    rows = [Told(line) for line in lines if not line.startswith(("| work", "| ---"))]
    if not rows:
        msg = f"{name} printed no row"
        raise RuntimeError(msg)
    return rows


def place(lots: int) -> list[Row]:
    """Start and memory of a place with 20 boxes."""
    with tempfile.TemporaryDirectory(prefix="hilum-bench-") as name:
        bench_season.build(Path(name) / bench_start.FILE, lots).close()
        return bench_start.measure(Path(name))


def ten_years(count: int) -> list[Row]:
    """What is measured over ten years of one box."""
    with decade.database(count) as path:
        return [*bench_rebuild.measure(path), *bench_charts.measure(path)]


def benches(*, quick: bool) -> dict[str, Bench]:
    """Every bench by name."""
    found: dict[str, Bench] = {
        "ingest": partial(bench_ingest.measure, 5_000 if quick else 10_000, 3 if quick else 5),
        "decade": partial(ten_years, 1_000_000 if quick else decade.READINGS),
        "live": partial(bench_live.measure, 200 if quick else bench_live.BOXES),
        "disk": partial(bench_disk.measure, 500_000 if quick else 2_000_000),
        "place": partial(place, 200 if quick else 2_000),
        "posteriors": partial(own, "bench_posterior"),
        "season": partial(own, "bench_season", "500" if quick else "2000"),
    }
    if Path(__file__).with_name("bench_losses.py").exists():
        found["losses"] = partial(own, "bench_losses")
    return found


def main() -> None:
    """Run what is asked for, and print or write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="smaller sizes")
    parser.add_argument("--only", default="", help="names, with commas between them")
    parser.add_argument("--to", type=Path, help="write the table into this file too")
    given = parser.parse_args()
    known = benches(quick=given.quick)
    names = [name for name in given.only.split(",") if name] or list(known)
    head = machine()
    rows: list[Row | Told] = []
    for name in names:
        start = time.monotonic()
        rows += known[name]()
        print(f"{name}: {time.monotonic() - start:.0f} s", file=sys.stderr, flush=True)
    text = f"{head}\n\n{table(rows)}\n"
    print(text)
    if given.to:
        given.to.write_text(text, encoding="utf-8")
    sys.exit(0 if all(row.good for row in rows) else 1)


if __name__ == "__main__":
    main()
