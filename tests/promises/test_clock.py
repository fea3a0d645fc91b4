"""A machine that does not know the time, and one whose clock is set anew while it runs."""

import json
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from hilum.domain.model import Reading
from hilum.ingest import (
    BrokerSettings,
    Ingest,
    IngestSettings,
    machineclock,
    mqtt,
    pump,
    rounds,
)
from hilum.stores.sqlite import SqliteStore
from plugins.mosquitto import USERS, Broker
from plugins.sensors import Message, Sensors, senml, wait_until
from promises.truth import FAR_MS, START_MS, add_boxes, check_derived

pytestmark = pytest.mark.mosquitto
HOUR_MS = 3_600_000
MINUTE_MS = 60_000
OWN_CLOCK, NO_CLOCK = "home/one", "home/two"


class Clock:
    """A clock that is set by the test."""

    time_ms = 12_000  # 1970: a small computer after a power cut

    def now_ms(self) -> int:
        """Give the time that was set."""
        return self.time_ms


@contextmanager
def listening(broker: Broker, store: SqliteStore, clock: Clock) -> Iterator[Ingest]:
    """Run an ingest with this clock."""
    link = BrokerSettings(port=broker.port, username="hilum", password=USERS["hilum"])
    settings = IngestSettings(broker=link, retry_s=0.02, retry_max_s=1)
    ingest = Ingest(store, settings, clock, lambda _: None)
    ingest.start()
    try:
        assert wait_until(lambda: ingest.status().connected)
        yield ingest
    finally:
        ingest.stop()


def timed(minute: int) -> Message:
    """Give a message of the sensor that knows the time."""
    return f"hilum/{OWN_CLOCK}/readings", senml(START_MS + minute * MINUTE_MS, 15.0, 40 + minute)


def untimed(rh_pct: float) -> Message:
    """Give a message of the sensor that does not."""
    pack = [
        {"n": "temperature", "u": "Cel", "v": 15.0},
        {"n": "humidity", "u": "%RH", "v": rh_pct},
    ]
    return f"hilum/{NO_CLOCK}/readings", json.dumps(pack).encode()


def kept(store: SqliteStore, sensor: str) -> dict[float | None, int]:
    """Times of a sensor's readings by their humidity."""
    pages = store.pages(sensor, 0, FAR_MS, 1000)
    found: list[Reading] = [reading for page in pages for reading in page]
    return {reading.rh_pct: reading.time_ms for reading in found}


@pytest.fixture
def send(broker: Broker) -> Iterator[Callable[..., None]]:
    """Send messages and wait until the broker has them."""
    with Sensors(broker.port) as sensors:

        def send_all(*messages: Message) -> None:
            sensors.send(messages)
            sensors.settle()

        yield send_all


def test_readings_wait_until_the_machine_knows_the_time(
    broker: Broker, tmp_path: Path, send: Callable[..., None]
) -> None:
    """In 1970 nothing is dated, refused or confirmed; with the time set all is kept, rightly."""
    clock = Clock()
    with closing(SqliteStore(tmp_path / "hilum.sqlite3")) as store:
        with listening(broker, store, clock) as ingest:
            send(timed(0), timed(1), untimed(30), untimed(31))
            assert wait_until(lambda: "does not know the time" in ingest.status().last_error)
            assert ingest.status().stored == 0
        # stopped before it knew: nothing was confirmed, so the broker sends it all again
        assert store.sensors() == []
        assert store.rejects() == []
        with listening(broker, store, clock) as ingest:
            assert wait_until(lambda: "does not know the time" in ingest.status().last_error)
            clock.time_ms = START_MS + HOUR_MS
            assert wait_until(lambda: ingest.status().stored == 4)
            assert wait_until(lambda: not ingest.status().last_error)
        assert store.rejects() == []
        assert kept(store, OWN_CLOCK) == {40: START_MS, 41: START_MS + MINUTE_MS}
        arrived = kept(store, NO_CLOCK)
        assert set(arrived) == {30, 31}
        assert all(-60_000 < t - clock.time_ms < 10 for t in arrived.values())


@pytest.mark.parametrize("step_ms", [-11 * 365 * 24 * HOUR_MS, -2 * HOUR_MS, 2 * HOUR_MS])
def test_a_clock_that_is_set_anew(
    broker: Broker, tmp_path: Path, send: Callable[..., None], step_ms: int
) -> None:
    """After a step of the clock arrivals go by the new time, and the ledger is as rebuilt.

    What came while the clock was wrong keeps the time it was given.
    """
    clock = Clock()
    clock.time_ms = wrong_ms = START_MS + 24 * HOUR_MS - step_ms
    with closing(SqliteStore(tmp_path / "hilum.sqlite3")) as store:
        add_boxes(store, {NO_CLOCK: "tub"})
        with listening(broker, store, clock) as ingest:
            send(untimed(30))
            assert wait_until(lambda: ingest.status().stored == 1)
            clock.time_ms += step_ms
            for minute in range(3):
                clock.time_ms += MINUTE_MS
                send(untimed(31 + minute))
                assert wait_until(lambda n=minute: ingest.status().stored == 2 + n)  # type: ignore[misc]
        right_ms = START_MS + 24 * HOUR_MS
        assert kept(store, NO_CLOCK) == {
            30: wrong_ms,
            **{31 + minute: right_ms + (1 + minute) * MINUTE_MS for minute in range(3)},
        }
        assert store.check_integrity() == []
        check_derived(store)


