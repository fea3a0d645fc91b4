"""The clock of this machine, which may be slow, and be set while we run.

A small computer without a clock of its own wakes with the time at which it was switched off, and
learns the true time from the network a little later.
"""

import time
from collections.abc import Callable

STEP_MS = 3_600_000  # less than that no reading is refused for
SETTLING_S = 900.0  # "our choice": the network and the time are there by then, or will not be soon


def since_boot_s() -> float:
    """Seconds since the machine started; no setting of the clock changes them, sleep counts."""
    return time.clock_gettime(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC))


class Steps:
    """Notices that the clock was put forward.

    Parameters
    ----------
    now_ms : callable
        The clock [ms since 1970 UTC].
    """

    def __init__(self, now_ms: Callable[[], int]) -> None:
        self._now_ms = now_ms
        self._from_ms = now_ms()
        self._offset_ms = self._from_ms - since_boot_s() * 1000

    def forward(self) -> tuple[int, int]:
        """How far it was put forward since last asked, and since when it had been slow [ms]."""
        now_ms = self._now_ms()
        offset_ms = now_ms - since_boot_s() * 1000
        step_ms, from_ms = round(offset_ms - self._offset_ms), self._from_ms
        if abs(step_ms) < STEP_MS:
            return 0, from_ms
        self._offset_ms, self._from_ms = offset_ms, now_ms
        return max(step_ms, 0), from_ms
