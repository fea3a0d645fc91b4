"""How heavy every page is, and how long the server takes over it.

Run: ``PYTHONPATH=tests python -m bench.bench_pages [folder]``. A place with 20 boxes, 2,000 lots
and three years of readings is built, which takes minutes, or taken from the folder if it holds one.
Pages are then asked of a server in a process of its own, over HTTP, packed with gzip. Printed for
every page: kilobytes of the page alone and of a first visit with its files and the data of its
chart; milliseconds of the very first request, the median of those after it, and their mean time on
the processor, which is the steadier figure on a busy machine. Aims: 150 KB and 50 ms. Answers about
many lots are kept for an hour, or until somebody enters something, and made anew in the background;
what a first request takes is what that costs.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import httpx
import uvicorn

from bench.bench_season import BOXES, NOW_MS, build, lines_for
from bench.bench_start import free_port, resident_mb
from hilum.bootstrap.sheet_reader import Sheets
from hilum.domain.model import (
    MS_PER_DAY,
    MS_PER_HOUR,
    Event,
    EventType,
    Reading,
    Reject,
    RejectReason,
    SeasonPlan,
)
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.sqlite import SqliteStore
from hilum.web.app import create_app
from hilum.web.live import LiveHub
from hilum.web.parts import IngestStatus, WebParts
from web.weights import addresses, first_visit

LOTS, RUNS = 2_000, 7
FINE_DAYS, FINE_MS = 10, 600_000
KB, AIM_KB, AIM_MS = 1000, 150, 50
FILE = "hilum.sqlite3"


@dataclass(frozen=True)
class Standing:
    """A clock that stands where the readings end."""

    at_ms: int = NOW_MS

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC."""
        return self.at_ms


def furnish(store: SqliteStore) -> None:
    """Add what else there is after three years: fine readings, a journal, refusals, a plan."""
    for number in range(BOXES):
        start = NOW_MS - FINE_DAYS * MS_PER_DAY + FINE_MS
        store.add(
            [
                Reading(f"home/s{number}", at, 14 + at % 7 / 10, 33 + at % 11 / 10, 80.0)
                for at in range(start, NOW_MS, FINE_MS)
                if at % MS_PER_HOUR
            ],
            NOW_MS,
        )
        for week in range(150):
            kind = EventType.SWAP if week % 12 == 0 else EventType.OPENED
            at = NOW_MS - (7 * week + number) * MS_PER_DAY
            store.add_event(Event(0, at, kind, f"b{number}", text="looked for the beans"))
    detail = "temperature 85.0 °C is what a probe reports before its first measurement"
    store.add_rejects(
        [
            Reject(
                NOW_MS - n * 60_000, f"hilum/home/s{n % 40}/readings", RejectReason.FAULT, detail
            )
            for n in range(400)
        ]
    )
    store.save_plan(SeasonPlan(0, "Spring", date(2027, 3, 1)), lines_for(store))
    LedgerKeeper(store).update()


def serve(folder: Path, port: int) -> None:
    """Serve the place until killed."""
    store = SqliteStore(folder / FILE)
    status = IngestStatus(connected=True, broker="127.0.0.1:1883")
    sheets = Sheets(store, Standing(), "UTC")
    parts = WebParts(store, Standing(), LiveHub(), lambda: status, sheets=lambda: sheets)
    uvicorn.run(create_app(parts), host="127.0.0.1", port=port, log_level="warning")


def processor_ms(pid: int) -> float:
    """Milliseconds of the processor a process has used."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return 1000 * (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measured(client: httpx.Client, url: str, pid: int) -> tuple[float, float, float]:
    """Milliseconds of the first request, the median of the next, and their processor time."""
    took, used = [], 0.0
    for _ in range(RUNS + 1):
        begun = time.perf_counter()
        client.get(url, headers={"Accept-Encoding": "gzip"})
        took.append(1000 * (time.perf_counter() - begun))
        used = used or processor_ms(pid)
    return took[0], statistics.median(took[1:]), (processor_ms(pid) - used) / RUNS


def table(client: httpx.Client, urls: list[str], pid: int) -> None:
    """Measure and print."""
    print(f"{'page':36} {'page KB':>8} {'visit KB':>9} {'first ms':>9} {'median':>7} {'cpu ms':>7}")
    over = []
    for url in urls:
        first, median, used = measured(client, url, pid)
        sizes = first_visit(client, url)
        page, visit = sizes[url] / KB, sum(sizes.values()) / KB
        print(f"{url:36} {page:8.1f} {visit:9.1f} {first:9.0f} {median:7.1f} {used:7.1f}")
        if visit > AIM_KB or median > AIM_MS:
            over.append(url)
    print(f"over {AIM_KB} KB or {AIM_MS} ms: {', '.join(over) or 'none'}")


def run(folder: Path) -> None:
    """Build the place if need be, serve it, and measure."""
    if not (folder / FILE).exists():
        store = build(folder / FILE, LOTS)
        furnish(store)
    else:
        store = SqliteStore(folder / FILE)
    day = datetime.fromtimestamp(NOW_MS / 1000, UTC).date()
    print(f"{len(store.boxes())} boxes, {len(store.lots()):,} lots, three years up to {day}")
    urls = addresses(store, "b3", store.stays(box="b3")[0].lot)
    store.close()
    port = free_port()
    command = [sys.executable, "-m", "bench.bench_pages", "--serve", str(folder), str(port)]
    with subprocess.Popen(command) as process:
        try:
            with httpx.Client(
                base_url=f"http://127.0.0.1:{port}",
                timeout=120,
                follow_redirects=True,
                transport=httpx.HTTPTransport(retries=8),
            ) as client:
                client.get("/healthz")  # once it answers
                table(client, urls, process.pid)
            print(f"resident memory afterwards: {resident_mb(process):.0f} MB")
        finally:
            process.terminate()


def main() -> None:
    """Run the bench, or its server."""
    words = sys.argv[1:]
    if words[:1] == ["--serve"]:
        serve(Path(words[1]), int(words[2]))
    elif words:
        Path(words[0]).mkdir(parents=True, exist_ok=True)
        run(Path(words[0]))
    else:
        with tempfile.TemporaryDirectory() as folder:
            run(Path(folder))


if __name__ == "__main__":
    main()
