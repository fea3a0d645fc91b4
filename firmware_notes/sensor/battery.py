"""Voltage of the battery, through a divider on an analogue input."""

TYPE_CHECKING = False  # for type checkers: a board has no module typing
if TYPE_CHECKING:
    from typing import Protocol

    class Input(Protocol):
        """An analogue input."""

        def read_u16(self) -> int:
            """0 to 65535 over the range of the input."""


SAMPLES = 8


def volts(adc: "Input | None", full_scale_v: float, divider: float = 1.0) -> float | None:
    """Voltage [V]: the mean of a few samples; None where no input is wired.

    Parameters
    ----------
    adc
        Something with ``read_u16()``: 0 to 65535 over the range of the input; or None.
    full_scale_v
        Voltage at the input at which it reads 65535 [V].
    divider
        How much larger the voltage of the battery is than that at the input: 2 for two equal
        resistors.
    """
    if adc is None:
        return None
    total = sum(adc.read_u16() for _ in range(SAMPLES))
    return total / SAMPLES / 65535 * full_scale_v * divider
