"""The journal as a table: every line that was ever written, those taken back too."""

import json
from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from hilum.domain.model import Event
from hilum.sheets.grid import Cell
from hilum.sheets.writing import csv_bytes

HEADINGS = ("Number", "Time", "What", "Box", "Lot", "Sensor", "Words", "Taken back", "Figures")


def journal_csv(events: Sequence[Event], zone: ZoneInfo) -> bytes:
    """Write lines of the journal as CSV, in the order given.

    Parameters
    ----------
    events : sequence of Event
        The lines.
    zone : ZoneInfo
        Times are written in it, with their distance from UTC.

    Returns
    -------
    bytes
        The table. ``Figures`` holds what programs kept with a line, as JSON.
    """
    rows: list[Sequence[Cell]] = [HEADINGS]
    for event in events:
        when = datetime.fromtimestamp(event.time_ms / 1000, zone)
        figures = json.dumps(dict(event.data), ensure_ascii=False) if event.data else ""
        rows.append(
            (
                event.id, when.isoformat(timespec="seconds"), event.type.value, event.box or "",
                event.lot or "", event.sensor or "", event.text, "yes" if event.struck else "",
                figures,
            )
        )  # fmt: skip
    return csv_bytes(rows)
