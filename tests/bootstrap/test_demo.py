"""``hilum demo`` as a newcomer runs it: a process, a page, readings that move, a clean end."""

import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("amqtt", reason="the extra demo is not installed")
NAMES = ("Card-index drawer", "Gasketed tub", "Jar in the fridge")
SLUGS = ("drawer", "tub", "fridge-jar")
UP_S = 60.0


def page(address: str, wait_s: float) -> str:
    """Fetch a page, waiting for it to come up."""
    end = time.monotonic() + wait_s
    while True:
        try:
            with urllib.request.urlopen(address, timeout=20) as answer:  # noqa: S310 - loopback
                return str(answer.read().decode())
        except (urllib.error.URLError, ConnectionError):
            if time.monotonic() > end:
                raise
            time.sleep(0.2)


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A running demo and its address."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-m", "hilum", "demo", "--port", str(port)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={"PATH": "/usr/bin:/bin", "TMPDIR": str(tmp_path)},
    )
    try:
        yield process, f"http://127.0.0.1:{port}"
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


def newest(address: str) -> dict[str, str]:
    """Time of the newest value of each box, as the pages have it."""
    times = {}
    for slug in SLUGS:
        text = page(f"{address}/boxes/{slug}", 20)
        times[slug] = max(re.findall(r'<time datetime="([^"]+)"[^>]*data-live="age"', text))
    return times


def moved_on(address: str, before: dict[str, str], within_s: float) -> bool:
    """Wait until every box has a newer value than before."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        after = newest(address)
        if all(after[slug] > before[slug] for slug in SLUGS):
            return True
        time.sleep(1)
    return False


def test_the_demo_shows_three_boxes_that_move_and_stops_quietly(
    demo: tuple[subprocess.Popen[str], str], tmp_path: Path
) -> None:
    """Within a minute three boxes have values that go on; Ctrl+C leaves nothing behind."""
    process, address = demo

    first = page(address, UP_S)
    moves = moved_on(address, newest(address), within_s=40)
    process.send_signal(signal.SIGINT)
    out, _ = process.communicate(timeout=30)

    assert all(name in first for name in NAMES)
    assert moves
    assert process.returncode == 0, out
    assert address in out
    assert "Traceback" not in out
    assert list(tmp_path.iterdir()) == []
