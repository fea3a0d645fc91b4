"""Little memory, and much that waits."""

import json
import shutil
from pathlib import Path

import pytest

from plugins.mosquitto import Broker
from plugins.sensors import Message, Sensors, wait_until
from promises.running import Running
from promises.test_crashes import kept
from promises.truth import START_MS

pytestmark = pytest.mark.mosquitto
MANY = 1200
FILLING = "a" * 200_000  # a text that Hilum does not need, as some devices send
MUCH = 200_000_000
AT_HAND_MB = 220  # for the program; what waits is more


def large(number: int) -> Message:
    """Give a message near the largest that is read, with one reading in it."""
    pack = [
        {
            "bt": START_MS / 1000 + 60 * number,
            "n": "temperature",
            "u": "Cel",
            "v": 15 + number / 100,
        },
        {"n": "diary", "vs": FILLING},
    ]
    return "hilum/home/wordy/readings", json.dumps(pack).encode()


def test_what_waits_is_more_than_the_memory(relaxed: Broker, tmp_path: Path) -> None:
    """With 220 MB for itself, a service takes in 240 MB that waited, and goes on."""
    if shutil.which("prlimit") is None:
        pytest.skip("Bounding memory needs prlimit (Debian package util-linux).")
    database = tmp_path / "hilum.sqlite3"
    within = ["prlimit", f"--data={AT_HAND_MB * 1_000_000}", "--stack=1000000"]
    with Running(relaxed.port, database, within=within) as running:
        running.start()
        running.wait_for("listening", 60)
        running.stop()
        with Sensors(relaxed.port) as sensors:
            assert sensors.send(map(large, range(MANY)), ahead=20) * len(FILLING) > MUCH
            sensors.settle(120)
        running.start()
        assert wait_until(lambda: len(kept(database)) == MANY, 180)
        running.stop()
