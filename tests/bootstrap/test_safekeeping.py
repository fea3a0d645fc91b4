"""Backups: whole, verified, named by time, a number kept, and brought back."""

import os
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from hilum.bootstrap.safekeeping import REST_S, backup, restore
from hilum.config import Settings, settings_from
from hilum.domain.access import Scope
from hilum.domain.errors import ConflictError, InvalidInputError, NewerSchemaError, StoreError
from hilum.domain.model import Lot, Reading
from hilum.keeping.access import begin_session, give, session_holds
from hilum.stores.sqlite import SqliteStore, migrations
from hilum.stores.sqlite.database import connect

NOON_MS = 1_772_366_400_000  # 2026-03-01T12:00:00Z


class Clock:
    """A clock that goes on by a second each time it is looked at."""

    def __init__(self, now_ms: int = NOON_MS) -> None:
        self.time_ms = now_ms

    def now_ms(self) -> int:
        """Give the time."""
        self.time_ms += 1000
        return self.time_ms - 1000


def some(start: int, count: int = 3) -> list[Reading]:
    """Make readings a minute apart."""
    return [Reading("home/one", minute * 60_000, 20.0) for minute in range(start, start + count)]


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """A place with a few readings and a lot."""
    (tmp_path / "data").mkdir()
    found = settings_from({}, tmp_path / "data")
    with closing(SqliteStore(found.database)) as store:
        store.add(some(0, 500), received_ms=0)
        store.save_lot(Lot("A1", "sweet-corn"))
    return found


def elsewhere(tmp_path: Path) -> Settings:
    """Another place, with nothing in it."""
    return settings_from({}, tmp_path / "elsewhere")


def test_a_backup_brought_back_is_the_database(settings: Settings, tmp_path: Path) -> None:
    """Every table of what was brought back holds the same rows as the original."""
    written = backup(settings, clock=Clock())
    assert written.copy.path == settings.data_dir / "backups" / "hilum-20260301T120000Z.sqlite3"
    assert written.copy.path.stat().st_mode & 0o777 == 0o600
    there = elsewhere(tmp_path)
    done = restore(written.copy.path, there)
    assert done.copy.rows == written.copy.rows
    assert done.waiting == ()
    dumps = []
    for place in (settings, there):
        with closing(sqlite3.connect(place.database)) as conn:
            dumps.append(list(conn.iterdump()))
    assert dumps[0] == dumps[1]
    with closing(SqliteStore(there.database)) as store:
        assert store.add(some(500), received_ms=0).stored == 3


def test_nobody_is_signed_in_to_what_was_brought_back(settings: Settings, tmp_path: Path) -> None:
    """A session that was ended since the backup does not come back; tokens do, and are counted."""
    with closing(SqliteStore(settings.database)) as store:
        key = begin_session(store, NOON_MS)
        give(store, Scope.READ, "held", NOON_MS)
        gone, _ = give(store, Scope.SHARE, "withdrawn", NOON_MS)
        store.withdraw_grant(gone.id, NOON_MS)
        written = backup(settings, clock=Clock())
        assert session_holds(store, key, NOON_MS)
    there = elsewhere(tmp_path)
    assert restore(written.copy.path, there).grants == 1
    with closing(SqliteStore(there.database)) as store:
        assert not session_holds(store, key, NOON_MS)
        assert [each.name for each in store.grants()] == ["held", "withdrawn"]


def test_a_backup_while_others_write_is_of_one_moment(settings: Settings) -> None:
    """While a service adds batches of 50, each backup holds whole batches and sound pages."""
    over = threading.Event()
    with closing(SqliteStore(settings.database)) as store:

        def add() -> None:
            start = 500
            while not over.is_set():
                store.add(some(start, 50), received_ms=0)
                start += 50

        writer = threading.Thread(target=add)
        writer.start()
        try:
            clock = Clock()
            rows = [backup(settings, clock=clock).copy.rows["reading"] for _ in range(5)]
        finally:
            over.set()
            writer.join()
    assert rows == sorted(rows)
    assert rows[-1] > rows[0] >= 500
    assert {count % 50 for count in rows} == {0}


def test_only_the_newest_are_kept(settings: Settings, tmp_path: Path) -> None:
    """With keep, older backups go; what has another name, and backups before upgrades, stay."""
    folder = tmp_path / "stick"
    clock = Clock()
    folder.mkdir()
    for other in ("notes.txt", "hilum-20200101T000000Z-before-upgrade.sqlite3", "hilum-x.sqlite3"):
        (folder / other).touch()
    first = [backup(settings, folder, clock=clock).copy.path for _ in range(4)]
    last = backup(settings, folder, 2, clock=clock)
    assert list(last.removed) == first[:3]
    assert len(list(folder.iterdir())) == 3 + 2
    backwards = backup(settings, folder, 2, clock=Clock(NOON_MS - 86_400_000))
    assert backwards.copy.path.exists()
    with pytest.raises(InvalidInputError, match="At least one"):
        backup(settings, folder, 0)


def test_rests_of_a_backup_cut_short_are_cleared(settings: Settings) -> None:
    """A half-written file of yesterday goes, one of today may still be being written."""
    backup(settings, clock=Clock())
    folder = settings.data_dir / "backups"
    old, new = (folder / f"hilum-2026010{day}T000000Z.sqlite3.part" for day in (1, 2))
    for path in (old, new):
        path.touch()
    os.utime(old, (old.stat().st_mtime - REST_S - 60,) * 2)
    backup(settings, clock=Clock(NOON_MS + 60_000))
    assert not old.exists()
    assert new.exists()


