"""Stands before every route: whoever the rules do not name is sent to sign in, or refused."""

import logging
from collections.abc import Callable
from urllib.parse import quote

from fastapi import FastAPI
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from hilum.web.guard.callers import Caller, Who, caller_of
from hilum.web.guard.rules import OWNER, RULES
from hilum.web.parts import WebParts

log = logging.getLogger(__name__)

LOCKED = (
    "No password has been set yet, so these pages stay closed. Open the link that Hilum printed "
    "when it started, or run “hilum password” on its machine."
)
SIGNED_OUT = (
    "You are not signed in, so nothing was done. Sign in in another window, then load this page "
    "again: what you typed is sent once more."
)
ONLY_LOOK = "A shared link lets you look at the pages; this is for the owner."
NO_TOKEN = "This needs a token that holds: “Authorization: Bearer …”."  # noqa: S105 - words
OTHER_TOKEN = "This token is not meant for that."  # noqa: S105 - words


class SignInFirst(Exception):  # noqa: N818 - no error: the way to a page
    """The page is there for whoever signs in."""

    def __init__(self, back: str) -> None:
        self.back = back
        super().__init__(back)


def gate(parts: WebParts) -> Callable[[Request], None]:
    """Make what every route depends on; it leaves who asks in ``request.state.caller``."""

    def check(request: Request) -> None:
        caller = caller_of(parts, request)
        request.state.caller = caller
        path = getattr(request.scope.get("route"), "path", "")
        if caller.who not in RULES.get(f"{request.method} {path}", OWNER):
            refuse(request, caller)

    return check


def refuse(request: Request, caller: Caller) -> None:
    """Say why not.

    Raises
    ------
    SignInFirst
        Whoever asks may sign in and come back.
    HTTPException
        401: who it is was not shown. 403: it is not for them.
    """
    path = request.url.path
    if path.startswith("/api/") or "authorization" in request.headers:
        if caller.who is Who.NOBODY:
            raise HTTPException(401, NO_TOKEN, {"WWW-Authenticate": 'Bearer realm="hilum"'})
        log.warning("A %s token was shown for something else.", caller.who)
        raise HTTPException(403, OTHER_TOKEN)
    if caller.locked:
        raise HTTPException(403, LOCKED)
    if caller.who is not Who.NOBODY:
        raise HTTPException(403, ONLY_LOOK)
    if request.method != "GET" or path == "/live":
        raise HTTPException(401, SIGNED_OUT)
    raise SignInFirst(quote(path) + (f"?{request.url.query}" if request.url.query else ""))


def install_gate(app: FastAPI) -> None:
    """Send those to the sign-in page who may come back from it."""

    def sign_in(request: Request, error: Exception) -> Response:
        del request
        back = error.back if isinstance(error, SignInFirst) else "/"
        return RedirectResponse(f"/sign-in?next={quote(back, safe='')}", status_code=303)

    app.add_exception_handler(SignInFirst, sign_in)
