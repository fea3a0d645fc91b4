"""MQTT 3.1.1, on either side of the broker: what it lacks costs no reading."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from paho.mqtt.client import MQTTv311

from hilum.ingest import BrokerSettings, Ingest, IngestSettings
from hilum.stores.sqlite import SqliteStore
from ingest.no_loss import message, reading
from ingest.test_broker import Clock, TroubledStore, store
from ingest.test_no_loss import everything
from plugins.mosquitto import USERS, Broker
from plugins.sensors import Message, Sensors, senml, wait_until

__all__ = ["store"]

pytestmark = pytest.mark.mosquitto
Start = Callable[[], Ingest]


@contextmanager
def older(broker: Broker, store: SqliteStore, password: str = USERS["hilum"]) -> Iterator[Ingest]:
    """Run an ingest that speaks 3.1.1."""
    link = BrokerSettings(port=broker.port, username="hilum", password=password, version="3.1.1")
    ingest = Ingest(store, IngestSettings(broker=link, retry_s=0.05), Clock(), lambda _: None)
    ingest.start()
    try:
        yield ingest
    finally:
        ingest.stop()


def listens(ingest: Ingest) -> None:
    """Wait until it does."""
    assert wait_until(lambda: ingest.status().connected), ingest.status().last_error


def presence(store: SqliteStore) -> bool | None:
    """What is known of the first sensor's presence."""
    return {sensor.name: sensor.online for sensor in store.sensors()}["home/s0"]


def test_both_sides_speak_the_older_version(
    broker: Broker, store: TroubledStore, tmp_path: Path
) -> None:
    """Readings and presence arrive, and what came twice is there once."""
    status = "hilum/home/s0/status"
    with older(broker, store) as ingest:
        listens(ingest)
        with Sensors(broker.port, will=(status, b"offline"), protocol=MQTTv311) as sensors:
            sensors.send([(status, b"online")], retain=True)
            for _ in range(2):
                sensors.send(map(message, range(100)))
                sensors.settle()
            assert wait_until(lambda: ingest.status().duplicates == 100)
            assert wait_until(lambda: presence(store) is True)
            sensors.vanish()
            assert wait_until(lambda: presence(store) is False)
        assert ingest.status().rejected == 0
    assert set(everything(tmp_path / "hilum.sqlite3")) == {reading(index) for index in range(100)}


def test_what_waited_for_the_session_arrives(broker: Broker, store: TroubledStore) -> None:
    """The broker keeps the session (clean session off), also over its own restart."""
    with older(broker, store) as ingest:
        listens(ingest)
    with Sensors(broker.port, protocol=MQTTv311) as sensors:
        sensors.send(map(message, range(300)))
        sensors.settle()
    broker.stop(kill=True)
    broker.start()
    with older(broker, store) as ingest:
        assert wait_until(lambda: ingest.status().stored == 300)


def test_nothing_is_confirmed_that_was_not_kept(broker: Broker, store: TroubledStore) -> None:
    """What could not be written before the end is sent again to the next start."""
    store.failing = True
    with older(broker, store) as ingest:
        listens(ingest)
        with Sensors(broker.port, protocol=MQTTv311) as sensors:
            sensors.send(map(message, range(50)))
            sensors.settle()
        assert wait_until(lambda: store.tries > 2)
    assert store.sensors() == []
    store.failing = False
    with older(broker, store) as ingest:
        assert wait_until(lambda: ingest.status().stored == 50)


def test_a_window_that_is_full_does_not_stop_it(broker: Broker, store: TroubledStore) -> None:
    """More messages than the broker lets be under way (20, its default) come in turn."""
    store.open.clear()
    with older(broker, store) as ingest, Sensors(broker.port, protocol=MQTTv311) as sensors:
        listens(ingest)
        sensors.send(map(message, range(500)))
        sensors.settle()
        time.sleep(0.2)
        assert ingest.status().stored == 0
        store.open.set()
        assert wait_until(lambda: ingest.status().stored == 500)


def test_a_value_the_broker_kept_is_taken_once(
    broker: Broker, store: TroubledStore, tmp_path: Path
) -> None:
    """The broker gives kept values at every connection; the same one changes nothing."""
    now_ms = time.time_ns() // 1_000_000
    kept: Message = ("hilum/home/s0/readings", senml(now_ms, 20.0, 40.0))
    with Sensors(broker.port, protocol=MQTTv311) as sensors:
        sensors.send([kept], retain=True)
        sensors.settle()
    for _ in range(3):
        with older(broker, store) as ingest:
            listens(ingest)
            assert wait_until(lambda: ingest.status().stored + ingest.status().duplicates == 1)
    assert len(everything(tmp_path / "hilum.sqlite3")) == 1
    assert store.rejects() == []


def test_a_wrong_password_is_told_in_words(broker: Broker, store: TroubledStore) -> None:
    """As with the newer version."""
    with older(broker, store, password="no") as ingest:  # noqa: S106
        assert wait_until(lambda: "name and password" in ingest.status().last_error)
        assert not ingest.status().connected
