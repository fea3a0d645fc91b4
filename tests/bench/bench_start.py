"""Start to first page, and memory with the demo world.

Prints, from one run: seconds from starting ``hilum serve`` until the first page is answered, as a
ratio to a bare FastAPI page started the same way, and the resident memory of the process while it
holds the demo world, after every kind of page was fetched. Aims: 1.5 s, 120 MB.

Run: ``.venv/bin/python tests/bench/bench_start.py``
"""

import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.simulate.load import load_world
from hilum.simulate.world import build_world
from hilum.stores.sqlite import SqliteStore

RUNS = 5
BARE = """
import uvicorn
from fastapi import FastAPI
app = FastAPI()
@app.get("/")
def hello():
    return "hello"
uvicorn.run(app, host="127.0.0.1", port={port}, log_level="warning")
"""


def free_port() -> int:
    """Give a port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def fetch(address: str) -> float:
    """Fetch a page, waiting for the server; give the seconds it took."""
    start = time.perf_counter()
    while True:
        try:
            with urllib.request.urlopen(address, timeout=30) as answer:  # noqa: S310 - loopback
                answer.read()
            return time.perf_counter() - start
        except urllib.error.HTTPError:
            raise
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.005)


def resident_mb(process: subprocess.Popen[bytes]) -> float:
    """Resident memory of a process now."""
    status = Path(f"/proc/{process.pid}/status").read_text(encoding="ascii")
    line = next(line for line in status.splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


def started(command: list[str], port: int) -> tuple[float, subprocess.Popen[bytes]]:
    """Start a server; give the seconds to its first page, and the process."""
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    return fetch(f"http://127.0.0.1:{port}/"), process


def stopped(process: subprocess.Popen[bytes]) -> None:
    """End a server."""
    process.terminate()
    process.wait(30)


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        store = SqliteStore(Path(folder) / "hilum.sqlite3")
        load_world(build_world(time.time_ns() // 1_000_000), store)
        keeper = LedgerKeeper(store)
        keeper.ensure_curves()
        keeper.update()
        store.close()
        ours, bare, memory, pages = [], [], 0.0, {}
        for _ in range(RUNS):
            port = free_port()
            seconds, process = started([sys.executable, "-c", BARE.format(port=port)], port)
            bare.append(seconds)
            stopped(process)
            port = free_port()
            command = [sys.executable, "-m", "hilum", "serve", "--no-mqtt", "--data-dir", folder]
            seconds, process = started([*command, "--port", str(port)], port)
            ours.append(seconds)
            for page in ("", "boxes/tub", "boxes/drawer?span=all", "lots", "lots/SL-001"):
                pages[page] = fetch(f"http://127.0.0.1:{port}/{page}")
            time.sleep(2)
            memory = max(memory, resident_mb(process))
            stopped(process)
    first, plain = statistics.median(ours), statistics.median(bare)
    print(f"first page after start: {first:.2f} s (bare FastAPI page {plain:.2f} s, "
          f"ratio {first / plain:.1f}); aim 1.5 s")  # fmt: skip
    print(f"resident memory with the demo world: {memory:.0f} MB; aim 120 MB")
    for page, seconds in pages.items():
        print(f"  /{page}: {1000 * seconds:.0f} ms")


if __name__ == "__main__":
    main()
