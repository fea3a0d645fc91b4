"""What only the SQLite store promises: durability, one server, migrations, errors in words."""

import os
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from hilum.domain.errors import InvalidInputError, NewerSchemaError, NotFoundError, StoreError
from hilum.domain.model import Box, BoxType, CurveKey, Lot, Placement, Reading, Role, Stay, Wrap
from hilum.stores.sqlite import SqliteStore, errors, migrations
from hilum.stores.sqlite.database import connect

END = 10**14


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A place for a database, with signs that have a meaning in addresses."""
    folder = tmp_path / "seed #1 ä?%41"
    folder.mkdir()
    return folder / "hilum.db"


@pytest.fixture
def store(path: Path) -> Iterator[SqliteStore]:
    """An empty store."""
    with closing(SqliteStore(path)) as made:
        yield made


def some(start: int, count: int = 3, sensor: str = "home/one") -> list[Reading]:
    """Make readings a minute apart."""
    return [Reading(sensor, minute * 60_000, 20.0) for minute in range(start, start + count)]


# Durability


def test_connection_settings(store: SqliteStore) -> None:
    """The write connection syncs every commit to a write-ahead log and watches references."""
    pragmas = ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
    found = store._db.write(lambda c: [c.execute(f"PRAGMA {p}").fetchone()[0] for p in pragmas])
    assert found == ["wal", 2, 1, 30_000]  # 2: FULL, https://www.sqlite.org/pragma.html


def test_what_was_kept_is_there_after_reopening(path: Path) -> None:
    """A store opened again gives what the one before kept."""
    with closing(SqliteStore(path)) as store:
        store.add(some(0), received_ms=5)
    with closing(SqliteStore(path)) as store:
        assert store.extent("home/one") == (3, 0, 120_000)
        assert store.check_integrity() == []


ADD_FOREVER = """
import sys
from hilum.domain.model import Reading
from hilum.stores.sqlite import SqliteStore
store = SqliteStore(sys.argv[1])
for batch in range(100_000):
    store.add([Reading("home/one", batch * 1000 + i, 20.0) for i in range(50)], received_ms=batch)
    print(batch, flush=True)
"""


@pytest.mark.parametrize("batches", [1, 17, 60])
def test_killed_process_loses_nothing_that_was_committed(path: Path, batches: int) -> None:
    """After kill -9 every batch whose add returned is whole, and no batch is there in part."""
    command = [sys.executable, "-c", ADD_FOREVER, str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        said = [int(process.stdout.readline()) for _ in range(batches)]
        process.send_signal(signal.SIGKILL)
        said += [int(line) for line in process.stdout.read().splitlines()]
    with closing(SqliteStore(path)) as store:
        kept = [time_ms // 1000 for time_ms in store.series("home/one", 0, END).time_ms.tolist()]
        assert set(said) <= set(kept)
        assert all(kept.count(batch) == 50 for batch in set(kept))
        assert store.sensor("home/one").last_seen_ms == max(kept)
        assert [mark.from_ms for mark in store.dirty()] == [0]
        assert store.check_integrity() == []


def test_failed_job_is_rolled_back_whole(store: SqliteStore) -> None:
    """What a job wrote before it failed is gone, and the writer goes on working."""

    def job(conn: sqlite3.Connection) -> None:
        conn.execute("INSERT INTO sensor (name, first_seen_ms) VALUES ('home/one', 0)")
        raise NotFoundError("Stop here.")

    with pytest.raises(NotFoundError, match="Stop here"):
        store._db.write(job)
    assert store.sensors() == []
    store.add(some(0), received_ms=0)


# Threads


def test_writes_happen_in_one_named_thread(store: SqliteStore) -> None:
    """All writes run in the thread called hilum-writer, whoever asks; it ends on closing."""
    names = [store._db.write(lambda _: threading.current_thread().name) for _ in range(3)]
    assert names == ["hilum-writer"] * 3
    store.close()
    assert "hilum-writer" not in {thread.name for thread in threading.enumerate()}


def test_readers_see_whole_batches_while_writing(store: SqliteStore) -> None:
    """Readers in other threads never see a part of a batch, and are not kept waiting for ever."""
    counts: list[list[int]] = [[], [], []]
    done = threading.Event()

    def look(seen: list[int]) -> None:
        while not done.is_set():
            seen.append(len(store.series("home/one", 0, END)))

    readers = [threading.Thread(target=look, args=(seen,)) for seen in counts]
    for reader in readers:
        reader.start()
    for batch in range(30):
        store.add(some(batch * 40, 40), received_ms=0)
    done.set()
    for reader in readers:
        reader.join()
    for seen in counts:
        assert seen == sorted(seen)
        assert {count % 40 for count in seen} <= {0}
    assert store.extent("home/one") == (1200, 0, 1199 * 60_000)


def test_many_threads_may_write(store: SqliteStore) -> None:
    """Writes from many threads at once are all kept."""
    names = [f"home/{i}" for i in range(8)]
    threads = [
        threading.Thread(target=lambda n=name: [store.add(some(i, 1, n), 0) for i in range(20)])
        for name in names
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [store.extent(name) for name in names] == [(20, 0, 19 * 60_000)] * 8


# Who may open


def test_second_server_is_refused_in_words(path: Path, store: SqliteStore) -> None:
    """A second store for serving is refused, naming the process that holds the first."""
    with pytest.raises(StoreError, match=f"in use by process {os.getpid()}, since 2"):
        SqliteStore(path)
    store.close()
    SqliteStore(path).close()


def test_killed_server_leaves_no_lock(path: Path) -> None:
    """The lock of a killed process is no obstacle."""
    command = [sys.executable, "-c", ADD_FOREVER, str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        with pytest.raises(StoreError, match=f"in use by process {process.pid}"):
            SqliteStore(path)
        process.kill()
    SqliteStore(path).close()


def test_command_may_write_while_serving(path: Path, store: SqliteStore) -> None:
    """A store that is not exclusive writes beside the serving one; each sees the other's work."""
    with closing(SqliteStore(path, exclusive=False)) as command:
        command.save_lot(Lot("A1", "sweet-corn"))
        store.add(some(0), received_ms=0)
        assert store.lot("A1") == command.lots()[0]
        assert command.extent("home/one") == (3, 0, 120_000)


