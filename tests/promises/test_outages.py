"""Long outages of the service, and a broker that loses its memory."""

import json
import time
from collections import Counter
from pathlib import Path

import pytest

from hilum.ingest.mqtt import RIVAL_AFTER, SHORT_S, MqttLink
from hilum.ingest.settings import BrokerSettings
from ingest.no_loss import message, reading
from plugins.mosquitto import Broker
from plugins.sensors import Message, Sensors, wait_until
from promises.running import Running
from promises.test_crashes import kept

pytestmark = pytest.mark.mosquitto
BURST = 10_000


def untimed(number: int) -> Message:
    """Give a message of a sensor without a clock; its temperature tells it apart."""
    pack = [{"n": "temperature", "u": "Cel", "v": number / 100}]
    return "hilum/home/no-clock/readings", json.dumps(pack).encode()


def test_burst_after_an_outage(relaxed: Broker, tmp_path: Path) -> None:
    """Ten thousand messages that waited are all kept, and each that bears no time has its own."""
    database = tmp_path / "hilum.sqlite3"
    with Running(relaxed.port, database) as running, Sensors(relaxed.port) as sensors:
        running.start()
        running.wait_for("listening")
        running.stop()
        sensors.send(map(message, range(BURST - 2000)))
        sensors.send(map(untimed, range(2000)))
        sensors.settle(60)
        relaxed.stop()  # well: what waits is written
        relaxed.start()
        running.start()
        assert wait_until(lambda: len(kept(database)) == BURST, 60)
        running.stop()
    found = kept(database)
    by_clock = {r for r in found if r.sensor != "home/no-clock"}
    assert by_clock == {reading(index) for index in range(BURST - 2000)}
    others = sorted(
        (r for r in found if r.sensor == "home/no-clock"), key=lambda r: (r.time_ms, r.temp_c)
    )
    assert [r.temp_c for r in others] == [number / 100 for number in range(2000)]
    assert len({r.time_ms for r in others}) == 2000


def test_broker_that_lost_its_memory(broker: Broker, tmp_path: Path) -> None:
    """A broker that forgot all is listened to anew; what is sent again changes nothing."""
    database = tmp_path / "hilum.sqlite3"
    with Running(broker.port, database) as running:
        running.start()
        running.wait_for("listening")
        for part in range(2):
            with Sensors(broker.port) as sensors:
                sensors.send(map(message, range(200 * part, 200 * part + 200)))
                sensors.settle()
            expected = 200 * (part + 1)
            assert wait_until(lambda n=expected: len(kept(database)) >= n)  # type: ignore[misc]
            said = len(running.lines)
            broker.stop(kill=True)
            (broker.folder / "mosquitto.db").unlink()
            broker.start()
            running.wait_for("listening", since=said)
        with Sensors(broker.port) as sensors:
            sensors.send(map(message, range(450)))
            sensors.settle()
        assert wait_until(lambda: len(kept(database)) == 450)
        running.stop()
    assert Counter(kept(database)) == Counter(reading(index) for index in range(450))


def test_a_connection_that_lasts_ends_the_complaint() -> None:
    """After a broker that fell over again and again, the link is well once it holds."""
    link = MqttLink(BrokerSettings(), (), lambda _: None, lambda: 0)
    link.connected = True
    link._short = RIVAL_AFTER
    link._since = time.monotonic()
    link._fail("The connection to the broker ends as soon as it is made.")
    assert link.trouble()
    link._since -= SHORT_S + 1
    assert link.trouble() == ""
