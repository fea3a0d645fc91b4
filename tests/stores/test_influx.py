"""Readings in InfluxDB: what the contract of all stores does not ask."""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import replace
from http.server import BaseHTTPRequestHandler
from pathlib import Path

import numpy as np
import pytest

from hilum.bootstrap import copy_readings, open_store
from hilum.cli import run
from hilum.config import settings_from
from hilum.domain.errors import InvalidInputError, PartMissingError, SettingsError, StoreError
from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, AddOutcome, DirtyMark, Reading
from hilum.ingest.decode import Decoder, Message
from hilum.ingest.inbox import Inbox
from hilum.ingest.pump import Pump
from hilum.ingest.settings import IngestSettings
from hilum.ingest.topics import Router
from hilum.stores.influx import InfluxReadings, SplitStore
from hilum.stores.influx.lines import line
from hilum.stores.influx.readings import Plan
from hilum.stores.influx.server import Place, Server
from hilum.stores.memory import MemoryStore
from plugins.sensors import wait_until
from stores.influx_engine import TOKEN, free_port, served

NOW_MS = 1_772_330_400_000  # 2026-03-01
ONE = Reading("home/one", 60_000, 20.0, 40.0)


class Broken(BaseHTTPRequestHandler):
    """Answers every question with nothing found, and every write with one status."""

    status = 204
    status_of_reads = 200
    answer = b'{"results":[{"statement_id":0}]}'
    seen: list[str]

    def do_GET(self) -> None:
        """Nothing is kept, unless told otherwise."""
        self.send_response(self.status_of_reads)
        self.end_headers()
        self.wfile.write(self.answer)

    def do_POST(self) -> None:
        """Note the write and give the status."""
        self.rfile.read(int(self.headers["Content-Length"]))
        self.seen.append(f"{self.path} {self.headers['Content-Encoding']}")
        if self.status == 0:
            time.sleep(1.0)
            return
        self.send_response(self.status)
        self.send_header("Retry-After", "3600")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture
def broken() -> Iterator[tuple[type[Broken], InfluxReadings]]:
    """A server to be broken, and readings over it."""
    kind = type("OwnBroken", (Broken,), {"seen": []})
    with served(kind) as url:
        place = Place(url, "seeds", "garden", "secret-token", timeout_s=0.3, pause_s=0.01)
        with closing(InfluxReadings(place)) as readings:
            yield kind, readings


@pytest.mark.parametrize(
    ("status", "words", "tries"),
    [
        (400, "refused what was sent", 1),
        (401, "does not accept the token", 1),
        (403, "does not let this token", 1),
        (404, "does not know the bucket", 1),
        (422, "must keep data for ever", 1),
        (429, "too much to do", 3),
        (500, r"answered with an error \(500\)", 1),
        (503, "is not ready", 3),
        (0, "did not answer in time", 3),
    ],
)
def test_a_refused_write_is_told_in_words(
    broken: tuple[type[Broken], InfluxReadings], status: int, words: str, tries: int
) -> None:
    """What cannot be written is an error a person can act on; what may pass is tried thrice."""
    kind, readings = broken
    kind.status = status
    with pytest.raises(StoreError, match=words) as caught:
        readings.add([ONE], received_ms=0)
    assert "secret-token" not in str(caught.value)
    assert len(kind.seen) == tries


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (401, "does not accept the token"),
        (404, "does not know the bucket"),
        (429, "too much to do"),
        (503, "is not ready"),
    ],
)
def test_a_refused_question_is_told_in_words(
    broken: tuple[type[Broken], InfluxReadings], status: int, words: str
) -> None:
    """A refused question is an error too, and a batch is not written before it is answered."""
    kind, readings = broken
    kind.status_of_reads = status
    with pytest.raises(StoreError, match=words):
        readings.newest("home/one")
    with pytest.raises(StoreError, match=words):
        readings.add([ONE], received_ms=0)
    assert kind.seen == []