def test_two_processes_write_at_once(path: Path, store: SqliteStore) -> None:
    """Writers in two processes take turns; nothing of either is lost."""
    script = ADD_FOREVER.replace("sys.argv[1])", "sys.argv[1], exclusive=False)")
    script = script.replace("100_000", "40").replace("home/one", "home/two")
    with subprocess.Popen(
        [sys.executable, "-c", script, str(path)], stdout=subprocess.DEVNULL
    ) as p:
        for start in range(0, 4000, 50):
            store.add(some(start, 50), received_ms=0)
        assert p.wait() == 0
    extents = [store.extent(name) for name in ("home/one", "home/two")]
    assert extents == [(4000, 0, 3999 * 60_000), (2000, 0, 39_049)]


def test_readonly_store_reads_beside_the_server(path: Path, store: SqliteStore) -> None:
    """A store opened for reading sees what the serving one keeps, and refuses to write."""
    store.add(some(0), received_ms=0)
    with closing(SqliteStore.open_readonly(path)) as reader:
        assert reader.extent("home/one") == (3, 0, 120_000)
        assert reader.check_integrity() == []
        with pytest.raises(StoreError, match="opened for reading only"):
            reader.save_lot(Lot("A1", "sweet-corn"))
        store.add(some(3), received_ms=0)
        assert reader.extent("home/one") == (6, 0, 300_000)


def test_readonly_store_makes_no_database(path: Path) -> None:
    """Opening for reading what is not there is an error, and leaves nothing behind."""
    with pytest.raises(StoreError, match="There is no database at"):
        SqliteStore.open_readonly(path)
    assert list(path.parent.iterdir()) == []


# Migrations


def steps(path: Path) -> list[str]:
    """Names of the steps recorded in a database."""
    with closing(connect(path, readonly=True)) as conn:
        return migrations.applied(conn)


def test_migrations_are_recorded_once(path: Path) -> None:
    """A new database has had every step, in order, with its time; opening again adds none."""
    for _ in range(2):
        SqliteStore(path).close()
        assert steps(path) == list(migrations.MIGRATIONS)
    with closing(connect(path, readonly=True)) as conn:
        assert migrations.pending(conn) == {}
        assert all(ms > 0 for (ms,) in conn.execute("SELECT applied_ms FROM migration"))


def test_migration_that_fails_leaves_nothing(path: Path) -> None:
    """A step is applied whole or not at all; those before it stay."""

    def good(conn: sqlite3.Connection) -> None:
        conn.execute("CREATE TABLE good (a)")

    def bad(conn: sqlite3.Connection) -> None:
        conn.execute("CREATE TABLE half (a)")
        conn.execute("no such words")

    with closing(connect(path, readonly=False)) as conn:
        with pytest.raises(sqlite3.OperationalError):
            migrations.migrate(conn, {"1 good": good, "2 bad": bad})
        assert migrations.applied(conn) == ["1 good"]
        tables = {name for (name,) in conn.execute("SELECT name FROM sqlite_schema")}
        assert "half" not in tables
        assert list(migrations.pending(conn, {"1 good": good, "2 bad": bad})) == ["2 bad"]


