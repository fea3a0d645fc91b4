"""Corrections of sensors: dated, applied on reading; what was measured stays as it was."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Correction:
    """How readings of a sensor are corrected from a time on, until the next correction's time.

    True temperature = reading + ``temp_offset_c``; true humidity = ``rh_gain`` · reading +
    ``rh_offset_pct``, held within 0 to 100 %. Corrections do not add up: the newest one holds. One
    with offsets 0 and gain 1 ends those before it.
    """

    id: int
    sensor: str
    from_ms: int
    temp_offset_c: float = 0.0
    rh_gain: float = 1.0
    rh_offset_pct: float = 0.0
    how: str = ""  # how it was found, in words
