"""Signing in, sessions, tokens and shared links: their keys, and how long they hold.

Keys are 256 random bits, so an unsalted digest keeps them safe; the owner's password, which a
person made up, is hashed by an adapter of its own. How long a session holds: common practice for a
household's own service, no source.
"""

import re
import secrets
from hashlib import sha256

from hilum.domain.access import Grant, Scope, Session
from hilum.domain.errors import InvalidInputError
from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR
from hilum.domain.ports import AccessStore

IDLE_MS = 7 * MS_PER_DAY
MOST_MS = 30 * MS_PER_DAY
NOTED_EVERY_MS = MS_PER_HOUR
LONGEST_NAME = 80
SENSOR = re.compile(r"[^\W_][\w .:-]{0,63}/[^\W_][\w .:-]{0,63}")


def new_key() -> str:
    """Make a key of 256 random bits."""
    return secrets.token_urlsafe(32)


def digest_of(key: str) -> str:
    """Give what is kept of a key."""
    return sha256(key.encode("utf-8", "surrogatepass")).hexdigest()


def begin_session(store: AccessStore, now_ms: int, old_key: str = "") -> str:
    """Begin a session and give its key; the one the browser came with ends, and all stale ones.

    The key is always a new one: a key that somebody planted in the browser is worth nothing.
    """
    if old_key:
        store.drop_session(digest_of(old_key))
    store.drop_sessions(now_ms - IDLE_MS)
    key = new_key()
    store.save_session(Session(digest_of(key), now_ms, now_ms))
    return key


def session_holds(store: AccessStore, key: str, now_ms: int) -> bool:
    """Tell whether a key is that of a session that has not ended, and note that it was used."""
    if not key:
        return False
    session = store.session(digest_of(key))
    if session is None:
        return False
    if now_ms - session.used_ms >= IDLE_MS or now_ms - session.made_ms >= MOST_MS:
        store.drop_session(session.digest)
        return False
    if now_ms - session.used_ms >= NOTED_EVERY_MS:
        store.touch_session(session.digest, now_ms)
    return True


def give(
    store: AccessStore,
    scope: Scope,
    name: str,
    now_ms: int,
    *,
    sensor: str = "",
    days: int | None = None,
) -> tuple[Grant, str]:
    """Make a token or a link.

    Parameters
    ----------
    store : AccessStore
        Where its digest is kept.
    scope : Scope
        What it is good for.
    name : str
        What the owner calls it.
    now_ms : int
        Now [ms since 1970 UTC].
    sensor : str
        The sensor, for ``Scope.INGEST`` and only there.
    days : int, optional
        After how many days it ends; else it holds until it is withdrawn.

    Returns
    -------
    tuple of Grant and str
        What is kept, and its key, which nobody can look up later.

    Raises
    ------
    InvalidInputError
        It has no name, or a sensor is missing or too many.
    """
    name = name.strip()
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise InvalidInputError(f"It needs a name of at most {LONGEST_NAME} characters.", "name")
    if (scope is Scope.INGEST) != bool(sensor):
        raise InvalidInputError(
            "A token for readings names one sensor, others name none.", "sensor"
        )
    if sensor and not SENSOR.fullmatch(sensor):
        raise InvalidInputError(f"“{sensor}” is no name of a sensor, such as home/tub-1.", "sensor")
    if days is not None and days < 1:
        raise InvalidInputError("It must hold for a day at least.", "days")
    until_ms = None if days is None else now_ms + days * MS_PER_DAY
    key = new_key()
    grant = Grant(0, scope, name, digest_of(key), now_ms, sensor=sensor, until_ms=until_ms)
    return store.add_grant(grant), key


def granted(store: AccessStore, key: str, now_ms: int) -> Grant | None:
    """Give what a key is good for now, and note that it was used; ``None`` for nothing."""
    grant = store.grant_by(digest_of(key)) if key else None
    if grant is None or not grant.holds(now_ms):
        return None
    if grant.used_ms is None or now_ms - grant.used_ms >= NOTED_EVERY_MS:
        store.touch_grant(grant.id, now_ms)
    return grant
