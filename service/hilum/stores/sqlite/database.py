"""One SQLite file: a writer thread with the only write connection, and readers beside it."""

import queue
import sqlite3
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from hilum.domain.errors import StoreError
from hilum.stores.sqlite.errors import translated

T = TypeVar("T")
Job = Callable[[sqlite3.Connection], T]

BUSY_S = 30.0  # how long to wait for another process that writes
IDLE_READERS = 4  # read connections kept open between reads


def connect(path: Path, *, readonly: bool) -> sqlite3.Connection:
    """Open a connection with the settings all of ours have.

    Transactions are begun and ended by hand. A connection is used by one thread at a time, though
    not always the one that opened it.
    """
    mode = "ro" if readonly else "rwc"
    conn = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}",
        uri=True,
        timeout=BUSY_S,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        conn.execute("PRAGMA foreign_keys = ON")
        conn.execute("PRAGMA synchronous = FULL")
    except sqlite3.Error:
        conn.close()
        raise
    return conn


@contextmanager
def transaction(conn: sqlite3.Connection) -> Iterator[None]:
    """Write all of a block or nothing of it."""
    conn.execute("BEGIN IMMEDIATE")
    try:
        yield
        conn.execute("COMMIT")
    except BaseException:
        if conn.in_transaction:  # a full disk may have rolled back already
            conn.execute("ROLLBACK")
        raise


class Database:
    """Runs write jobs one after another in their own thread, and lends read-only connections.

    Parameters
    ----------
    path : Path
        The database, with its tables in place.
    writer : sqlite3.Connection, optional
        The write connection, taken over; ``None`` opens the database for reading only.
    """

    def __init__(self, path: Path, writer: sqlite3.Connection | None) -> None:
        self.path = path
        self._changed = threading.Condition()
        self._closed = False
        self._lent = 0
        self._idle: list[sqlite3.Connection] = []
        self._jobs: queue.SimpleQueue[tuple[Job[object], Future[object]] | None]
        self._jobs = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        if writer is not None:
            self._thread = threading.Thread(
                target=self._work, args=(writer,), name="hilum-writer", daemon=True
            )
            self._thread.start()

    def write(self, job: Job[T]) -> T:
        """Run a job in a transaction in the writer thread; durable when this returns."""
        future: Future[T] = Future()
        with self._changed:  # nothing may slip in behind the end mark of close()
            self._check_open()
            if self._thread is None:
                raise StoreError(f"The database {self.path} was opened for reading only.")
            self._jobs.put((job, future))  # type: ignore[arg-type]
        return future.result()

    def _work(self, conn: sqlite3.Connection) -> None:
        while (item := self._jobs.get()) is not None:
            job, future = item
            try:
                with translated(self.path), transaction(conn):
                    result = job(conn)
            except BaseException as error:  # noqa: BLE001 - handed to the one who waits
                future.set_exception(error)
            else:
                future.set_result(result)
            del item, job, future
        conn.close()

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Lend a read-only connection to one thread for a block."""
        with translated(self.path):
            conn = self._borrow()
            try:
                yield conn
            finally:
                self._give_back(conn)

    def _borrow(self) -> sqlite3.Connection:
        with self._changed:
            self._check_open()
            conn = self._idle.pop() if self._idle else connect(self.path, readonly=True)
            self._lent += 1
            return conn

    def _give_back(self, conn: sqlite3.Connection) -> None:
        with self._changed:
            if len(self._idle) < IDLE_READERS:
                self._idle.append(conn)
            else:
                conn.close()
            self._lent -= 1
            self._changed.notify_all()

    def _check_open(self) -> None:
        if self._closed:
            raise StoreError(f"The database {self.path} is closed.")

    def close(self) -> None:
        """Finish what is under way, then close; a second call does nothing."""
        with self._changed:
            if self._closed:
                return
            self._closed = True
            self._jobs.put(None)
            self._changed.wait_for(lambda: self._lent == 0)
            while self._idle:
                self._idle.pop().close()
        if self._thread is not None:
            self._thread.join()
