"""A small process for tests: ingest, SQLite and the ledger, until it is told to stop.

python serve.py PORT DATABASE [before|after]

With a third word it kills itself at its first readings, just before or just after their commit.
"""

import os
import signal
import sys
import threading
import time
from collections.abc import Sequence

from hilum.bootstrap.keeping_loop import KeepingLoop
from hilum.domain.model import AddOutcome, Reading
from hilum.ingest import BrokerSettings, Ingest, IngestSettings
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.sqlite import SqliteStore


class SystemClock:
    """The time of this machine."""

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC."""
        return time.time_ns() // 1_000_000


class DoomedStore(SqliteStore):
    """A store that ends the process around the first commit of readings."""

    when = ""

    def add(self, readings: Sequence[Reading], received_ms: int) -> AddOutcome:
        """Die at the worst moment, once an acknowledgement sent too early would be on its way."""
        if self.when == "after":
            super().add(readings, received_ms)
        if self.when:
            time.sleep(0.3)
            os.kill(os.getpid(), signal.SIGKILL)
        return super().add(readings, received_ms)


def main() -> None:
    """Serve until SIGTERM."""
    port, database = int(sys.argv[1]), sys.argv[2]
    parent = os.getppid()  # a test that was cut short must leave nothing behind
    over = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: over.set())
    broker = BrokerSettings(port=port, username="hilum", password="swordfish")  # noqa: S106
    store = DoomedStore(database)
    store.when = sys.argv[3] if len(sys.argv) > 3 else ""
    loop = KeepingLoop(LedgerKeeper(store), lambda _: None)
    ingest = Ingest(store, IngestSettings(broker=broker), SystemClock(), loop.wake)
    loop.start()
    ingest.start()
    while not ingest.status().connected and not over.wait(0.01):
        pass
    print("listening", flush=True)
    while not over.wait(0.5) and os.getppid() == parent:
        pass
    ingest.stop()
    loop.stop()
    store.close()


if __name__ == "__main__":
    main()
