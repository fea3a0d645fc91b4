"""Hours and days at many sensors: memory flat, file growing as computed, ledger true."""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from hilum.stores.sqlite import SqliteStore
from plugins.mosquitto import MEMORY
from promises.truth import check_derived

HOURS = Path(__file__).with_name("hours.py")
MEGABYTE = 1024 * 1024

# Bytes of a row, from the description of the file (https://www.sqlite.org/fileformat2.html): one
# for the length of the payload and two for its place in the page; then one for the length of the
# header and one for the type of each column; then the values. A reading has six columns: a sensor
# number (nothing, or a byte), a time of 6 bytes, two measured values of 8, and two that are empty.
LEAST_READING = 1 + 2 + 1 + 6 + 0 + 6 + 8 + 8
MOST = {
    "reading": LEAST_READING + 1,
    "hour": 1 + 2 + 1 + 9 + 9 * 8,
    "day": 1 + 2 + 1 + 9 + 9 * 8,
    "ledger": 1 + 2 + 1 + 12 + 12 * 8,
}
FULLNESS = 0.5  # pages of a B-tree that grows in many places are at least half full
SPARE = 64 * 4096  # a page each way for every table and index
LOG_PAGES = 1000  # the log is worked into the database from this many on (SQLite's default)


@pytest.fixture
def database() -> Iterator[Path]:
    """Give a place in memory, so that the disk is no part of it."""
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as folder:
        yield Path(folder) / "hilum.sqlite3"


def run(database: Path, sensors: int, hours: int) -> list[dict[str, Any]]:
    """Let the hours pass in a process of its own; give what it noted after each."""
    done = subprocess.run(
        [sys.executable, str(HOURS), str(database), str(sensors), str(hours)],
        env={**os.environ, "PYTHONPATH": str(HOURS.parents[1])},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    return [json.loads(line) for line in done.stdout.splitlines()]


def check_run(database: Path, sensors: int, hours: int) -> None:
    """Let the hours pass, and look at memory, file, log, rows and ledger."""
    notes = run(database, sensors, hours)
    assert notes[-1]["rows"]["reading"] == sensors * hours * 60
    half = len(notes) // 2
    early = max(note["memory"] for note in notes[1:half])
    late = max(note["memory"] for note in notes[half:])
    assert late - early < 4 * MEGABYTE
    new = {table: n - notes[0]["rows"][table] for table, n in notes[-1]["rows"].items()}
    growth = notes[-1]["size"] - notes[0]["size"]
    assert new["reading"] * LEAST_READING - SPARE < growth
    assert growth < sum(n * MOST[table] for table, n in new.items()) / FULLNESS + SPARE
    # the log may overshoot by what one round of the ledger writes
    assert max(note["log"] for note in notes) < 3 * LOG_PAGES * (4096 + 24)
    with closing(SqliteStore(database)) as store:
        assert store.check_integrity() == []
        check_derived(store)


def test_six_hours_at_ten_sensors(database: Path) -> None:
    """A short run: memory flat, growth within what the file format makes of the rows."""
    check_run(database, sensors=10, hours=6)


@pytest.mark.slow
def test_three_days_at_fifty_sensors(database: Path) -> None:
    """The same for seventy-two hours at fifty sensors."""
    check_run(database, sensors=50, hours=72)
