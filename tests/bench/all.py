"""All benches, one table: ``python tests/bench/all.py [--quick] [--only NAME,...] [--to FILE]``.

Each row holds what Hilum needs against something simpler measured in the same run, and the limit
it is to keep. All of it takes half an hour; ``--quick`` takes smaller sizes. What takes longer to
build (10,000 lots and more) has benches of its own beside this one.
"""

import argparse
import importlib
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from datetime import date
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench import (
    bench_charts,
    bench_disk,
    bench_ingest,
    bench_live,
    bench_posterior,
    bench_rebuild,
    bench_season,
    bench_start,
    decade,
)
from bench.rows import Row, least, machine, ms, table
from hilum.domain.model import SeasonPlan
from hilum.keeping.seasons.season import plan_season
from hilum.science.posterior import bands

Bench = Callable[[], list[Row]]


def posteriors() -> list[Row]:
    """Posteriors of many lots at once against a plain loop over a few, scaled up."""
    evidences, losses = bench_posterior.lots(bench_posterior.LOTS)
    some = list(zip(evidences, losses, strict=True))[: bench_posterior.LOOPED]
    numbers = np.array(losses)[:, None]

    def loop() -> None:
        for evidence, loss in some:
            bench_posterior.plain(evidence, loss)

    at_once, few = least(2, lambda: bands(evidences, numbers), loop)
    looped = few * len(losses) / len(some)
    work = f"posteriors of {len(losses):,} lots"
    told = f"plain loop over the same grid: {ms(looped)}"
    return [
        Row(work, ms(at_once), told, looped / at_once, 50, least=True),
        Row(f"{work}, alone", ms(at_once), "", at_once, 5, unit=" s"),
    ]


def place(lots: int) -> list[Row]:
    """A place with 20 boxes: its start, its memory, and a season of it."""
    with tempfile.TemporaryDirectory(prefix="hilum-bench-") as name:
        with closing(bench_season.build(Path(name) / bench_start.FILE, lots)) as store:
            lines = bench_season.lines_for(store)
            plan = SeasonPlan(0, "Spring", date(2027, 3, 1))
            now_ms = bench_season.NOW_MS
            (season_s,) = least(2, lambda: plan_season(store, plan, lines, now_ms))
        work = f"season of {len(lines)} things wanted, from {lots:,} lots"
        return [
            Row(work, ms(season_s), "", season_s, 5, unit=" s"),
            *bench_start.measure(Path(name)),
        ]


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
        "posteriors": posteriors,
        "place": partial(place, 200 if quick else 2_000),
    }
    if (Path(__file__).parent / "bench_losses.py").exists():
        found["losses"] = importlib.import_module("bench.bench_losses").measure
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
    head, rows = machine(), []
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
