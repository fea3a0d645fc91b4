"""A ledger of its own over somebody else's readings and lots: to compute again, apart."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from hilum.domain.model import CurveKey, DirtyMark, Ints, LedgerRows
from hilum.domain.ports import Store
from hilum.stores.memory import MemoryStore


class LedgerOverlay:
    """Reads everything true from a store, and keeps everything derived in memory.

    Parameters
    ----------
    below : Store
        The store that is read; it is never written to.
    """

    def __init__(self, below: Store) -> None:
        self._below = below
        self._ledger = MemoryStore()
        for box in below.boxes():  # what curves and marks refer to
            self._ledger.save_box(box)
        for sensor in below.sensors():
            self._ledger.save_sensor(sensor)

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> object:
            return getattr(self._below, name)

    def dirty(self) -> Sequence[DirtyMark]:
        """Marks set on the overlay."""
        return self._ledger.dirty()

    def clear_dirty(self, marks: Sequence[DirtyMark]) -> None:
        """Clear marks of the overlay."""
        self._ledger.clear_dirty(marks)

    def mark_dirty(self, sensor: str, from_ms: int) -> None:
        """Ask for recomputation in the overlay."""
        self._ledger.mark_dirty(sensor, from_ms)

    def curves(self, box: str | None = None) -> Sequence[CurveKey]:
        """Curves of the overlay."""
        return self._ledger.curves(box)

    def add_curves(self, keys: Sequence[CurveKey]) -> None:
        """Make curves known to the overlay."""
        self._ledger.add_curves(keys)

    def drop_curves(self, keys: Sequence[CurveKey]) -> None:
        """Forget curves of the overlay."""
        self._ledger.drop_curves(keys)

    def rows(self, key: CurveKey, start_hour: int = 0, end_hour: int | None = None) -> LedgerRows:
        """Rows of the overlay."""
        return self._ledger.rows(key, start_hour, end_hour)

    def rows_at(self, asked: Sequence[tuple[CurveKey, int]]) -> tuple[Ints, LedgerRows]:
        """Rows of the overlay around times."""
        return self._ledger.rows_at(asked)

    def replace_rows(self, changes: Sequence[tuple[CurveKey, int, LedgerRows]]) -> None:
        """Change rows of the overlay."""
        self._ledger.replace_rows(changes)

    def refresh_tiers(self, from_ms: Mapping[str, int]) -> None:
        """Leave the tiers below as they are."""
