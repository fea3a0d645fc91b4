"""Options that several commands share."""

import json
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer

from hilum.domain.errors import InvalidInputError

DataDir = Annotated[
    Path | None,
    typer.Option("--data-dir", help="Folder of the database and the settings.", show_default=False),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON for machines.")]


def print_json(values: Mapping[str, Any] | Sequence[Any]) -> None:
    """Print an answer for machines."""
    print(json.dumps(values, ensure_ascii=False, indent=2, allow_nan=False))


def time_ms(text: str, zone: str, field: str) -> int:
    """Milliseconds of an ISO date or time given on the command line (local unless zoned)."""
    try:
        when = datetime.fromisoformat(text)
    except ValueError as error:
        raise InvalidInputError(
            f"“{text}” is no date; write it like 2026-03-01 or 2026-03-01T18:30.", field
        ) from error
    if when.tzinfo is None:
        when = when.replace(tzinfo=ZoneInfo(zone))
    return round(when.timestamp() * 1000)


def slug_of(name: str) -> str:
    """Short form of a name for addresses and topics: lower case, digits and hyphens."""
    slug = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:60]
    if not slug:
        raise InvalidInputError(f"“{name}” has no letters or digits to make a short name from.")
    return slug


def write_file(path: Path, data: bytes) -> None:
    """Write a file that was asked for with ``--to``."""
    try:
        path.write_bytes(data)
    except OSError as error:
        raise InvalidInputError(f"{path} cannot be written: {error.strerror}.", "to") from error
