"""Records of who may do what: the owner's sessions, and what the owner grants to others.

Keys are never kept, only their digests: whoever reads the database can sign in with none of them.
Times are milliseconds since 1970 UTC.
"""

from dataclasses import dataclass
from enum import StrEnum


class Scope(StrEnum):
    """What a grant is good for."""

    INGEST = "ingest"  # a device sends readings of one sensor
    READ = "read"  # a program reads what there is under /api
    SHARE = "share"  # a person looks at the pages and changes nothing


@dataclass(frozen=True, slots=True)
class Session:
    """One browser in which the owner is signed in."""

    digest: str
    made_ms: int
    used_ms: int


@dataclass(frozen=True, slots=True)
class Grant:
    """A token of a device or program, or a link that was shared.

    Attributes
    ----------
    id : int
        Given by the store; 0 for a new one.
    scope : Scope
        What it is good for.
    name : str
        What the owner calls it.
    digest : str
        Digest of its key.
    made_ms : int
        When it was made.
    sensor : str
        The one sensor, ``site/name``, whose readings it may bring; empty unless ``INGEST``.
    until_ms, withdrawn_ms, used_ms : int or None
        When it ends by itself, when it was withdrawn, when it was last used (to the hour).
    """

    id: int
    scope: Scope
    name: str
    digest: str
    made_ms: int
    sensor: str = ""
    until_ms: int | None = None
    withdrawn_ms: int | None = None
    used_ms: int | None = None

    def holds(self, now_ms: int) -> bool:
        """Tell whether it is good at a time."""
        return self.withdrawn_ms is None and (self.until_ms is None or now_ms < self.until_ms)
