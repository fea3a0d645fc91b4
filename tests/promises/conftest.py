"""Fixtures of the tests of what is promised."""

import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from plugins.faults import faulty
from plugins.mosquitto import Broker, broker
from plugins.netns import network

__all__ = ["broker", "faulty", "network"]

Mount = Callable[[str], None]


@pytest.fixture
def relaxed(broker: Broker) -> Broker:
    """The broker as its configuration advises where Hilum may be away for days."""
    broker.stop()
    conf = broker.folder / "mosquitto.conf"
    text = conf.read_text(encoding="utf-8")
    for old, new in (
        ("\nautosave_on_changes true", "\nautosave_on_changes false"),
        ("\nautosave_interval 1", "\nautosave_interval 300"),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    conf.write_text(text, encoding="utf-8")
    broker.start()
    return broker


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[tuple[Path, Mount]]:
    """Give a disk of 1 MB in memory, and the function that mounts it anew with other options."""
    if os.geteuid() != 0:
        pytest.skip("Making a small disk needs root.")
    place = tmp_path / "disk"
    place.mkdir()

    def mount(options: str) -> None:
        subprocess.run(
            ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)],
            check=True,
            capture_output=True,
        )

    try:
        mount("size=1m")
    except (subprocess.CalledProcessError, FileNotFoundError):
        pytest.skip("This machine does not let root mount a disk in memory.")
    try:
        yield place, lambda options: mount(f"remount,{options}")
    finally:
        subprocess.run(["umount", str(place)], check=True)