def test_a_write_goes_where_the_settings_say(
    broken: tuple[type[Broken], InfluxReadings],
) -> None:
    """Lines go compressed to /api/v2/write with organisation, bucket and milliseconds."""
    kind, readings = broken
    assert readings.add([ONE], received_ms=0) == AddOutcome(stored=1)
    assert kind.seen == ["/api/v2/write?org=garden&bucket=seeds&precision=ms gzip"]


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (b"<html>", "none of InfluxDB"),
        (b"[]", "none of InfluxDB"),
        (b'{"results":[]}', "only a part"),
        (b'{"results":[{"error":"database not found"}]}', "could not answer: database not found"),
        (b'{"results":[{"series":[{"values":[],"partial":true}]}]}', "only a part"),
    ],
)
def test_an_answer_that_is_none_is_told_in_words(
    broken: tuple[type[Broken], InfluxReadings], answer: bytes, words: str
) -> None:
    """An answer that is cut, wrong or an error is never taken for “no readings”."""
    kind, readings = broken
    kind.answer = answer
    with pytest.raises(StoreError, match=words):
        readings.newest("home/one")


def test_no_server_is_told_in_words() -> None:
    """Where nothing answers, reading and writing say so, with the address."""
    url = f"http://127.0.0.1:{free_port()}"
    with closing(InfluxReadings(Place(url, "seeds", pause_s=0.01))) as readings:
        with pytest.raises(StoreError, match=rf"{url} cannot be reached"):
            readings.newest("home/one")
        with pytest.raises(StoreError, match="cannot be reached"):
            readings.add([ONE], received_ms=0)


def test_a_wrong_token_and_a_missing_bucket(place: Place) -> None:
    """The engine's own refusals are understood."""
    stranger = InfluxReadings(replace(place, token="wrong"))  # noqa: S106
    with closing(stranger), pytest.raises(StoreError, match="does not accept the token"):
        stranger.add([ONE], received_ms=0)
    lost = InfluxReadings(replace(place, bucket="none"))
    with closing(lost), pytest.raises(StoreError, match="database not found"):
        lost.newest("home/one")


def test_the_engine_s_own_reason_is_passed_on(place: Place) -> None:
    """A line that somebody else's data contradict is refused with the engine's reason."""
    server = Server(place)
    with closing(server):
        server.write(["readings,sensor=home/one temp=1i 5"])
        with pytest.raises(StoreError, match="field type conflict"):
            server.write([line("home/one", 60_000, (20.0, None, None, None))])
    assert TOKEN not in repr(place)


def test_without_the_client_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """A missing extra is told with the command that installs it."""
    monkeypatch.setitem(sys.modules, "influxdb_client.client.influxdb_client", None)
    with pytest.raises(PartMissingError, match=r"pip install '\.\[influx\]'"):
        InfluxReadings(Place("http://127.0.0.1:9", "seeds")).newest("home/one")


def test_the_client_is_not_imported_unless_used() -> None:
    """Whoever keeps readings in SQLite pays nothing for InfluxDB."""
    code = "import sys, hilum.bootstrap.service; sys.exit('influxdb_client' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize("name", ["home/a b", "home/a,b=c", "home/it's", 'home/"q"', "home/é°"])
def test_names_come_back_as_they_are(place: Place, name: str) -> None:
    """Names with the signs that line protocol and InfluxQL use themselves are kept apart."""
    others = [Reading("home/a", 5, 1.0), Reading("home/it", 5, 2.0)]
    with closing(InfluxReadings(place)) as readings:
        readings.add([*others, Reading(name, 5, 20.0)], received_ms=0)
        assert readings.newest(name) == Reading(name, 5, 20.0)
        assert readings.extent(name) == (1, 5, 5)


@pytest.mark.parametrize(
    "reading",
    [replace(ONE, sensor="a\nb"), replace(ONE, sensor="a\\"), replace(ONE, time_ms=10**14)],
)
def test_what_the_engine_cannot_hold_is_refused(reading: Reading) -> None:
    """Names and times the engine would garble are refused before anything is sent."""
    with pytest.raises(InvalidInputError, match="InfluxDB"):
        InfluxReadings(Place("http://127.0.0.1:9", "seeds")).add([reading], received_ms=0)


