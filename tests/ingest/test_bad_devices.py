"""Devices that do wrong, at a real broker: what becomes of it, and what the Sensors page says."""

import json
import ssl
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import trustme
from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from starlette.testclient import TestClient

from hilum.bootstrap import open_store
from hilum.bootstrap.service import Service
from hilum.config import settings_from
from hilum.domain.ports import Store
from hilum.ingest import brokerlog, rounds
from hilum.ingest.pace import PER_MINUTE
from plugins.mosquitto import USERS, Broker
from plugins.sensors import Message, Sensors, senml, wait_until
from web.elements import parse

pytestmark = pytest.mark.mosquitto
NOW_MS = time.time_ns() // 1_000_000
GOOD = "hilum/home/tub-1/readings"
YEAR_2000 = 946_684_800_000


@dataclass
class Place:
    """Hilum as it runs, and what its Sensors page says."""

    client: TestClient
    store: Store

    def refused(self) -> str:
        """Text of the part of the page about what was refused."""
        page = parse(self.client.get("/sensors").text)
        return " ".join(each.text for each in page.all(of="lines"))

    def shows(self, *words: str) -> bool:
        """Tell whether the page comes to say something."""
        return wait_until(lambda: all(each in self.refused() for each in words))

    def kept(self, sensor: str = "home/tub-1") -> int:
        """How many readings of a sensor there are."""
        extent = self.store.extent(sensor)
        return extent[0] if extent else 0


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let silence be told of at once."""
    monkeypatch.setattr(rounds, "EVERY_S", 0.3)
    monkeypatch.setattr(brokerlog, "SILENT_MS", 3000)


@pytest.fixture
def place(broker: Broker, tmp_path: Path) -> Iterator[Place]:
    """Hilum at the broker."""
    link = {"mqtt_port": broker.port, "mqtt_user": "hilum", "mqtt_password": USERS["hilum"]}
    settings = settings_from(link, tmp_path)
    with open_store(settings, exclusive=True) as store:
        service = Service(settings, store)
        with TestClient(service.app, "http://localhost") as client:
            assert wait_until(lambda: service.status().connected)
            assert service._ingest is not None
            log = service._ingest._log
            assert wait_until(lambda: log is not None and log.listening)
            yield Place(client, store)


def send(broker: Broker, *messages: Message) -> None:
    """Send as somebody who may speak for all."""
    with Sensors(broker.port) as sensors:
        sensors.send(messages)
        sensors.settle()


def try_to_connect(
    port: int,
    password: str = USERS["tub-1"],
    protocol: MQTTProtocolVersion = MQTTv311,
    context: ssl.SSLContext | None = None,
) -> None:
    """Connect as tub-1, and go away again however it ends."""
    client = Client(CallbackAPIVersion.VERSION2, protocol=protocol)
    client.username_pw_set("tub-1", password)
    if context is not None:
        client.tls_set_context(context)
    with suppress(OSError):
        client.connect("localhost" if context else "127.0.0.1", port)
        for _ in range(20):
            client.loop(0.05)
    client.disconnect()


@pytest.mark.parametrize("protocol", [MQTTv311, MQTTv5])
def test_wrong_password(broker: Broker, place: Place, protocol: MQTTProtocolVersion) -> None:
    """The broker turns it away, and the page says from where it came."""

    def told() -> bool:
        try_to_connect(broker.port, "wrong", protocol)
        return "name or password is wrong" in place.refused()

    assert wait_until(told)
    assert told()
    assert place.shows("Turned away by the broker", "127.0.0.1")
    assert len(place.store.rejects()) == 1  # and not a line for every try
    send(broker, (GOOD, senml(NOW_MS, 20.0, 40.0)))
    assert wait_until(lambda: place.kept() == 1)


def use_certificates(broker: Broker, lines: str = "", *, past: bool = False) -> trustme.CA:
    """Have the broker speak TLS by certificates of an authority made for this."""
    broker.stop()
    certs = broker.use_tls()
    authority = trustme.CA()
    made = authority.issue_cert("localhost", **(PAST if past else {}))
    authority.cert_pem.write_to_path(str(certs / "ca.crt"))
    made.private_key_pem.write_to_path(str(certs / "server.key"))
    (certs / "server.crt").write_bytes(b"".join(blob.bytes() for blob in made.cert_chain_pems))
    conf = broker.folder / "mosquitto.conf"
    text = conf.read_text(encoding="utf-8")
    for line in filter(None, lines.split(";")):
        assert f"\n#{line}" in text
        text = text.replace(f"\n#{line}", f"\n{line}")
    conf.write_text(text, encoding="utf-8")
    broker.start()
    return authority


def trusting(authority: trustme.CA) -> ssl.SSLContext:
    """TLS of a device that knows the authority."""
    context = ssl.create_default_context()
    authority.configure_trust(context)
    return context


PAST: dict[str, Any] = {
    "not_before": datetime.now(UTC) - timedelta(days=9),
    "not_after": datetime.now(UTC) - timedelta(days=1),
}


# The client library leaves the socket of a refused handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore:.*SSLSocket:pytest.PytestUnraisableExceptionWarning")
def test_expired_certificate_of_the_broker(broker: Broker, place: Place) -> None:
    """A device that checks it hangs up, and the page says why."""
    authority = use_certificates(broker, past=True)
    assert wait_until(lambda: "arrive from the broker" in place.client.get("/sensors").text)
    assert wait_until(lambda: _tried(broker, place, trusting(authority), "has expired"), 30)


def test_expired_certificate_of_a_device(broker: Broker, place: Place) -> None:
    """Where sensors have certificates of their own, one that has expired is turned away."""
    authority = use_certificates(broker, "require_certificate true;use_identity_as_username true")
    context = trusting(authority)
    authority.issue_cert("tub-1", **PAST).configure_cert(context)
    assert wait_until(lambda: _tried(broker, place, context, "cannot be trusted, or"), 30)


def _tried(broker: Broker, place: Place, context: ssl.SSLContext, words: str) -> bool:
    """Try again until Hilum hears the broker's log anew."""
    try_to_connect(broker.tls_port, context=context)
    return words in place.refused()


