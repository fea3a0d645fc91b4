"""How many sensors nobody asked for are taken in."""

from collections.abc import Callable, Sequence
from typing import Protocol

from hilum.domain.model import Placement, Sensor

REFRESH_MS = 60_000


class Register(Protocol):
    """Knows sensors and where they stand; see ``hilum.domain.ports``."""

    def sensors(self) -> Sequence[Sensor]:
        """Every sensor known."""
        ...

    def placements(self) -> Sequence[Placement]:
        """Where they stand."""
        ...


class SensorBudget:
    """Admits known sensors always, and unknown ones until so many stand in no box.

    A broker that is open to others, or a device that makes up a new name at every start, would else
    fill the database with sensors. Claiming sensors (placing them in boxes) makes room again.
    Memory is bounded: names that are refused are not remembered.

    Parameters
    ----------
    store : Register
        Knows the sensors and which of them stand in a box.
    limit : int
        Unclaimed sensors taken in.
    now_ms : callable
        Tells the time [ms].
    """

    def __init__(self, store: Register, limit: int, now_ms: Callable[[], int]) -> None:
        self.store = store
        self.limit = limit
        self.now_ms = now_ms
        self._known: set[str] = set()
        self._room = 0
        self._read_ms: int | None = None

    def admits(self, sensor: str) -> bool:
        """Tell whether readings of a sensor are taken; an unknown one uses up room.

        Raises
        ------
        StoreError
            The store could not be asked.
        """
        if sensor in self._known:
            return True
        now = self.now_ms()
        stale = self._read_ms is None or not 0 <= now - self._read_ms < REFRESH_MS
        if stale and self._room <= 0:
            self._refresh(now)
        if sensor in self._known:
            return True
        if self._room <= 0:
            return False
        self._known.add(sensor)
        self._room -= 1
        return True

    def _refresh(self, now: int) -> None:
        known = {sensor.name for sensor in self.store.sensors()}
        claimed = {placement.sensor for placement in self.store.placements()}
        # Names admitted but not yet committed stay known.
        self._known |= known | claimed
        self._room = self.limit - len(self._known - claimed)
        self._read_ms = now