def test_same_tiers_as_in_memory(place: Place, tmp_path: Path) -> None:
    """Two months with gaps, before and after 1970, give the summaries the memory store gives."""
    draw = np.random.default_rng(7)
    times = np.unique(draw.integers(-30 * MS_PER_DAY, 30 * MS_PER_DAY, 3000))
    given = [
        Reading(
            "home/one",
            int(t),
            *(None if draw.random() < 0.2 else float(draw.normal()) for _ in "tr"),
        )
        for t in times
    ]
    plain = MemoryStore()
    with closing(SplitStore(tmp_path / "db", InfluxReadings(place))) as split:
        for store in (plain, split):
            store.add(given, received_ms=0)
            store.refresh_tiers({"home/one": -(10**12)})
        for period in ("hours", "days"):
            for start, end in ((-(2**62), 2**62), (-MS_PER_DAY - 1, 5 * MS_PER_HOUR + 1)):
                ours = getattr(split, period)("home/one", start, end)
                theirs = getattr(plain, period)("home/one", start, end)
                for name in ("start_ms", "count", "temp_min", "temp_max", "rh_min", "rh_max"):
                    np.testing.assert_array_equal(getattr(ours, name), getattr(theirs, name))
                for name in ("temp_mean", "rh_mean"):
                    np.testing.assert_allclose(
                        getattr(ours, name), getattr(theirs, name), rtol=1e-12, atol=1e-14
                    )


class Cut(InfluxReadings):
    """Fails around the write: before it, or after the server accepted it."""

    fails = ""

    def write(self, plan: Plan) -> None:
        """Write, or fail as asked."""
        if self.fails == "before":
            raise StoreError("cut")
        super().write(plan)
        if self.fails == "after":
            raise StoreError("cut")


@pytest.mark.parametrize("fails", ["before", "after"])
def test_a_batch_that_failed_is_marked_when_it_comes_again(
    place: Place, tmp_path: Path, fails: str
) -> None:
    """An outage before or after the acceptance costs neither a reading nor a recomputation."""
    readings = Cut(place)
    with closing(SplitStore(tmp_path / "db", readings)) as store:
        readings.fails = fails
        with pytest.raises(StoreError):
            store.add([ONE], received_ms=5)
        store.clear_dirty(store.dirty())  # a ledger that ran in between may have missed it
        readings.fails = ""
        outcome = store.add([ONE], received_ms=6)
        assert (outcome.stored, outcome.duplicates) == ((1, 0) if fails == "before" else (0, 1))
        assert [(mark.sensor, mark.from_ms) for mark in store.dirty()] == [("home/one", 60_000)]
        assert store.newest("home/one") == ONE
        store.clear_dirty(store.dirty())
        assert store.dirty() == []


def test_a_mark_outlives_a_crash_after_the_acceptance(place: Place, tmp_path: Path) -> None:
    """Accepted by InfluxDB, then the process ends: the next start finds the mark."""
    readings = Cut(place)
    readings.fails = "after"
    with closing(SplitStore(tmp_path / "db", readings)) as store, pytest.raises(StoreError):
        store.add([ONE], received_ms=5)
    with closing(SplitStore(tmp_path / "db", InfluxReadings(place))) as store:
        assert store.add([ONE], received_ms=6) == AddOutcome(duplicates=1)
        (mark,) = store.dirty()
        assert mark == DirtyMark("home/one", 60_000, mark.mark)


def test_the_settings_pick_it(place: Place, tmp_path: Path) -> None:
    """With influx_url set, readings go there, and nothing of them into SQLite."""
    given = {"influx_url": place.url + "/", "influx_bucket": place.bucket, "influx_token": TOKEN}
    settings = settings_from(given, tmp_path)
    with open_store(settings) as store:
        store.add([ONE], received_ms=0)
    with closing(InfluxReadings(place)) as readings:
        assert readings.newest("home/one") == ONE
    with open_store(settings_from({}, tmp_path)) as store:
        assert store.newest("home/one") is None
        assert [sensor.name for sensor in store.sensors()] == ["home/one"]


