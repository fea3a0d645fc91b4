"""Readings from a file of SenML packs: what a device wrote to a card, or a program kept."""

import re
from collections.abc import Iterator
from pathlib import Path

from hilum.domain.errors import InvalidInputError
from hilum.domain.ports import Store
from hilum.ingest.files import BATCH, Tally
from hilum.ingest.senml import decode_senml

MOST_BYTES = 50_000_000  # of one pack, which is held in memory
HEAD_BYTES = 256
BEGINS = re.compile(rb"(?:\xef\xbb\xbf)?\s*\[")


def is_senml(file: Path) -> bool:
    """Tell whether a file begins as a SenML pack does; a table never does."""
    with file.open("rb") as stream:
        return BEGINS.match(stream.read(HEAD_BYTES)) is not None


def import_senml(file: Path, sensor: str, store: Store, *, now_ms: int) -> Tally:
    """Keep all readings of a file that can be kept.

    Parameters
    ----------
    file : Path
        One pack, or a pack on each line.
    sensor : str
        ``<site>/<name>``.
    store : Store
        Where they go, in batches; each batch is kept whole.
    now_ms : int
        The present [ms since 1970 UTC]; readings from later are refused, and those without a time.

    Returns
    -------
    Tally
        Counts, and the reasons of what was not kept.

    Raises
    ------
    InvalidInputError
        The file is too large to be one pack.
    """
    tally = Tally()
    for pack in _packs(file):
        decoded = decode_senml(
            pack, sensor, now_ms, origin=file.name, retained=True, most=MOST_BYTES
        )
        if decoded.rejects:
            store.add_rejects(decoded.rejects)
        for reject in decoded.rejects:
            tally.refuse(reject.detail)
        for start in range(0, len(decoded.readings), BATCH):
            tally.keep(decoded.readings[start : start + BATCH], store, now_ms)
    return tally


def _packs(file: Path) -> Iterator[bytes]:
    """Give the packs: a line each if the first line is one by itself, else the whole file."""
    with file.open("rb") as stream:
        first = stream.readline(MOST_BYTES).removeprefix(b"\xef\xbb\xbf").strip()
        if first.endswith(b"]"):
            yield first
            yield from filter(None, (line.strip() for line in stream))
            return
        rest = stream.read(MOST_BYTES)
        if stream.read(1):
            raise InvalidInputError(
                f"{file.name} is larger than {MOST_BYTES:,} bytes; put one pack on each line."
            )
    yield first + b"\n" + rest
