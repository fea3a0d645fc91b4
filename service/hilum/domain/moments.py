"""Moments in messages: written in UTC where they arise, read in the zone of who reads them."""

import re
from datetime import UTC, datetime, tzinfo

_WRITTEN = re.compile(r"\b(\d{4}-\d\d-\d\d \d\d:\d\d) UTC\b")


def utc_words(time_ms: int) -> str:
    """Write a moment for a message, to the minute: ``2026-03-01 18:30 UTC``."""
    return f"{datetime.fromtimestamp(time_ms / 1000, UTC):%Y-%m-%d %H:%M} UTC"


def in_zone(words: str, zone: tzinfo) -> str:
    """Give a message with every such moment as clocks in a zone show it.

    Parameters
    ----------
    words : str
        The message.
    zone : tzinfo
        Zone of who reads it; for UTC the message stays as it is.

    Returns
    -------
    str
        The message; moments that no calendar has are left alone.
    """

    def local(found: re.Match[str]) -> str:
        try:
            moment = datetime.fromisoformat(found[1]).replace(tzinfo=UTC).astimezone(zone)
        except (ValueError, OverflowError):
            return found[0]
        return f"{moment:%Y-%m-%d %H:%M}"

    return words if str(zone) == "UTC" else _WRITTEN.sub(local, words)
