"""Readings from a file into a store, and back out as CSV."""

import csv
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import TextIO
from zoneinfo import ZoneInfo

from hilum.domain.model import Reading, Reject
from hilum.domain.ports import Store
from hilum.ingest.screen import screen_reading
from hilum.ingest.tables import Layout, Problem, read_rows

BATCH = 5000
SHOWN_PROBLEMS = 10
LONGEST_REASON = 60
COLUMNS = ("time_utc", "temp_c", "rh_pct", "battery_pct", "battery_v")
SAMPLE_BYTES = 100_000
LONGEST_CHARACTER = 4  # bytes, in UTF-8: the sample may end within one


@dataclass
class Tally:
    """What became of a file. ``problems`` are the first few lines that were not kept."""

    stored: int = 0
    duplicates: int = 0
    conflicts: int = 0
    problems: list[str] = field(default_factory=list)
    reasons: Counter[str] = field(default_factory=Counter)
    first_ms: int | None = None
    last_ms: int | None = None

    def refuse(self, reason: str, line: int | None = None) -> None:
        """Count a line that was not kept."""
        short = reason if len(reason) <= LONGEST_REASON else reason[: LONGEST_REASON - 1] + "…"
        self.reasons[short] += 1
        if len(self.problems) < SHOWN_PROBLEMS:
            self.problems.append(f"line {line}: {reason}" if line else reason)

    def keep(self, readings: Sequence[Reading], store: Store, now_ms: int) -> None:
        """Put readings into the store, and count what became of them."""
        outcome = store.add(readings, now_ms)
        self.stored += outcome.stored
        self.duplicates += outcome.duplicates
        self.conflicts += len(outcome.conflicts)
        times = [reading.time_ms for reading in readings]
        self.first_ms = min(times if self.first_ms is None else [*times, self.first_ms])
        self.last_ms = max(times if self.last_ms is None else [*times, self.last_ms])


def open_text(file: Path) -> TextIO:
    """Open a text file as UTF-8, or as Windows-1252 where it is not."""
    with file.open("rb") as stream:
        head = stream.read(SAMPLE_BYTES)
    try:
        head.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(head) - LONGEST_CHARACTER:
            return file.open(encoding="cp1252", errors="replace", newline="")
    return file.open(encoding="utf-8-sig", errors="replace", newline="")


def import_table(
    lines: Iterable[str],
    layout: Layout,
    sensor: str,
    zone: ZoneInfo | None,
    store: Store,
    *,
    origin: str,
    now_ms: int,
) -> Tally:
    """Keep all readings of a table that can be kept.

    Parameters
    ----------
    lines : iterable of str
        The whole file.
    layout : Layout
        What :func:`hilum.ingest.tables.recognise` found.
    sensor : str
        ``<site>/<name>``.
    zone : ZoneInfo or None
        Time zone of local times.
    store : Store
        Where they go, in batches; each batch is kept whole.
    origin : str
        Name of the file, for the rejects.
    now_ms : int
        The present [ms since 1970 UTC]; readings from later are refused.

    Returns
    -------
    Tally
        Counts, and the reasons of what was not kept.
    """
    tally = Tally()
    rows = read_rows(lines, layout, sensor, zone)
    while batch := list(islice(rows, BATCH)):
        good, rejects = _screened(batch, origin, now_ms, tally)
        if rejects:
            store.add_rejects(rejects)
        if good:
            tally.keep(good, store, now_ms)
    return tally


def _screened(
    batch: list[Reading | Problem], origin: str, now_ms: int, tally: Tally
) -> tuple[list[Reading], list[Reject]]:
    good: list[Reading] = []
    rejects: list[Reject] = []
    for item in batch:
        if isinstance(item, Problem):
            tally.refuse(item.reason, item.line)
            continue
        decoded = screen_reading(item, origin, now_ms)
        good.extend(decoded.readings)
        rejects.extend(decoded.rejects)
        for reject in decoded.rejects:
            tally.refuse(reject.detail)
    return good, rejects


def export_table(target: TextIO, store: Store, sensor: str, start_ms: int, end_ms: int) -> int:
    """Write readings with start <= time < end as CSV; gives their number."""
    writer = csv.writer(target, lineterminator="\n")
    writer.writerow(COLUMNS)
    count = 0
    for page in store.pages(sensor, start_ms, end_ms, BATCH):
        count += len(page)
        writer.writerows(_row(reading) for reading in page)
    return count


def _row(reading: Reading) -> list[str]:
    values = (reading.temp_c, reading.rh_pct, reading.battery_pct, reading.battery_v)
    return [iso_utc(reading.time_ms), *("" if v is None else repr(v) for v in values)]


def iso_utc(time_ms: int) -> str:
    """Write a time as ISO 8601 in UTC, to the millisecond where it has one."""
    text = datetime.fromtimestamp(time_ms / 1000, UTC).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z").replace(".000Z", "Z")
