"""Kills at random moments, while readings arrive, somebody edits and the ledger is worked on."""

import random
import time
from contextlib import closing
from pathlib import Path
from threading import Event, Thread

import pytest

from hilum.domain.model import Reading
from hilum.stores.sqlite import SqliteStore
from ingest.no_loss import message, reading
from plugins.mosquitto import Broker
from plugins.sensors import Sensors, wait_until
from promises.running import Running
from promises.truth import FAR_MS, add_boxes, check_derived, edits_kept

pytestmark = pytest.mark.mosquitto
PER_SECOND = 300
BOXES = {reading(0).sensor: "tub", reading(1).sensor: "jar"}


def keep_sending(sensors: Sensors, over: Event) -> None:
    """Send messages at a steady pace until told to stop."""
    sent = 0
    while not over.wait(0.05):
        sent += sensors.send(message(index) for index in range(sent, sent + PER_SECOND // 20))


def kept(database: Path) -> list[Reading]:
    """Every reading of a database."""
    with closing(SqliteStore.open_readonly(database)) as store:
        names = [sensor.name for sensor in store.sensors()]
        return [r for n in names for page in store.pages(n, 0, FAR_MS, 5000) for r in page]


def kill_again_and_again(running: Running, database: Path, kills: int) -> None:
    """Kill the service some time after each start, now and then before it listens."""
    chance = random.Random(20_250_101)  # noqa: S311
    for n in range(kills):
        said = len(running.lines)
        running.start(first_edit=100_000 * (n + 1))
        if n % 10:
            running.wait_for("listening", 60, since=said)
        time.sleep(chance.uniform(0.0, 0.6))
        running.kill()
        if n % 3 == 0:  # elsewise the next start finds the log as the kill left it
            with closing(SqliteStore.open_readonly(database)) as store:
                assert store.check_integrity() == []


def survive(broker: Broker, database: Path, kills: int) -> None:
    """Go through the kills, let the service catch up, and compare with what was confirmed."""
    with closing(SqliteStore(database)) as store:
        add_boxes(store, BOXES)
    with Running(broker.port, database) as running, Sensors(broker.port) as sensors:
        running.start()  # only from its first connection on does the broker keep messages for it
        running.wait_for("listening")
        over = Event()
        sender = Thread(target=keep_sending, args=(sensors, over))
        sender.start()
        try:
            running.kill()
            kill_again_and_again(running, database, kills)
        finally:
            over.set()
            sender.join()
        said = len(running.lines)
        running.start()
        running.wait_for("listening", 60, since=said)
        sensors.settle(120)
        confirmed = {reading(index) for index in sensors.confirmed}
        wait_until(lambda: len(kept(database)) >= len(confirmed), 120)
        running.stop()
    found = kept(database)
    assert len(confirmed) > 100 * kills
    assert len(found) == len(set(found))
    assert set(found) == confirmed
    with closing(SqliteStore(database)) as store:
        assert store.check_integrity() == []
        written = {int(line[5:]) for line in running.lines if line.startswith("edit ")}
        assert len(written) > kills
        assert written <= edits_kept(store)
        check_derived(store)


def test_ten_kills(relaxed: Broker, tmp_path: Path) -> None:
    """No reading that was confirmed and no edit that was written is lost, none is there twice."""
    survive(relaxed, tmp_path / "hilum.sqlite3", kills=10)


@pytest.mark.slow
def test_two_hundred_kills(relaxed: Broker, tmp_path: Path) -> None:
    """The same through two hundred kills."""
    survive(relaxed, tmp_path / "hilum.sqlite3", kills=200)
