"""Corrections of sensors in memory."""

from collections.abc import Sequence
from dataclasses import replace

from hilum.domain.corrections import Correction
from hilum.stores import rules
from hilum.stores.memory.state import State, found


class CorrectionSection:
    """How readings are corrected when they are read."""

    _state: State

    def corrections(self, sensor: str | None = None) -> Sequence[Correction]:
        """See the port."""
        with self._state.held():
            kept = list(self._state.corrections.values())
        asked = [each for each in kept if sensor is None or each.sensor == sensor]
        return sorted(asked, key=lambda each: (each.sensor, each.from_ms))

    def add_correction(self, correction: Correction) -> Correction:
        """See the port."""
        state = self._state
        with state.held():
            found(state.sensors, correction.sensor, "sensor")
            rules.check_correction(correction, state.corrections.values())
            state.last_correction += 1
            kept = replace(correction, id=state.last_correction)
            state.corrections[kept.id] = kept
            state.mark({kept.sensor: kept.from_ms})
            return kept

    def remove_correction(self, correction_id: int) -> Correction:
        """See the port."""
        state = self._state
        with state.held():
            gone = found(state.corrections, correction_id, "correction")
            del state.corrections[correction_id]
            state.mark({gone.sensor: gone.from_ms})
            return gone
