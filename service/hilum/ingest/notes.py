"""What a worker tells the process that keeps a site: whose readings it stored, what it refused.

A note is JSON on ``hilum/<site>/arrived``: ``at`` (when, ms), ``since`` (earliest time stored, ms,
by name of sensor) and ``refused``. It is sent after the readings are stored and before their
messages are acknowledged, so that a worker that dies in between has the broker give the messages
again, and tells again. Pure.
"""

import base64
import binascii
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from hilum.domain.model import Arrival, Reject, RejectReason
from hilum.ingest.screen import printable
from hilum.ingest.topics import ROOT, name_problem

SENSORS = 1_000  # in one note: 0.1 MB at most
REFUSED = 40  # in one note: 0.2 MB at most


@dataclass(frozen=True, slots=True)
class Note:
    """What a note says."""

    arrivals: tuple[Arrival, ...] = ()
    rejects: tuple[Reject, ...] = ()


def notes(
    since_ms: Mapping[str, int], rejects: Sequence[Reject], at_ms: int, home: str
) -> Iterator[tuple[str, bytes]]:
    """Write notes.

    Parameters
    ----------
    since_ms : mapping
        Earliest time stored [ms] by sensor, as ``<site>/<name>``.
    rejects : sequence of Reject
        What was refused.
    at_ms : int
        When it arrived [ms since 1970 UTC].
    home : str
        Site that hears of rejects that belong to none.

    Yields
    ------
    tuple of str and bytes
        Topic and payload.
    """
    by_site: dict[str, dict[str, int]] = {}
    for sensor, from_ms in since_ms.items():
        site, _, name = sensor.partition("/")
        by_site.setdefault(site, {})[name] = from_ms
    for site, names in by_site.items():
        given = list(names.items())
        for start in range(0, len(given), SENSORS):
            yield _note(site, {"at": at_ms, "since": dict(given[start : start + SENSORS])})
    refused: dict[str, list[Reject]] = {}
    for reject in rejects:
        refused.setdefault((reject.sensor or home).partition("/")[0], []).append(reject)
    for site, found in refused.items():
        for start in range(0, len(found), REFUSED):
            told = [_told(reject) for reject in found[start : start + REFUSED]]
            yield _note(site, {"at": at_ms, "refused": told})


def _note(site: str, said: Mapping[str, object]) -> tuple[str, bytes]:
    return f"{ROOT}/{site}/arrived", json.dumps(said, separators=(",", ":")).encode()


def _told(reject: Reject) -> dict[str, object]:
    return {
        "at": reject.received_ms,
        "topic": reject.topic,
        "reason": reject.reason.value,
        "detail": reject.detail,
        "payload": base64.b64encode(reject.payload).decode(),
        "sensor": reject.sensor,
    }


def read_note(site: str, payload: bytes) -> Note:
    """Read a note.

    Parameters
    ----------
    site : str
        Site it is for.
    payload : bytes
        What was sent.

    Raises
    ------
    ValueError
        It is none.
    """
    try:
        said = json.loads(payload)
        at_ms = _whole(said["at"])
        since = said.get("since", {})
        arrivals = tuple(
            Arrival(f"{site}/{_name(name)}", _whole(from_ms), at_ms)
            for name, from_ms in since.items()
        )
        return Note(arrivals, tuple(map(_reject, said.get("refused", []))))
    except (KeyError, TypeError, AttributeError, RecursionError, binascii.Error) as error:
        raise ValueError("not a note of a worker") from error


def _reject(said: Mapping[str, Any]) -> Reject:
    sensor = said["sensor"]
    return Reject(
        _whole(said["at"]),
        printable(str(said["topic"])),
        RejectReason(said["reason"]),
        str(said["detail"]),
        base64.b64decode(said["payload"], validate=True),
        None if sensor is None else str(sensor),
    )


def _name(name: str) -> str:
    problem = name_problem(name)
    if problem:
        raise ValueError(problem)
    return name


def _whole(value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**53:
        raise TypeError("not a time")
    return value
