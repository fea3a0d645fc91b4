"""The thread that works off new readings, apart from the one that keeps them.

A ledger that fails never costs a reading: what is not worked off stays marked in the database and
is tried again.
"""

import logging
import threading
from collections.abc import Callable

from hilum.domain.errors import HilumError
from hilum.keeping.reckoning.keeper import LedgerKeeper

log = logging.getLogger(__name__)

IDLE_S = 30.0  # looks for work this often even when nobody calls
PAUSE_S = 1.0  # least time between two rounds, so that a burst becomes one round
RETRY_S = 5.0


class _Stopping(Exception):  # noqa: N818 - no error: the way out of a round
    """Told to stop within a round."""


class KeepingLoop:
    """Runs the ledger keeper whenever readings arrived.

    Parameters
    ----------
    keeper : LedgerKeeper
        Brings the ledger up to date.
    after : callable
        Called after each round with the names of the sensors that woke it.
    """

    def __init__(self, keeper: LedgerKeeper, after: Callable[[frozenset[str]], None]) -> None:
        self.last_error = ""  # why the last round failed; empty when it did not
        self._keeper = keeper
        self._after_s = 0.0
        self._after = after
        self._lock = threading.Lock()
        self._sensors: set[str] = set()
        self._wake = threading.Event()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="hilum-keeping", daemon=True)

    def start(self, after_s: float = 0.0) -> None:
        """Start; the first round, so many seconds later, brings everything up to date."""
        self._after_s = after_s
        self._wake.set()
        self._thread.start()

    def wake(self, sensors: frozenset[str]) -> None:
        """Note sensors with new readings. May be called from any thread."""
        with self._lock:
            self._sensors |= sensors
        self._wake.set()

    def stop(self) -> None:
        """Finish the present round and stop."""
        self._stop.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(timeout=30)

    def _run(self) -> None:
        self._stop.wait(self._after_s)
        while not self._stop.is_set():
            self._wake.wait(IDLE_S)
            if self._stop.is_set():
                return
            self._wake.clear()
            with self._lock:
                sensors, self._sensors = frozenset(self._sensors), set()
            pause = PAUSE_S if self._round(sensors) else RETRY_S
            self._stop.wait(pause)

    def _go_on(self, _done: float) -> None:
        """Leave a long round when told to stop."""
        if self._stop.is_set():
            raise _Stopping

    def _round(self, sensors: frozenset[str]) -> bool:
        try:
            self._keeper.ensure_curves()
            self._keeper.update(self._go_on)
            self._after(sensors)
        except _Stopping:
            return False  # what is not worked off stays marked
        except HilumError as error:
            self.last_error = str(error)
            log.warning("The ledger could not be brought up to date, will try again: %s", error)
        except Exception as error:
            self.last_error = f"A fault in Hilum: {error!r}"
            log.exception("The ledger could not be brought up to date, will try again")
        else:
            self.last_error = ""
            return True
        self.wake(sensors)
        self._wake.set()
        return False
