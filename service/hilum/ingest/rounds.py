"""Looks at things once a minute, beside the path of readings."""

import logging
from collections.abc import Callable, Sequence
from threading import Event, Thread

from hilum.domain.errors import HilumError

LOG = logging.getLogger(__name__)
EVERY_S = 60.0


class Rounds:
    """One thread that calls each look in turn; what one raises does not stop the others.

    Parameters
    ----------
    looks : sequence of callable
        What is done each time.
    """

    def __init__(self, looks: Sequence[Callable[[], object]]) -> None:
        self._looks = tuple(looks)
        self._over = Event()
        self._thread = Thread(target=self._go, name="hilum-rounds", daemon=True)

    def start(self) -> None:
        """Begin; the first look is a minute away."""
        self._thread.start()

    def stop(self) -> None:
        """End, after the look that is under way."""
        self._over.set()
        self._thread.join()

    def _go(self) -> None:
        while not self._over.wait(EVERY_S):
            for look in self._looks:
                safely(look)


def safely(work: Callable[[], object]) -> None:
    """Do something that readings do not depend on."""
    try:
        work()
    except HilumError as error:
        LOG.warning("Something beside the readings did not work: %s", error)
    except Exception:
        LOG.exception("Something beside the readings failed")