@pytest.mark.usefixtures("quick")
def test_speaking_for_another_sensor(broker: Broker, place: Place) -> None:
    """It is not kept, and the page says that nothing of the device itself has come."""
    with Sensors(broker.port, "tub-1") as sensor:
        sensor.send([("hilum/home/tub-2/readings", senml(NOW_MS, 20.0, 40.0))])
        sensor.settle()
        assert sensor.refused == {0}
        assert place.shows("“tub-1” signed in at the broker", "no reading", "hilum.acl")
    assert place.store.sensors() == []


@pytest.mark.usefixtures("quick")
def test_speaking_for_itself_is_no_news(broker: Broker, place: Place) -> None:
    """Who is heard is not complained of, nor Hilum itself."""
    with Sensors(broker.port, "tub-1") as sensor:
        sensor.send([(GOOD, senml(time.time_ns() // 1_000_000, 20.0, 40.0))])
        sensor.settle()
        assert wait_until(lambda: place.kept() == 1)
        time.sleep(4)  # several looks
    assert place.store.rejects() == []


def test_a_hundred_messages_a_second(broker: Broker, place: Place) -> None:
    """Two a second of the sensor's time are kept, the rest is left out in one line."""
    begin_ms = NOW_MS // 60_000 * 60_000 - 3_600_000
    flood = [(GOOD, senml(begin_ms + 10 * k, 20.0, 40.0)) for k in range(2000)]
    send(broker, *flood, ("hilum/home/tub-2/readings", senml(NOW_MS, 20.0, 40.0)))
    assert wait_until(lambda: place.kept("home/tub-2") == 1)
    assert place.kept() == PER_MINUTE
    assert place.shows("Too often", "far more often than air in a box changes")
    assert len(place.store.rejects()) == 1


def test_a_clock_in_2000_and_a_missing_unit(broker: Broker, place: Place) -> None:
    """Both are set aside with the reason, and named on the page."""
    no_unit = json.dumps([{"bt": NOW_MS / 1000, "n": "humidity", "v": 40}]).encode()
    send(broker, (GOOD, senml(YEAR_2000, 20.0, 40.0)), (GOOD, no_unit))
    assert place.shows("Clock wrong", "2000-01-01", "before 2010")
    assert place.shows("Unit not known", "The unit of the humidity is missing; it must be %RH")
    assert place.kept() == 0
