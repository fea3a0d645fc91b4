"""A disk that is full, fails, is slow, or may not be written: what was kept stays kept."""

import errno
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from hilum.domain.errors import StoreError
from hilum.domain.model import Reading
from hilum.stores.sqlite import SqliteStore
from ingest.no_loss import message, reading
from plugins.faults import Environment
from plugins.mosquitto import MEMORY, Broker
from plugins.sensors import Sensors, wait_until
from promises.running import Running
from promises.test_crashes import kept
from promises.truth import check_derived

DAY = Path(__file__).with_name("day.py")
NAME = "hilum.sqlite3"
SAMPLE = 20
MANY = 3_000  # messages: more than the small disk takes
CASES = [
    pytest.param(errno.EIO, "on", 1, id="one error"),
    pytest.param(errno.EIO, "die", 1, id="one error, then a crash"),
    pytest.param(errno.ENOSPC, "on", 40, id="full for a while"),
    pytest.param(errno.ENOSPC, "die", 40, id="full, then a crash"),
]

Live = Callable[..., list[str]]


@pytest.fixture
def live(faulty: Environment) -> Iterator[Live]:
    """Run the scripted day; gives what it printed."""
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as place:

        def run(*words: object) -> list[str]:
            folder = tempfile.mkdtemp(dir=place)
            env = faulty(NAME, PYTHONPATH=str(DAY.parents[1]))
            done = subprocess.run(
                [sys.executable, str(DAY), folder, *map(str, words)],
                env=env,
                capture_output=True,
                text=True,
                check=False,
            )
            assert done.returncode == 0, done.stderr[-3000:]
            return done.stdout.splitlines()

        yield run


def go_through(live: Live, error: int, mode: str, length: int, every: int) -> None:
    """Let the day's calls to the disk fail, each in its turn."""
    calls = int(live(error, mode, length)[-1])
    assert calls > 500
    wanted = range(1, calls + 1, max(every, 1)) if every else range(1, calls, calls // SAMPLE)
    lines = [line.split() for line in live(error, mode, length, *wanted)]
    assert [int(call) for call, _ in lines] == list(wanted)
    # what fails while the database is closed, or the log tidied, is made up for: nobody is told
    assert sum(int(refused) > 0 for _, refused in lines) > len(lines) / 2


@pytest.mark.parametrize(("error", "mode", "length"), CASES)
def test_failing_calls(live: Live, error: int, mode: str, length: int) -> None:
    """Some twenty of a day's writes and syncs fail: nothing kept is lost, all is said in words."""
    go_through(live, error, mode, length, every=0)


@pytest.mark.slow
@pytest.mark.parametrize(("error", "mode", "length"), CASES)
def test_every_failing_call(live: Live, error: int, mode: str, length: int) -> None:
    """The same for every single write and sync of the day."""
    go_through(live, error, mode, length, every=1)


@pytest.mark.mosquitto
def test_full_disk_under_the_service(
    broker: Broker, small_disk: tuple[Path, Callable[[str], None]]
) -> None:
    """While the disk is full the service says so and readings wait; with room all are kept."""
    place, mount = small_disk
    database = place / NAME
    with Running(broker.port, database) as running, Sensors(broker.port) as sensors:
        running.start()
        running.wait_for("listening")
        sensors.send(map(message, range(MANY)))
        sensors.settle(60)
        running.wait_for("The disk is full", 60)
        before = kept(database)
        assert 0 < len(before) < MANY
        running.kill()
        assert set(before) <= set(kept(database))
        mount("size=64m")
        running.start()
        assert wait_until(lambda: len(kept(database)) == MANY, 60)
        running.stop()
    assert set(kept(database)) == {reading(index) for index in range(MANY)}
    with closing(SqliteStore(database)) as store:
        assert store.check_integrity() == []


@pytest.mark.mosquitto
def test_full_disk_that_gets_room_while_the_service_runs(
    broker: Broker, small_disk: tuple[Path, Callable[[str], None]]
) -> None:
    """Nobody has to start the service again."""
    place, mount = small_disk
    database = place / NAME
    with Running(broker.port, database) as running, Sensors(broker.port) as sensors:
        running.start()
        running.wait_for("listening")
        sensors.send(map(message, range(MANY)))
        running.wait_for("The disk is full", 60)
        mount("size=64m")
        sensors.settle(60)
        assert wait_until(lambda: len(kept(database)) == MANY, 60)
        running.stop()
    assert set(kept(database)) == {reading(index) for index in range(MANY)}
    with closing(SqliteStore(database)) as store:
        check_derived(store)


@pytest.mark.mosquitto
def test_slow_disk(broker: Broker, tmp_path: Path, faulty: Environment) -> None:
    """With a fifth of a second for each sync all readings are kept, once, and it stops well."""
    database = tmp_path / NAME
    env = faulty(NAME, FAULTS_SYNC_MS="200")
    with Running(broker.port, database, env) as running, Sensors(broker.port) as sensors:
        running.start()
        running.wait_for("listening", 60)
        sensors.send(map(message, range(3000)))
        sensors.settle(60)
        assert wait_until(lambda: len(kept(database)) == 3000, 60)
        running.stop()
    assert set(kept(database)) == {reading(index) for index in range(3000)}


def test_read_only_disk_is_said(small_disk: tuple[Path, Callable[[str], None]]) -> None:
    """Opening a database on a disk that may not be written is refused in words; nothing changes."""
    place, mount = small_disk
    database = place / NAME
    with closing(SqliteStore(database)) as store:
        store.add([Reading("home/one", 0, 20.0)], received_ms=0)
    before = database.read_bytes()
    mount("ro")
    for exclusive in (True, False):
        with pytest.raises(StoreError, match=r"read-only|may not be written|cannot be opened"):
            SqliteStore(database, exclusive=exclusive)
    mount("rw")
    assert database.read_bytes() == before
    with closing(SqliteStore(database)) as store:
        assert store.extent("home/one") == (1, 0, 0)


def damage(path: Path) -> None:
    """Overwrite pages in the middle with rubbish."""
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(size // 2 // 4096 * 4096)
        file.write(os.urandom(4096) * 8)


def test_damaged_pages_are_said(tmp_path: Path) -> None:
    """Reading through damaged pages ends in a sentence that says what to do, never in numbers."""
    database = tmp_path / NAME
    with closing(SqliteStore(database)) as store:
        for start in range(0, 20_000, 5000):
            store.add(
                [Reading("home/one", m * 60_000, 20.0) for m in range(start, start + 5000)], 0
            )
    damage(database)
    with closing(SqliteStore(database)) as store:
        assert any("damaged" in problem for problem in store.check_integrity())
        with pytest.raises(StoreError, match=r"is damaged\. Stop Hilum, keep a copy .* backup"):
            store.series("home/one", 0, 2**53)
