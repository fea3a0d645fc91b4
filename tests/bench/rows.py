"""What all benches share: a row of the table, and how time is taken.

A row compares what Hilum needs with something simpler that was measured in the same run. The
machine may be shared, so each side runs several times in turn, and the least time of each counts.
"""

import os
import platform
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol


class Line(Protocol):
    """What stands in the table."""

    def cells(self) -> tuple[str, ...]:
        """Give the columns."""
        ...


@dataclass(frozen=True)
class Row:
    """One line: a figure and its limit; ``least``: the limit is the least allowed, not the most."""

    work: str
    measured: str
    against: str
    figure: float
    limit: float
    least: bool = False
    unit: str = "×"

    @property
    def good(self) -> bool:
        """Whether the limit is kept."""
        return self.figure >= self.limit if self.least else self.figure <= self.limit

    def cells(self) -> tuple[str, ...]:
        """Give the columns of the table."""
        sign = "≥" if self.least else "≤"
        return (
            self.work,
            self.measured,
            self.against,
            f"{_short(self.figure)}{self.unit}",
            f"{sign} {_short(self.limit)}{self.unit}",
            "yes" if self.good else "**no**",
        )


def _short(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 20 else f"{value:.2f}".rstrip("0").rstrip(".")


def table(rows: Sequence[Line]) -> str:
    """Write rows as a table of Markdown."""
    head = ("work", "measured", "against", "figure", "limit", "kept")
    lines = [head, ("---",) * len(head), *(row.cells() for row in rows)]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)


def machine() -> str:
    """Say on what this runs, without a name."""
    memory_gb = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9
    return (
        f"{os.cpu_count()} cores ({platform.machine()}), {memory_gb:.0f} GB, "
        f"{platform.system()}, Python {platform.python_version()}, "
        f"load {os.getloadavg()[0]:.1f} at the start"
    )


def least(
    times: int, *runs: Callable[[], object], clock: Callable[[], float] = time.process_time
) -> list[float]:
    """Run each in turn, several times; give the least time of each [s], by default of processor."""
    found = [float("inf")] * len(runs)
    for _ in range(times):
        for place, run in enumerate(runs):
            start = clock()
            run()
            found[place] = min(found[place], clock() - start)
    return found


def ms(seconds: float) -> str:
    """Write a time."""
    return f"{seconds:.1f} s" if seconds >= 1 else f"{1000 * seconds:.1f} ms"
