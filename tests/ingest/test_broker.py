"""The ingest at a real broker: what must not stop it, and what it says about itself."""

import gc
import json
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from hilum.domain.errors import InvalidInputError, SettingsError, StoreError
from hilum.domain.model import AddOutcome, Placement, Reading, RejectReason, Role
from hilum.ingest import BrokerSettings, Ingest, IngestSettings, Place, Source
from hilum.stores.sqlite import SqliteStore
from plugins.mosquitto import USERS, Broker, free_port
from plugins.sensors import Message, Sensors, senml, wait_until

pytestmark = pytest.mark.mosquitto
NOW = time.time_ns() // 1_000_000
TOPIC = "hilum/home/tub-1/readings"


class Clock:
    """The time of this machine."""

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC."""
        return time.time_ns() // 1_000_000


class TroubledStore(SqliteStore):
    """A real store whose writes can be made to fail or to wait."""

    failing = False
    tries = 0

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.open = threading.Event()
        self.open.set()

    def add(self, readings: Sequence[Reading], received_ms: int) -> AddOutcome:
        """Add, unless in trouble."""
        self.tries += 1
        self.open.wait(30)
        if self.failing:
            raise StoreError("The disk is full.")
        return super().add(readings, received_ms)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[TroubledStore]:
    """A store in a file."""
    store = TroubledStore(tmp_path / "hilum.sqlite3")
    yield store
    store.open.set()
    store.close()


def settings(broker: Broker, **changes: object) -> IngestSettings:
    """Settings for a broker, with quick retries."""
    link = BrokerSettings(port=broker.port, username="hilum", password=USERS["hilum"])
    return IngestSettings(**{"broker": link, "retry_s": 0.05, **changes})  # type: ignore[arg-type]


@contextmanager
def running(
    store: SqliteStore,
    settings: IngestSettings,
    on_stored: Callable[[frozenset[str]], None] = lambda _: None,
) -> Iterator[Ingest]:
    """Run an ingest that listens."""
    ingest = Ingest(store, settings, Clock(), on_stored)
    ingest.start()
    try:
        assert wait_until(lambda: ingest.status().connected), ingest.status().last_error
        yield ingest
    finally:
        ingest.stop()


def good(count: int, sensor: str = "home/tub-1") -> list[Message]:
    """Messages that are all in order, a second apart."""
    topic = f"hilum/{sensor}/readings"
    return [(topic, senml(NOW - 1000 * k, 20.0, 40.0)) for k in range(count)]


def pack(**fields: object) -> bytes:
    """One temperature record with fields changed."""
    record = {"n": "temperature", "u": "Cel", "v": 20.5, "t": NOW // 1000 - 7200, **fields}
    return json.dumps([record]).encode()


BAD = [
    (TOPIC, b"{broken", RejectReason.NOT_JSON),
    (TOPIC, b"\xff\xfe", RejectReason.NOT_JSON),
    (TOPIC, b"", RejectReason.NOT_JSON),
    (TOPIC, b'{"temperature": 20}', RejectReason.SHAPE),
    (TOPIC, pack(v="20.5"), RejectReason.SHAPE),
    (TOPIC, pack(v=True), RejectReason.SHAPE),
    (TOPIC, pack(u="F"), RejectReason.UNIT),
    (TOPIC, pack(v=float("nan")), RejectReason.NOT_A_NUMBER),
    (TOPIC, pack(v=float("-inf")), RejectReason.NOT_A_NUMBER),
    (TOPIC, pack().replace(b"20.5", b"1e999"), RejectReason.NOT_A_NUMBER),
    (TOPIC, pack(n="humidity", u="%RH", v=-3), RejectReason.RANGE),
    (TOPIC, pack(n="humidity", u="%RH", v=140), RejectReason.RANGE),
    (TOPIC, pack(v=85), RejectReason.FAULT),
    (TOPIC, pack(v=-127), RejectReason.FAULT),
    (TOPIC, pack(t=600), RejectReason.TIME),
    (TOPIC, pack(t=300_000_000), RejectReason.TIME),
    (TOPIC, pack(t=4_070_908_800), RejectReason.TIME),
    (TOPIC, b"[" + b" " * 5_000_000 + b"]", RejectReason.TOO_LARGE),
    (TOPIC, pack(n="battery", u="V", v=3), RejectReason.NO_VALUE),
    (f"hilum/home/{'x' * 65}/readings", pack(), RejectReason.TOPIC),
    ("hilum/home/tub-1/status", b"asleep", RejectReason.SHAPE),
]


def test_bad_messages_between_good_ones(broker: Broker, store: TroubledStore) -> None:
    """Each bad message is kept with its own reason; every good one around them is stored."""
    messages = good(len(BAD) + 1)
    for place, (topic, payload, _) in enumerate(BAD):
        messages.insert(2 * place + 1, (topic, payload))
    with running(store, settings(broker)) as ingest, Sensors(broker.port) as sensors:
        sensors.send(messages)
        sensors.settle()
        assert wait_until(lambda: ingest.status().received == len(messages))
        assert wait_until(lambda: ingest.status().stored == len(BAD) + 1)
        assert wait_until(lambda: ingest.status().rejected == len(BAD))
    kept = store.rejects(limit=1000)
    assert [r.reason for r in reversed(kept)] == [reason for _, _, reason in BAD]
    assert all(r.detail.endswith(".") and len(r.payload) <= 2000 for r in kept)


def test_the_same_key_again(broker: Broker, store: TroubledStore) -> None:
    """The same reading twice changes nothing; another value for its time is kept as a reject."""
    told: list[frozenset[str]] = []
    with running(store, settings(broker), told.append) as ingest, Sensors(broker.port) as sensors:
        payloads = [senml(NOW, 20.0, 40.0)] * 2 + [senml(NOW, 21.0, 40.0)]
        sensors.send((TOPIC, payload) for payload in payloads)
        assert wait_until(lambda: ingest.status().rejected == 1)
        status = ingest.status()
    assert (status.stored, status.duplicates) == (1, 1)
    assert store.newest("home/tub-1") == Reading("home/tub-1", NOW, 20.0, 40.0)
    assert [r.reason for r in store.rejects()] == [RejectReason.CONFLICT]
    assert set().union(*told) == {"home/tub-1"}


def test_a_topic_that_is_not_utf8(broker: Broker, store: TroubledStore) -> None:
    """A client that sends a topic that is no text does not disturb the others."""

    def text(value: bytes) -> bytes:
        return struct.pack("!H", len(value)) + value

    connect = text(b"MQTT") + b"\x04\xc2\x00\x3c" + text(b"raw")
    connect += text(b"tester") + text(USERS["tester"].encode())
    publish = text(b"hilum/home/\xff\xfe/readings") + pack()
    with running(store, settings(broker)) as ingest, Sensors(broker.port) as sensors:
        with socket.create_connection(("127.0.0.1", broker.port), 5) as raw:
            raw.sendall(b"\x10" + bytes([len(connect)]) + connect)
            assert raw.recv(4) == b"\x20\x02\x00\x00"
            raw.sendall(b"\x30" + bytes([len(publish)]) + publish)
            raw.settimeout(5)
            assert raw.recv(1) == b""  # this broker ends such a connection
        sensors.send(good(5))
        assert wait_until(lambda: ingest.status().stored == 5)


def test_ten_thousand_unknown_sensors(broker: Broker, store: TroubledStore) -> None:
    """Two thousand are taken in, the rest is refused, and a sensor in a box goes on."""
    store.add([Reading("home/tub-1", NOW - 999_000, 20.0, 40.0)], NOW)
    unknown = [(f"hilum/home/x{k}/readings", senml(NOW, 20.0, 40.0)) for k in range(10_000)]
    with running(store, settings(broker)) as ingest, Sensors(broker.port) as sensors:
        sensors.send([*unknown, *good(3)])
        sensors.settle(60)
        assert wait_until(lambda: ingest.status().received == 10_003, 60)
        assert wait_until(lambda: ingest.status().queued == 0)
        assert wait_until(lambda: store.reject_counts() == {"too-many-sensors": 8_001})
    assert len(store.sensors()) == 2_000
    extent = store.extent("home/tub-1")
    assert extent is not None
    assert extent[0] == 4


def test_claiming_sensors_makes_room(broker: Broker, store: TroubledStore) -> None:
    """A sensor that stands in a box does not count against the limit."""
    from hilum.domain.model import Box, BoxType

    store.add([Reading("home/a", NOW, 20.0, 40.0)], NOW)
    store.save_box(Box("tub", "Tub", BoxType.TUB))
    store.add_placement(Placement(0, "home/a", "tub", Role.INSIDE, 0))
    with (
        running(store, settings(broker, max_new_sensors=1)) as ingest,
        Sensors(broker.port) as sensors,
    ):
        sensors.send(good(1, "home/b") + good(1, "home/c"))
        assert wait_until(lambda: ingest.status().rejected == 1)
    assert [sensor.name for sensor in store.sensors()] == ["home/a", "home/b"]


def test_a_store_that_fails_loses_nothing(broker: Broker, store: TroubledStore) -> None:
    """While the store fails nothing is acknowledged, the fault is shown, and all is kept later."""
    store.failing = True
    with running(store, settings(broker)) as ingest, Sensors(broker.port) as sensors:
        sensors.send(good(50))
        assert wait_until(lambda: store.tries >= 3)
        assert "The disk is full." in ingest.status().last_error
        assert ingest.status().stored == 0
    store.failing = False  # the broker still has them, for the next start
    with running(store, settings(broker)) as ingest:
        assert wait_until(lambda: ingest.status().stored == 50)
        assert ingest.status().last_error == ""


def test_a_full_queue_holds_the_broker_back(broker: Broker, store: TroubledStore) -> None:
    """While the writer is busy no more than the queue holds is taken from the network."""
    store.open.clear()
    few = settings(broker, queue_messages=100, batch_messages=10)
    with running(store, few) as ingest, Sensors(broker.port) as sensors:
        sensors.send(good(1000))
        sensors.settle()
        assert wait_until(lambda: ingest.status().queued == 100)
        time.sleep(0.2)
        assert ingest.status().queued == 100
        assert ingest.status().received <= 111  # the queue, a batch, and the one that waits
        store.open.set()
        assert wait_until(lambda: ingest.status().stored == 1000)


def test_bursts_of_a_sensor_without_a_clock(broker: Broker, store: TroubledStore) -> None:
    """Values without times that arrive at once are all kept, one after the other."""
    values = [19.0 + k / 100 for k in range(100)]
    payloads = [json.dumps([{"n": "temperature", "u": "Cel", "v": v}]).encode() for v in values]
    with running(store, settings(broker)) as ingest, Sensors(broker.port) as sensors:
        sensors.send((TOPIC, payload) for payload in payloads)
        assert wait_until(lambda: ingest.status().stored == 100)
    assert store.series("home/tub-1", 0, 2**53).temp_c.tolist() == values


def test_values_in_topics_of_their_own_make_one_reading(
    broker: Broker, store: TroubledStore
) -> None:
    """A device with a topic for each number: temperature and humidity meet in one moment."""
    sources = (
        Source("garden/{sensor}/temperature", "home", {"temperature": Place("degF")}),
        Source("garden/{sensor}/humidity", "home", {"humidity": Place("%")}),
    )
    with (Path(broker.folder) / "acl").open("a", encoding="utf-8") as rules:
        rules.write("user hilum\ntopic read garden/#\n")
    broker.stop()
    broker.start()
    with running(store, settings(broker, sources=sources)), Sensors(broker.port) as sensors:
        for temp_f, rh_pct in ((b"68.9", b"40"), (b"69.8", b"41")):
            sensors.send([("garden/tub/temperature", temp_f), ("garden/tub/humidity", rh_pct)])
        assert wait_until(lambda: len(store.series("home/tub", 0, 2**53)) == 2)
        assert wait_until(lambda: _complete(store))
    series = store.series("home/tub", 0, 2**53)
    assert series.temp_c.tolist() == [20.5, 21.0]
    assert series.rh_pct.tolist() == [40.0, 41.0]


def _complete(store: SqliteStore) -> bool:
    newest = store.newest("home/tub")
    return newest is not None and newest.rh_pct == 41.0


def test_presence_by_last_will(broker: Broker, store: TroubledStore) -> None:
    """A sensor is online when it says so, and offline when its connection breaks."""
    topic = "hilum/home/tub-1/status"
    with running(store, settings(broker)):
        sensors = Sensors(broker.port, "tub-1", will=(topic, b"offline"))
        sensors.send([(topic, b"online")], retain=True)
        assert wait_until(lambda: [s.online for s in store.sensors()] == [True])
        sensors.vanish()
        assert wait_until(lambda: [s.online for s in store.sensors()] == [False])


def test_a_sensor_speaks_for_itself_only(broker: Broker, store: TroubledStore) -> None:
    """The shipped access rules let a sensor write its own topics and no other's."""
    with running(store, settings(broker)) as ingest, Sensors(broker.port, "tub-1") as sensor:
        sensor.send(good(1, "home/tub-2") + good(1, "home/tub-1"))
        sensor.settle()
        assert (sensor.refused, sensor.confirmed) == ({0}, {1})
        assert wait_until(lambda: ingest.status().stored == 1)
    assert [s.name for s in store.sensors()] == ["home/tub-1"]


