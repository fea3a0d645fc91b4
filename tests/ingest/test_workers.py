"""Several workers, one site: shared messages into a real InfluxDB, and one ledger made of them."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from hilum.bootstrap import open_store
from hilum.bootstrap.worker import WorkerStore
from hilum.config import load_settings, settings_from
from hilum.domain.errors import BrokerError, SettingsError
from hilum.domain.model import Arrival, Reading, Reject, RejectReason
from hilum.domain.ports import Store
from hilum.ingest import BrokerSettings, Ingest, IngestSettings
from hilum.ingest.notes import REFUSED, SENSORS, notes, read_note
from hilum.ingest.screen import MAX_PAYLOAD, Collector
from hilum.ingest.teller import Teller
from hilum.ingest.topics import Part
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.influx import InfluxReadings
from hilum.stores.influx.server import Place
from hilum.stores.memory import MemoryStore
from hilum.stores.sqlite import SqliteStore
from ingest.no_loss import add_lots, message, reading
from keeping.worlds import bits
from plugins.mosquitto import USERS, Broker
from plugins.sensors import Sensors, wait_until
from stores.influx_engine import TOKEN, create, engine_in, free_port

MESSAGES = 6_000
NOW_MS = 1_772_330_400_000  # 2026-03-01


class FixedClock:
    """A clock that stands."""

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC."""
        return NOW_MS


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    """An empty bucket of a running InfluxDB of its own."""
    folder = tmp_path / "engine"
    folder.mkdir()
    with engine_in(folder) as url:
        create(url, "seeds")
        yield Place(url, "seeds", token=TOKEN)


def settings_file(folder: Path, place: Place, broker: Broker) -> Path:
    """Write the settings of a machine; give its data folder."""
    folder.mkdir()
    lines = {
        "influx_url": place.url,
        "influx_bucket": place.bucket,
        "influx_token": TOKEN,
        "mqtt_port": broker.port,
        "mqtt_user": "hilum",
        "mqtt_password": USERS["hilum"],
        "mqtt_workers": True,
    }
    text = "".join(f"{name} = {json.dumps(value)}\n" for name, value in lines.items())
    (folder / "hilum.toml").write_text(text, encoding="utf-8")
    return folder


@contextmanager
def hilum(*words: str | Path) -> Iterator[subprocess.Popen[str]]:
    """Run a command until it has said its first line; end it at the end."""
    command = [sys.executable, "-m", "hilum", *map(str, words)]
    env = {**os.environ, "PYTHONUNBUFFERED": "1"}
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env)
    assert process.stdout is not None
    try:
        assert process.stdout.readline(), f"{words} said nothing"
        yield process
    finally:
        process.terminate()
        process.wait(20)
        process.stdout.close()


def kept(place: Place) -> list[Reading]:
    """Every reading of the bucket."""
    with closing(InfluxReadings(place)) as readings:
        return [
            each
            for sensor in readings.sensors()
            for page in readings.pages(sensor, 0, 2**53, 5000)
            for each in page
        ]


