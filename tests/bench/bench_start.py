"""Start to first page, and memory, with three years of 20 boxes and 500 lots.

``python tests/bench/bench_start.py [folder]`` builds them, or takes what it holds. Measured:
seconds from starting ``hilum serve`` until the first page is answered, beside a bare FastAPI page
started the same way; and the resident memory of the process after every kind of page was fetched.
"""

import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench.bench_season import build
from bench.rows import Row, ms, table

FILE, LOTS = "hilum.sqlite3", 500
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


def measure(folder: Path) -> list[Row]:
    """Start both in turn; the least time of each counts.

    Parameters
    ----------
    folder : Path
        A data folder with the boxes and lots of ``bench_season.build``.
    """
    pages = ("", "boxes/b3", "boxes/b3?range=all", "lots", "lots/L-00001")
    ours, bare, memory = [], [], 0.0
    for _ in range(RUNS):
        port = free_port()
        seconds, process = started([sys.executable, "-c", BARE.format(port=port)], port)
        bare.append(seconds)
        stopped(process)
        port = free_port()
        command = [sys.executable, "-m", "hilum", "serve", "--no-mqtt", "--data-dir", str(folder)]
        seconds, process = started([*command, "--port", str(port)], port)
        ours.append(seconds)
        for page in pages:
            fetch(f"http://127.0.0.1:{port}/{page}")
        time.sleep(6)  # the ledger and the watch begin two seconds after the start
        memory = max(memory, resident_mb(process))
        stopped(process)
    first, plain = min(ours), min(bare)
    work = "start to first page, three years of 20 boxes"
    return [
        Row(work, ms(first), f"bare FastAPI page: {ms(plain)}", first / plain, 2),
        Row(
            "memory of the service, every kind of page asked for",
            f"{memory:.0f} MB",
            "",
            memory,
            120,
            unit=" MB",
        ),
    ]


def main() -> None:
    """Build a place and measure it, or measure one that was built."""
    with tempfile.TemporaryDirectory(prefix="hilum-bench-") as made:
        folder = Path(sys.argv[1] if len(sys.argv) > 1 else made)
        if not (folder / FILE).exists():
            build(folder / FILE, LOTS).close()
        print(table(measure(folder)))


if __name__ == "__main__":
    main()