@pytest.fixture
def just_started(monkeypatch: pytest.MonkeyPatch) -> Callable[[float], None]:
    """Let the machine have started when the test began; gives what lets time pass."""
    passed = [machineclock.since_boot_s()]
    begin = passed[0]

    def since() -> float:
        return machineclock.since_boot_s() - begin + passed[0]

    passed[0] = 60.0
    monkeypatch.setattr(pump, "since_boot_s", since)
    monkeypatch.setattr(mqtt, "since_boot_s", since)

    def wait(seconds: float) -> None:
        passed[0] += seconds

    return wait


@pytest.mark.usefixtures("just_started")
def test_a_machine_that_wakes_with_an_old_time_loses_nothing(
    broker: Broker, tmp_path: Path, send: Callable[..., None]
) -> None:
    """Three hours slow after a power cut: readings wait until it is told the time.

    What came meanwhile from a sensor without a clock is dated by the true time.
    """
    clock = Clock()
    clock.time_ms = START_MS + 24 * HOUR_MS
    true_ms = clock.time_ms + 3 * HOUR_MS
    late = [
        (f"hilum/{OWN_CLOCK}/readings", senml(true_ms - m * MINUTE_MS, 15, 40 + m)) for m in (2, 1)
    ]
    with closing(SqliteStore(tmp_path / "hilum.sqlite3")) as store:
        with listening(broker, store, clock) as ingest:
            send(late[0], untimed(30), late[1])
            assert wait_until(lambda: "waits to be told the time" in ingest.status().last_error)
            assert ingest.status().stored == 0
            clock.time_ms = true_ms
            assert wait_until(lambda: ingest.status().stored == 3)
            assert wait_until(lambda: not ingest.status().last_error)
        assert store.rejects() == []
        assert set(kept(store, OWN_CLOCK).values()) == {true_ms - m * MINUTE_MS for m in (1, 2)}
        assert kept(store, NO_CLOCK)[30] == pytest.approx(true_ms, abs=10_000)


def test_a_sensor_that_is_fast_holds_nobody_up_for_long(
    broker: Broker,
    tmp_path: Path,
    send: Callable[..., None],
    just_started: Callable[[float], None],
) -> None:
    """A quarter of an hour after the start it is set aside, and both clocks are named."""
    clock = Clock()
    clock.time_ms = START_MS
    with closing(SqliteStore(tmp_path / "hilum.sqlite3")) as store:
        with listening(broker, store, clock) as ingest:
            send(timed(24 * 60), untimed(30))
            assert wait_until(lambda: "waits to be told the time" in ingest.status().last_error)
            just_started(900)
            assert wait_until(lambda: ingest.status().stored == 1)
        [reject] = store.rejects()
    assert "2025-01-02 00:00 UTC, which lies in the future" in reject.detail
    assert "the clock of this machine is slow: it said 2025-01-01 00:00 UTC" in reject.detail


def test_what_was_set_aside_is_kept_once_the_clock_is_put_right(
    broker: Broker, tmp_path: Path, send: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A clock that was slow for long: readings come back, those of a fast sensor do not."""
    monkeypatch.setattr(rounds, "EVERY_S", 0.1)
    clock = Clock()
    clock.time_ms = START_MS
    far = (f"hilum/{NO_CLOCK}/readings", senml(START_MS + 99 * HOUR_MS, 15, 40))

    def late(minute: int) -> Message:
        time_ms = START_MS + (180 + minute) * MINUTE_MS
        return f"hilum/{OWN_CLOCK}/readings", senml(time_ms, 15, 40 + minute)

    with closing(SqliteStore(tmp_path / "hilum.sqlite3")) as store:
        add_boxes(store, {OWN_CLOCK: "tub"})
        with listening(broker, store, clock) as ingest:
            send(*map(late, range(5)), far)
            assert wait_until(lambda: ingest.status().rejected == 6)
            assert store.extent(OWN_CLOCK) is None
            clock.time_ms += 3 * HOUR_MS + 5 * MINUTE_MS
            assert wait_until(lambda: store.extent(OWN_CLOCK) is not None)
            send(late(5))
            assert wait_until(lambda: ingest.status().stored == 1)
        times = sorted(kept(store, OWN_CLOCK).values())
        assert times == [START_MS + (180 + minute) * MINUTE_MS for minute in range(6)]
        assert store.extent(NO_CLOCK) is None
        check_derived(store)


def test_a_small_step_back_keeps_the_order(
    broker: Broker, tmp_path: Path, send: Callable[..., None]
) -> None:
    """When the clock goes back by seconds, as time servers do, later readings stay later."""
    clock = Clock()
    clock.time_ms = START_MS + HOUR_MS
    with closing(SqliteStore(tmp_path / "hilum.sqlite3")) as store:
        with listening(broker, store, clock) as ingest:
            send(untimed(30))
            assert wait_until(lambda: ingest.status().stored == 1)
            clock.time_ms -= 20_000
            send(untimed(31))
            assert wait_until(lambda: ingest.status().stored == 2)
        assert list(kept(store, NO_CLOCK)) == [30, 31]