@pytest.mark.mosquitto
def test_two_workers_and_one_site(broker: Broker, place: Place, tmp_path: Path) -> None:
    """With a worker killed on the way all is stored once, and the ledger is that of a rebuild."""
    site = settings_file(tmp_path / "site", place, broker)
    with open_store(load_settings(site), exclusive=True) as store:
        assert isinstance(store, SqliteStore)
        add_lots(store)
    serve: list[str | Path] = ["serve", "--data-dir", site, "--port", str(free_port())]
    with ExitStack() as stack:
        stack.enter_context(hilum(*serve))
        second = [sys.executable, "-m", "hilum", *map(str, serve)]
        refused = subprocess.run(second, capture_output=True, text=True, timeout=30, check=False)
        assert refused.returncode == 1
        assert "is in use by" in refused.stderr
        stack.enter_context(hilum("ingest", "one", "--data-dir", site))
        doomed = stack.enter_context(hilum("ingest", "two", "--data-dir", site))
        sensors = stack.enter_context(Sensors(broker.port))
        sensors.send([("hilum/home/s0/readings", b"[")])
        sensors.send(map(message, range(MESSAGES // 2)))
        assert wait_until(lambda: len(kept(place)) > MESSAGES // 4, 60)
        doomed.kill()
        sensors.send(map(message, range(MESSAGES // 2, MESSAGES)))
        sensors.settle(60)
        doomed.wait(20)
        stack.enter_context(hilum("ingest", "two", "--data-dir", site))
        assert wait_until(lambda: len(kept(place)) == MESSAGES, 60)
        assert wait_until(lambda: not marks(site), 60)
    assert set(kept(place)) == {reading(index) for index in range(MESSAGES)}
    with open_store(load_settings(site), exclusive=True) as store:
        assert [reject.reason for reject in store.rejects()] == [RejectReason.NOT_JSON]
        assert len(store.sensors()) == 20
        assert_is_a_rebuild(store)


def marks(site: Path) -> int:
    """How many marks wait to be worked off."""
    with open_store(load_settings(site)) as store:
        return len(store.dirty())


def assert_is_a_rebuild(store: Store) -> None:
    """The ledger as it was kept is that of a rebuild, to the last bit, up to the last reading."""
    ledger = bits(store)
    assert ledger
    LedgerKeeper(store).rebuild()
    assert bits(store) == ledger
    for key in store.curves():
        assert store.rows(key).last_ms[-1] >= reading(MESSAGES - 20).time_ms or key.start_ms


@pytest.mark.mosquitto
def test_a_worker_leaves(broker: Broker, place: Place, tmp_path: Path) -> None:
    """What waited for a worker is stored before it leaves; afterwards nothing waits for it."""
    site = settings_file(tmp_path / "site", place, broker)
    with hilum("ingest", "one", "--data-dir", site):
        pass
    with Sensors(broker.port) as sensors:
        sensors.send(map(message, range(100)))
        sensors.settle()
    assert kept(place) == []
    leave = [sys.executable, "-m", "hilum", "ingest", "one", "--leave", "--data-dir", str(site)]
    done = subprocess.run(leave, capture_output=True, text=True, timeout=60, check=True)
    assert "Worker one has left." in done.stdout
    assert len(kept(place)) == 100
    with Sensors(broker.port) as sensors:
        sensors.send(map(message, range(100, 150)))
        sensors.settle()
    subprocess.run(leave, capture_output=True, timeout=60, check=True)
    assert len(kept(place)) == 100


def keeping(store: MemoryStore, broker: Broker) -> Ingest:
    """Listen to the notes of workers."""
    link = BrokerSettings(port=broker.port, username="hilum", password=USERS["hilum"])
    return Ingest(
        store, IngestSettings(broker=link, part=Part.KEEPING), FixedClock(), lambda _: None
    )


@pytest.mark.mosquitto
def test_notes_wait_for_a_site_and_are_missed_before_it_first_listened(broker: Broker) -> None:
    """Notes from before the first listening mark everything; later ones mark what they name."""
    store = MemoryStore()
    store.add([Reading("home/old", NOW_MS, 20.0)], NOW_MS)
    store.clear_dirty(store.dirty())
    link = BrokerSettings(port=broker.port, username="hilum", password=USERS["hilum"])
    teller = Teller(replace(link, client_id="worker-notes"))
    teller.start()

    def tell(since: dict[str, int]) -> None:
        for topic, payload in notes(since, (), NOW_MS, "home"):
            assert wait_until(partial(told, teller, topic, payload))

    def marked() -> dict[str, int]:
        return {mark.sensor: mark.from_ms for mark in store.dirty()}

    try:
        tell({"home/new": 5})
        listening = keeping(store, broker)
        listening.start()
        assert wait_until(lambda: marked() == {"home/old": 0})
        listening.stop()
        store.clear_dirty(store.dirty())
        tell({"home/new": 7, "away/new": 8})
        listening = keeping(store, broker)
        listening.start()
        assert wait_until(lambda: marked() == {"home/new": 7})
        listening.stop()
        assert store.sensor("home/new").last_seen_ms == NOW_MS
    finally:
        teller.stop()


def told(teller: Teller, topic: str, payload: bytes) -> bool:
    """Tell, if the broker is there yet."""
    try:
        teller.tell(topic, payload)
    except BrokerError:
        return False
    return True


@pytest.mark.mosquitto
def test_a_site_whose_session_the_broker_forgot_marks_everything(broker: Broker) -> None:
    """When the broker lost the session, notes may be lost too, so all is computed anew."""
    store = MemoryStore()
    store.add([Reading("home/old", NOW_MS, 20.0)], NOW_MS)
    listening = keeping(store, broker)
    listening.start()
    try:
        assert wait_until(lambda: [mark.from_ms for mark in store.dirty()] == [0])
        store.clear_dirty(store.dirty())
        broker.stop()
        (broker.folder / "mosquitto.db").unlink()
        broker.start()
        assert wait_until(lambda: [mark.from_ms for mark in store.dirty()] == [0])
    finally:
        listening.stop()


def test_stored_before_told_and_told_again(place: Place) -> None:
    """A note follows the readings; a worker that could not tell stores nothing twice and tells."""
    said: list[tuple[str, bytes]] = []
    fails = True

    def tell(topic: str, payload: bytes) -> None:
        assert len(kept(place)) == 2
        if fails:
            raise BrokerError("The broker does not answer.")
        said.append((topic, payload))

    given = [Reading("home/a", 9, 20.0), Reading("home/a", 5, 20.0)]
    with closing(InfluxReadings(place)) as readings:
        store = WorkerStore(readings, tell, "home")
        with pytest.raises(BrokerError):
            store.add(given, NOW_MS)
        fails = False
        assert store.add(given, NOW_MS).duplicates == 2
        assert store.add([Reading("home/a", 5, 21.0)], NOW_MS).conflicts
    assert [topic for topic, _ in said] == ["hilum/home/arrived"] * 3
    assert [each.from_ms for each in read_note("home", said[0][1]).arrivals] == [5]
    (reject,) = read_note("home", said[2][1]).rejects
    assert reject.reason is RejectReason.CONFLICT


def test_notes_come_back_as_they_were() -> None:
    """Sensors go to their own sites, rejects to the site they belong to, whole and in order."""
    since = {f"home/s{number}": number for number in range(SENSORS + 1)} | {"far/é 1": 3}
    collector = Collector("far/é 1", "hilum/far/é 1/readings", NOW_MS, bytes(range(256)) * 8)
    collector.refuse(RejectReason.SHAPE, "No SenML “pack”.")
    rejects = [*collector.rejects()] * (REFUSED + 1)
    found: list[Arrival] = []
    refused: list[Reject] = []
    for topic, payload in notes(since, rejects, NOW_MS, "home"):
        assert len(payload) < MAX_PAYLOAD
        note = read_note(topic.split("/")[1], payload)
        found += note.arrivals
        refused += note.rejects
    assert {each.sensor: each.from_ms for each in found} == since
    assert {each.received_ms for each in found} == {NOW_MS}
    assert refused == rejects


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"[]",
        b"{}",
        b'{"at":-1}',
        b'{"at":1.5}',
        b'{"at":1,"since":[]}',
        b'{"at":1,"since":{"a/b":1}}',
        b'{"at":1,"since":{"a":"x"}}',
        b'{"at":1,"refused":[1]}',
        b'{"at":1,"refused":[{"at":1,"topic":"t","reason":"odd","detail":"","payload":"","sensor":null}]}',
        b'{"at":1,"refused":[{"at":1,"topic":"t","reason":"fault","detail":"","payload":"?","sensor":null}]}',
    ],
)
def test_what_is_no_note_is_refused(payload: bytes) -> None:
    """Whatever else comes on the topic of notes is an error, and never half a note."""
    with pytest.raises(ValueError, match=r".+"):
        read_note("home", payload)


def test_workers_need_an_influxdb(tmp_path: Path) -> None:
    """Workers are refused where there is nothing they could share."""
    with pytest.raises(SettingsError, match="mqtt_workers needs influx_url"):
        settings_from({"mqtt_workers": True}, tmp_path)
    command = [sys.executable, "-m", "hilum", "ingest", "--data-dir", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert "Set influx_url first" in done.stderr
