"""Corrections of sensors: dated, applied on reading; what was measured stays as it was."""

from dataclasses import dataclass

from hilum.domain.errors import InvalidInputError
from hilum.science.salts import GAIN_RANGE

TEMP_OFFSET_C, RH_OFFSET_PCT = 10.0, 20.0  # our choice: a sensor so far off is broken


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


def check_figures(correction: Correction) -> None:
    """Refuse figures that no working sensor needs.

    Raises
    ------
    InvalidInputError
        The gain or an offset lies out of range.
    """
    low, high = GAIN_RANGE
    limits = (
        ("rh_gain", "humidity gain", low, high, ""),
        ("rh_offset_pct", "humidity offset", -RH_OFFSET_PCT, RH_OFFSET_PCT, " % RH"),
        ("temp_offset_c", "temperature offset", -TEMP_OFFSET_C, TEMP_OFFSET_C, " °C"),
    )
    for field, name, least, most, unit in limits:
        value = getattr(correction, field)
        if not least <= value <= most:  # not-a-number lies in no range
            raise InvalidInputError(
                f"The {name} of a correction must lie between {least:g} and {most:g}{unit}, "
                f"not {value:g}: a sensor so far off is broken, or a figure was mistyped.",
                field,
            )