def test_pending_and_applied_never_write(path: Path) -> None:
    """Asking what a database has had works on a connection that cannot write."""
    connect(path, readonly=False).close()
    with closing(connect(path, readonly=True)) as conn:
        assert migrations.applied(conn) == []
        assert migrations.pending(conn) == migrations.MIGRATIONS


def test_newer_database_is_refused(path: Path) -> None:
    """A database that has had an unknown step is refused, whichever way it is opened."""
    SqliteStore(path).close()
    with closing(connect(path, readonly=False)) as conn:
        conn.execute("INSERT INTO migration VALUES ('9999 later', 1)")
    for attempt in (SqliteStore, SqliteStore.open_readonly):
        with pytest.raises(NewerSchemaError, match=r"newer Hilum .*“9999 later”"):
            attempt(path)


def test_older_database_is_not_touched_for_reading(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A database that needs a step is refused for reading, and brought up to date for writing."""
    SqliteStore(path).close()
    later = {**migrations.MIGRATIONS, "9999 test": lambda c: c.execute("CREATE TABLE later (a)")}
    monkeypatch.setattr(migrations.pending, "__defaults__", (later,))
    monkeypatch.setattr(migrations.migrate, "__defaults__", (later,))
    with pytest.raises(StoreError, match="written by an older Hilum"):
        SqliteStore.open_readonly(path)
    SqliteStore(path, exclusive=False).close()
    assert steps(path) == list(later)


def test_command_does_not_migrate_under_a_server(
    path: Path, store: SqliteStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While a service runs, no command changes the tables under its feet."""
    later = {**migrations.MIGRATIONS, "9999 test": lambda _: None}
    monkeypatch.setattr(migrations.pending, "__defaults__", (later,))
    monkeypatch.setattr("hilum.stores.sqlite.store.BUSY_S", 0.0)
    with pytest.raises(StoreError, match="in use by process"):
        SqliteStore(path, exclusive=False)
    assert store.lots() == []
    assert steps(path) == list(migrations.MIGRATIONS)


# Errors in words


def test_every_result_code_has_words(path: Path) -> None:
    """Each error of SQLite becomes a StoreError with a sentence and SQLite's own words."""
    codes = {
        sqlite3.SQLITE_FULL: "disk is full",
        sqlite3.SQLITE_READONLY: "may not be written",
        sqlite3.SQLITE_READONLY_DBMOVED: "may not be written",
        sqlite3.SQLITE_CORRUPT: "damaged",
        sqlite3.SQLITE_CORRUPT_INDEX: "damaged",
        sqlite3.SQLITE_NOTADB: "not a database",
        sqlite3.SQLITE_CANTOPEN: "cannot be opened",
        sqlite3.SQLITE_BUSY: "writing .* for too long",
        sqlite3.SQLITE_BUSY_SNAPSHOT: "writing .* for too long",
        sqlite3.SQLITE_IOERR_READ: "disk failed",
        sqlite3.SQLITE_MISUSE: "cannot do this",
        None: "cannot do this",
    }
    for code, words in codes.items():
        error = sqlite3.OperationalError("own words")
        if code is not None:
            error.sqlite_errorcode = code
        with pytest.raises(StoreError, match=rf"{words}.*\(own words\)") as caught:  # noqa: SIM117
            with errors.translated(path):
                raise error
        assert caught.value.__cause__ is error
        assert str(path) in str(caught.value)


def test_every_error_class_of_sqlite_is_translated(path: Path) -> None:
    """Whatever sqlite3 can raise comes out as an error of ours."""
    found = [e for e in vars(sqlite3).values() if isinstance(e, type) and issubclass(e, Exception)]
    classes = [error for error in found if issubclass(error, sqlite3.Error)]
    assert len(classes) >= 9  # PEP 249 names nine besides Warning
    for error in classes:
        with pytest.raises(StoreError), errors.translated(path):
            raise error("own words")


def test_full_disk_is_said_and_survived(store: SqliteStore) -> None:
    """When the file may not grow, the batch is refused whole; with room again, all goes on."""
    store.add(some(0), received_ms=0)
    limit = store._db.write(lambda c: c.execute("PRAGMA max_page_count").fetchone()[0])
    store._db.write(lambda c: c.execute("PRAGMA max_page_count = 1").fetchone())
    with pytest.raises(StoreError, match="disk is full"):
        store.add(some(10, 20_000), received_ms=0)
    assert store.extent("home/one") == (3, 0, 120_000)
    store._db.write(lambda c: c.execute(f"PRAGMA max_page_count = {limit}").fetchone())
    assert store.add(some(10), received_ms=0).stored == 3


def test_what_is_no_database_is_refused_and_left_alone(path: Path) -> None:
    """A text file, and another program's database, are refused and not changed."""
    path.write_text("My seeds, a list of them that is long enough to be read as a page.\n" * 9)
    for attempt in (SqliteStore, SqliteStore.open_readonly):
        with pytest.raises(StoreError, match="not a database"):
            attempt(path)
    path.unlink()
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE recipe (name)")
    before = path.read_bytes()
    with pytest.raises(StoreError, match="not one of Hilum's"):
        SqliteStore(path)
    assert path.read_bytes() == before


def test_missing_folder_is_said(tmp_path: Path) -> None:
    """A database in a folder that is not there cannot be opened, and the folder is named."""
    for exclusive in (True, False):
        with pytest.raises(StoreError, match=r"no folder/.*cannot be opened.*folder exists"):
            SqliteStore(tmp_path / "no folder" / "hilum.db", exclusive=exclusive)


def test_texts_and_numbers_that_cannot_be_kept(store: SqliteStore) -> None:
    """Unpaired surrogates and endless integers are refused as input, not as a broken database."""
    with pytest.raises(InvalidInputError, match="characters"):
        store.save_lot(Lot("A\ud800", "sweet-corn"))
    with pytest.raises(InvalidInputError, match="too large"):
        store.add([Reading("home/one", 2**70, 20.0)], received_ms=0)


# Looking after the file


def test_check_finds_damage(path: Path) -> None:
    """Pages overwritten with rubbish are found and said."""
    with closing(SqliteStore(path)) as store:
        store.add(some(0, 5000), received_ms=0)
    with path.open("r+b") as file:
        file.seek(-4096 * 20, os.SEEK_END)
        file.write(b"rubbish!" * 512 * 4)
    with closing(SqliteStore.open_readonly(path)) as store:
        assert any("damaged" in problem for problem in store.check_integrity())


DISORDER = {
    "DELETE FROM box WHERE slug = 'tub'": "refers to a box that is not there",
    "UPDATE sensor SET readings = 9": "should have 9 readings but has 3",
    "UPDATE reading SET temp_c = NULL": "3 readings that say nothing",
    "INSERT INTO placement VALUES (7, 'home/one', 'tub', 'outside', 5, NULL)": "two places",
    "INSERT INTO placement VALUES (7, 'home/two', 'tub', 'inside', 5, NULL)": "two inside",
    "INSERT INTO stay VALUES (7, 'A1', 'tub', 'foil', 0, 9, NULL)": "two boxes",
    "INSERT INTO ledger SELECT 1, v, v, 0, 0, 0, -v, 0, 0, 0, 0, 0 FROM"
    " (SELECT 1 AS v UNION SELECT 2)": "loss shrinks",
}


@pytest.mark.parametrize("damage", DISORDER)
def test_check_finds_disorder(store: SqliteStore, damage: str) -> None:
    """What the rules would have refused is found when it got into the file some other way."""
    store.save_box(Box("tub", "Tub", BoxType.TUB))
    store.save_lot(Lot("A1", "sweet-corn"))
    store.add(some(0), received_ms=0)
    store.set_presence("home/two", online=True, received_ms=0)
    store.add_placement(Placement(0, "home/one", "tub", Role.INSIDE, 0))
    store.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, 5))
    store.add_curves([CurveKey("tub", "model", Wrap.PAPER)])
    assert store.check_integrity() == []
    with closing(sqlite3.connect(store._db.path)) as conn, conn:
        conn.execute(damage)
    problems = store.check_integrity()
    assert any(DISORDER[damage] in problem for problem in problems)


def test_backup_is_a_whole_database(path: Path, store: SqliteStore) -> None:
    """A backup taken while serving opens like the original and replaces no file."""
    store.add(some(0), received_ms=0)
    target = path.with_name("copy.db")
    store.backup(target)
    store.add(some(3), received_ms=0)
    with pytest.raises(StoreError, match="replaces nothing"):
        store.backup(target)
    with closing(SqliteStore.open_readonly(target)) as copy:
        assert copy.extent("home/one") == (3, 0, 120_000)
    with closing(SqliteStore(target)) as copy:
        assert copy.check_integrity() == []