def fail_sync(_: int) -> None:
    """Do as a broken disk does."""
    raise OSError(5, "Input/output error")


def test_what_fails_leaves_no_file_and_removes_none(
    settings: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the disk fails at the end, the error is said, no half file stays, older ones stay."""
    folder = tmp_path / "stick"
    old = backup(settings, folder, clock=Clock()).copy.path
    monkeypatch.setattr("os.fsync", fail_sync)
    with pytest.raises(StoreError, match="cannot be written: Input/output error"):
        backup(settings, folder, 1, clock=Clock(NOON_MS + 60_000))
    assert list(folder.iterdir()) == [old]
    with pytest.raises(StoreError, match="cannot be written"):
        restore(old, elsewhere(tmp_path))
    assert not elsewhere(tmp_path).database.exists()


def damage(path: Path) -> None:
    """Overwrite some pages with rubbish."""
    with path.open("r+b") as file:
        file.seek(-4096 * 6, os.SEEK_END)
        file.write(b"rubbish!" * 512 * 3)


def test_a_damaged_database_is_not_passed_off_as_a_backup(
    settings: Settings, tmp_path: Path
) -> None:
    """Neither a backup nor a restore of damaged pages is kept; the reason is said."""
    good = backup(settings, tmp_path, clock=Clock()).copy.path
    damage(settings.database)
    with pytest.raises(StoreError, match="is damaged"):
        backup(settings, tmp_path, 1, clock=Clock(NOON_MS + 60_000))
    assert [path for path in tmp_path.iterdir() if path.is_file()] == [good]
    damage(good)
    with pytest.raises(StoreError, match="is damaged"):
        restore(good, elsewhere(tmp_path))
    assert not elsewhere(tmp_path).database.exists()


def newer(path: Path) -> None:
    """Make a database one of a later version."""
    with closing(connect(path, readonly=False)) as conn:
        conn.execute("INSERT INTO migration VALUES ('9999 later', 1)")


def text(path: Path) -> None:
    """Make it no database at all."""
    path.write_text("My seeds.\n" * 1000, encoding="utf-8")


def foreign(path: Path) -> None:
    """Make it a database of another program."""
    path.unlink()
    with closing(sqlite3.connect(path)) as conn:
        conn.execute("CREATE TABLE recipe (name)")


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        (newer, NewerSchemaError, "newer Hilum"),
        (text, StoreError, "not a database"),
        (foreign, StoreError, "not one of Hilum's"),
        (Path.unlink, StoreError, "no backup at"),
        (lambda path: path.write_bytes(b""), StoreError, "is empty"),
        (lambda path: os.truncate(path, 4096 * 5), StoreError, "damaged"),
    ],
)
def test_what_cannot_be_brought_back_is_refused(
    settings: Settings,
    tmp_path: Path,
    change: Callable[[Path], object],
    error: type[StoreError],
    words: str,
) -> None:
    """A file that is newer, foreign, damaged or cut short is refused; the place stays empty."""
    file = backup(settings, tmp_path, clock=Clock()).copy.path
    change(file)
    with pytest.raises(error, match=words):
        restore(file, elsewhere(tmp_path))
    folder = elsewhere(tmp_path).data_dir
    assert not folder.exists() or {path.suffix for path in folder.iterdir()} <= {".lock"}


def test_nothing_is_restored_over_anything(settings: Settings, tmp_path: Path) -> None:
    """A database, or the log of one, in the place is a reason to refuse; it is not touched."""
    file = backup(settings, tmp_path, clock=Clock()).copy.path
    before = settings.database.read_bytes()
    with pytest.raises(ConflictError, match="Nothing was changed"):
        restore(file, settings)
    assert settings.database.read_bytes() == before
    there = elsewhere(tmp_path)
    there.data_dir.mkdir()
    rest = there.data_dir / "hilum.sqlite3-wal"
    rest.touch()
    with pytest.raises(ConflictError, match="sqlite3-wal is there"):
        restore(file, there)
    rest.unlink()
    restore(file, there)


def test_a_database_is_copied_before_its_tables_change(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An upgrade first writes a backup that opens as the older version; a new place needs none."""
    folder = settings.data_dir / "backups"
    assert not folder.exists()
    later = {**migrations.MIGRATIONS, "9999 drop": lambda c: c.execute("DELETE FROM reading")}
    with monkeypatch.context() as patch:
        patch.setattr(migrations.pending, "__defaults__", (later,))
        patch.setattr(migrations.migrate, "__defaults__", (later,))
        assert migrations.waiting(settings.database) == ["9999 drop"]
        SqliteStore(settings.database, exclusive=False).close()
        SqliteStore(settings.database, exclusive=False).close()
    (copy,) = folder.iterdir()
    assert copy.name.endswith("-before-upgrade.sqlite3")
    with closing(SqliteStore.open_readonly(copy)) as store:
        assert store.extent("home/one") == (500, 0, 499 * 60_000)


def test_without_a_backup_there_is_no_upgrade(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If the copy cannot be written, the database stays as it is and the reason is said."""
    (settings.data_dir / "backups").write_text("in the way", encoding="utf-8")
    later = {**migrations.MIGRATIONS, "9999 drop": lambda c: c.execute("DELETE FROM reading")}
    with monkeypatch.context() as patch:
        patch.setattr(migrations.pending, "__defaults__", (later,))
        patch.setattr(migrations.migrate, "__defaults__", (later,))
        with pytest.raises(StoreError, match="left as it is, because no backup could be written"):
            SqliteStore(settings.database)
    with closing(SqliteStore(settings.database)) as store:
        assert store.extent("home/one") == (500, 0, 499 * 60_000)