def test_derived_values_are_published(broker: Broker, store: TroubledStore) -> None:
    """What Hilum publishes is kept by the broker for whoever comes later; nonsense is refused."""
    got: list[tuple[str, object, bool]] = []
    topic = "hilum/home/boxes/tub/state"
    with running(store, settings(broker)) as ingest:
        ingest.publish(topic, {"erh_pct": 31.5, "name": "Küche"})
        for wrong, payload in (("a/+", {}), ("a", {"x": float("nan")}), ("a", {"x": object()})):
            with pytest.raises(InvalidInputError):
                ingest.publish(wrong, payload)
        reader = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)
        reader.username_pw_set("tester", USERS["tester"])
        reader.on_message = lambda _c, _d, m: got.append((m.topic, json.loads(m.payload), m.retain))
        time.sleep(0.2)
        reader.connect("127.0.0.1", broker.port)
        reader.subscribe("hilum/+/boxes/+/state", qos=1)
        reader.loop_start()
        assert wait_until(lambda: bool(got))
        reader.disconnect()
        reader.loop_stop()
    assert got == [(topic, {"erh_pct": 31.5, "name": "Küche"}, True)]


# The client library leaves the socket of a refused handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore:.*SSLSocket:pytest.PytestUnraisableExceptionWarning")
def test_the_tls_lines_of_the_configuration(broker: Broker, store: TroubledStore) -> None:
    """With the shipped TLS lines switched on, Hilum connects over TLS, and only to its broker."""
    certs = broker.use_tls()
    broker.stop()
    broker.start()
    plain = settings(broker)
    link = replace(plain.broker, host="localhost", port=broker.tls_port, tls=True)

    def trusting(ca_file: Path | None) -> IngestSettings:
        return replace(plain, broker=replace(link, ca_file=ca_file))

    with running(store, trusting(certs / "ca.crt")) as ingest, Sensors(broker.port) as sensors:
        sensors.send(good(3))
        assert wait_until(lambda: ingest.status().stored == 3)
    stranger = Ingest(store, trusting(None), Clock(), lambda _: None)
    stranger.start()  # trusts the certificates of the system, among which ours is not
    assert wait_until(lambda: "cannot be reached" in stranger.status().last_error)
    stranger.stop()
    with pytest.raises(SettingsError, match="certificate"):
        Ingest(store, trusting(certs / "none.crt"), Clock(), lambda _: None)
    gc.collect()


def test_faults_of_the_connection_in_words(broker: Broker, store: TroubledStore) -> None:
    """A wrong password, a broker that is not there, and a rival for the name are told apart."""

    def says(link: BrokerSettings, words: str) -> None:
        ingest = Ingest(store, IngestSettings(broker=link), Clock(), lambda _: None)
        ingest.start()
        try:
            assert wait_until(lambda: words in ingest.status().last_error)
            assert not ingest.status().connected
        finally:
            ingest.stop()

    wrong = BrokerSettings(port=broker.port, username="hilum", password="no")  # noqa: S106
    says(wrong, "name and password")
    says(BrokerSettings(port=free_port()), "cannot be reached")
    with running(store, settings(broker)) as first, running(store, settings(broker)):
        assert wait_until(lambda: "Another program" in first.status().last_error)
