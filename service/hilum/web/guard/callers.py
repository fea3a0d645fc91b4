"""Who asks: the owner, someone with a shared link, a program or a device with a token, or nobody.

A token counts alone: a request that carries one is nothing else besides. Otherwise a session makes
the owner; so does, where pages are for this machine only and no password was set, being here.
"""

from dataclasses import dataclass
from enum import StrEnum

from starlette.requests import HTTPConnection

from hilum.domain.access import Grant, Scope
from hilum.keeping.access import granted, session_holds
from hilum.web.parts import WebParts

FORWARDED = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")
"""What a proxy adds; through one, a page meant for this machine reaches others."""


class Who(StrEnum):
    """What a request was shown to come from."""

    NOBODY = "nobody"
    SHARE = "share"
    READ = "read"
    INGEST = "ingest"
    OWNER = "owner"


BY_SCOPE = {Scope.INGEST: Who.INGEST, Scope.READ: Who.READ}


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks. ``locked``: nobody can sign in yet; ``open``: nobody has to."""

    who: Who
    grant: Grant | None = None
    locked: bool = False
    open: bool = False


def session_cookie(scheme: str) -> str:
    """Name of the session's cookie; over TLS one that no other site of the domain can plant."""
    return "__Host-hilum_session" if scheme == "https" else "hilum_session"


def share_cookie(scheme: str) -> str:
    """Name of the cookie that a shared link becomes."""
    return "__Host-hilum_share" if scheme == "https" else "hilum_share"


def session_key(request: HTTPConnection) -> str:
    """Key of the session that a browser shows; may be empty."""
    return request.cookies.get(session_cookie(request.url.scheme), "")


def caller_of(parts: WebParts, request: HTTPConnection) -> Caller:
    """Find out who asks."""
    now_ms = parts.clock.now_ms()
    given = request.headers.get("authorization")
    if given is not None:
        kind, _, key = given.partition(" ")
        grant = granted(parts.store, key.strip() if kind.lower() == "bearer" else "", now_ms)
        who = BY_SCOPE.get(grant.scope, Who.NOBODY) if grant else Who.NOBODY
        return Caller(who, grant)
    if not parts.store.password_hash():
        here = parts.doors.local and not any(name in request.headers for name in FORWARDED)
        if here:
            return Caller(Who.OWNER, open=True)
        return Caller(Who.NOBODY, locked=True)
    if session_holds(parts.store, session_key(request), now_ms):
        return Caller(Who.OWNER)
    grant = granted(parts.store, request.cookies.get(share_cookie(request.url.scheme), ""), now_ms)
    if grant is not None and grant.scope is Scope.SHARE:
        return Caller(Who.SHARE, grant)
    return Caller(Who.NOBODY)