def test_copies_go_both_ways(place: Place, tmp_path: Path) -> None:
    """History copied to InfluxDB and back is the same history, and a second copy adds nothing."""
    given = [Reading("home/one", minute * 60_000, minute / 7, 40.0) for minute in range(7000)]
    with open_store(settings_from({}, tmp_path / "a")) as store:
        store.add(given, received_ms=0)
    influx = {"influx_url": place.url, "influx_bucket": place.bucket, "influx_token": TOKEN}
    there = settings_from(influx, tmp_path / "a")
    assert copy_readings(there, to_influx=True).stored == len(given)
    assert copy_readings(there, to_influx=True).duplicates == len(given)
    back = settings_from(influx, tmp_path / "b")
    with open_store(back) as store:
        store.set_presence("home/one", online=True, received_ms=0)
    assert copy_readings(back, to_influx=False).stored == len(given)
    with open_store(settings_from({}, tmp_path / "b")) as store:
        assert [r for page in store.pages("home/one", 0, 10**12, 999) for r in page] == given
        assert [(mark.sensor, mark.from_ms) for mark in store.dirty()] == [("home/one", 0)]


def test_a_copy_needs_an_address(tmp_path: Path) -> None:
    """Without influx_url there is nothing to copy to or from, and it says so."""
    with pytest.raises(SettingsError, match="influx_url"):
        copy_readings(settings_from({}, tmp_path), to_influx=True)


def test_the_command_copies(
    place: Place,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The command says how many readings were copied, and how many differ."""
    with open_store(settings_from({}, tmp_path)) as store:
        store.add([ONE, replace(ONE, time_ms=0)], received_ms=0)
    with closing(InfluxReadings(place)) as readings:
        readings.add([replace(ONE, temp_c=21.0)], received_ms=0)
    (tmp_path / "hilum.toml").write_text(
        f'influx_url = "{place.url}"\ninflux_bucket = "{place.bucket}"\ninflux_token = "{TOKEN}"\n',
        encoding="utf-8",
    )
    words = ["hilum", "readings", "copy", "--to", "influx", "--data-dir", str(tmp_path)]
    monkeypatch.setattr("sys.argv", words)
    with suppress(SystemExit):
        run()
    said = capsys.readouterr()
    assert said.out.splitlines() == [
        "1 readings copied, 0 were there already.",
        "1 had another value than the one there; that one stays.",
    ]
    assert "Copying home/one" in said.err


def test_nothing_is_confirmed_while_influxdb_is_away(place: Place, tmp_path: Path) -> None:
    """The ingest holds its batch through an outage, confirms it after, and all of it is kept."""
    readings = Cut(place)
    readings.fails = "after"
    confirmed: list[tuple[int, int]] = []
    settings = IngestSettings(retry_s=0.02, retry_max_s=0.05, linger_s=0.01)
    inbox = Inbox(100, 100_000)
    with closing(SplitStore(tmp_path / "db", readings)) as store:
        pump = Pump(
            store,
            Decoder(Router(()), lambda _: True),
            inbox,
            settings,
            now_ms=lambda: NOW_MS,
            acknowledge=confirmed.extend,
            on_stored=lambda _: None,
            on_idle=lambda: None,
        )
        pump.start()
        try:
            for number in range(20):
                pack = [{"n": "temperature", "u": "Cel", "v": 20.5, "t": NOW_MS // 1000 - number}]
                payload = json.dumps(pack).encode()
                topic = "hilum/home/one/readings"
                inbox.put(Message(topic, payload, NOW_MS, ticket=(0, number)))
            assert wait_until(lambda: bool(pump.counts.last_error))
            assert confirmed == []
            assert "Readings wait" in pump.counts.last_error
            readings.fails = ""
            assert wait_until(lambda: len(confirmed) == 20)
        finally:
            pump.stop(10)
        assert store.extent("home/one") == (20, NOW_MS - 19_000, NOW_MS)
        assert [mark.from_ms for mark in store.dirty()] == [NOW_MS - 19_000]


def test_sensors_only_influxdb_knows_become_known(place: Place, tmp_path: Path) -> None:
    """A site that begins to listen learns of the sensors of its own that workers stored before."""
    with closing(InfluxReadings(place)) as readings:
        assert readings.sensors() == []
        readings.add([ONE, replace(ONE, sensor="far/one"), replace(ONE, sensor="home/é 1")], 0)
    with closing(SplitStore(tmp_path / "db", InfluxReadings(place))) as store:
        store.hears("home")
        assert [sensor.name for sensor in store.sensors()] == ["home/one", "home/é 1"]
        assert [mark.from_ms for mark in store.dirty()] == [0, 0]
