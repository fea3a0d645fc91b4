"""The service without its pages, for tests, with somebody who keeps editing.

python serve.py HOST:PORT KEEPALIVE DATABASE FIRST

Ingest, ledger and an editor run until SIGTERM. Says ``listening`` once it does, and ``edit N`` for
each edit that was written, from FIRST on; FIRST -1: nobody edits.
"""

import faulthandler
import itertools
import os
import signal
import sys
import threading

from hilum.bootstrap import system_clock
from hilum.bootstrap.keeping_loop import KeepingLoop
from hilum.domain.errors import StoreError
from hilum.ingest import BrokerSettings, Ingest, IngestSettings
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.sqlite import SqliteStore
from plugins.mosquitto import USERS
from promises.truth import edit

PAUSE_S = 0.02


def say(line: str) -> None:
    """Say a line in one piece, so that threads do not mix and a kill cuts none in two."""
    os.write(1, f"{line}\n".encode())


def keep_editing(store: SqliteStore, first: int, over: threading.Event) -> None:
    """Write edits one after another, and say each that was written."""
    for number in itertools.count(first):
        try:
            store.change(edit(number, "tub"))
        except StoreError:
            return
        say(f"edit {number}")
        if over.wait(PAUSE_S):
            return


def main() -> None:
    """Serve until SIGTERM, or until the test is gone."""
    (host, _, port), keepalive_s = sys.argv[1].rpartition(":"), int(sys.argv[2])
    database, first = sys.argv[3], int(sys.argv[4])
    parent = os.getppid()
    over = threading.Event()
    faulthandler.register(signal.SIGUSR1)  # kill -USR1 says where each thread is
    signal.signal(signal.SIGTERM, lambda *_: over.set())
    broker = BrokerSettings(
        host, int(port), username="hilum", password=USERS["hilum"], keepalive_s=keepalive_s
    )
    store = SqliteStore(database)
    loop = KeepingLoop(LedgerKeeper(store), lambda _: None)
    settings = IngestSettings(broker=broker, retry_s=0.05)
    ingest = Ingest(store, settings, system_clock(), loop.wake)
    editor = threading.Thread(target=keep_editing, args=(store, first, over))
    loop.start()
    ingest.start()
    if first >= 0:
        editor.start()
    said = ""
    while not over.wait(0.01) and os.getppid() == parent:
        now = ingest.status()
        saying = now.last_error or ("listening" if now.connected else "")
        if saying and saying != said:
            say(saying)
            said = saying
    ingest.stop()
    loop.stop()
    if first >= 0:
        editor.join()
    store.close()


if __name__ == "__main__":
    main()
