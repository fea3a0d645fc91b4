"""The same contract without a database: for tests, and to check the others against."""

from hilum.stores.memory.access import AccessSection
from hilum.stores.memory.alerts import AlertSection
from hilum.stores.memory.arrivals import ArrivalsSection
from hilum.stores.memory.changes import ChangesSection
from hilum.stores.memory.corrections import CorrectionSection
from hilum.stores.memory.keeping import KeepingSection
from hilum.stores.memory.ledger import LedgerSection
from hilum.stores.memory.readings import ReadingsSection
from hilum.stores.memory.season import SeasonSection
from hilum.stores.memory.state import State

__all__ = ["MemoryStore"]


class MemoryStore(
    ReadingsSection,
    KeepingSection,
    ChangesSection,
    LedgerSection,
    ArrivalsSection,
    AlertSection,
    SeasonSection,
    CorrectionSection,
    AccessSection,
):
    """Implements ``hilum.domain.ports.Store`` in memory; nothing outlives it."""

    def __init__(self) -> None:
        self._state = State()

    def close(self) -> None:
        """Close; further calls raise StoreError."""
        self._state.closed = True
