"""The thread that keeps answers about many lots at hand, so that nobody waits for them."""

import logging
import threading
from collections.abc import Callable

log = logging.getLogger(__name__)

ROUND_S = 60.0


class Renewing:
    """Works out anew what no longer holds, every minute.

    Parameters
    ----------
    renew : callable
        Does it; quick where everything still holds.
    """

    def __init__(self, renew: Callable[[], None]) -> None:
        self._renew = renew
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="hilum-renewing", daemon=True)

    def start(self) -> None:
        """Start."""
        self._thread.start()

    def stop(self) -> None:
        """Finish the present round and stop."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=30)

    def _run(self) -> None:
        while not self._stop.wait(ROUND_S):
            try:
                self._renew()
            except Exception:
                log.exception("Answers could not be worked out ahead, will try again")
