"""What other processes stored, in memory."""

from collections.abc import Sequence

from hilum.domain.model import Arrival
from hilum.stores.memory.state import State


class ArrivalsSection:
    """Readings that came in by another process."""

    _state: State

    def arrived(self, arrivals: Sequence[Arrival]) -> None:
        """See the port."""
        with self._state.held():
            for each in arrivals:
                self._state.register(each.sensor, each.received_ms, each.received_ms)
                self._state.mark({each.sensor: each.from_ms})

    def may_miss(self) -> None:
        """See the port."""
        with self._state.held():
            self._state.hearing = False

    def hears(self, site: str) -> None:
        """See the port."""
        del site
        with self._state.held():
            if not self._state.hearing:
                self._state.mark(dict.fromkeys(self._state.sensors, 0))
            self._state.hearing = True
