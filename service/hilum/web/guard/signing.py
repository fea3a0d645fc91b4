"""Signing in, setting the first password, and opening a shared link."""

import logging
import re
import secrets
from collections.abc import Callable
from threading import Lock

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from hilum.domain.access import Scope
from hilum.domain.errors import ConflictError, InvalidInputError
from hilum.keeping.access import MOST_MS, begin_session, digest_of, granted
from hilum.web.guard import passwords
from hilum.web.guard.accesscontexts import PasswordPage, SharedPage
from hilum.web.guard.callers import Caller, session_cookie, session_key, share_cookie
from hilum.web.guard.csrf import Form, Guarded
from hilum.web.guard.gate import LOCKED
from hilum.web.guard.throttle import Tries
from hilum.web.parts import WebParts
from hilum.web.render import Renderer

log = logging.getLogger(__name__)

WRONG = "That is not the password."
FIRST_INTRO = (
    "With it, you sign in from every device.",
    "Nobody can look it up, but “hilum password” on the machine of Hilum sets another one.",
    f"It needs {passwords.SHORTEST} characters; a few words that do not belong together do well.",
)
TWICE = "The two do not agree; type the new password twice."
WAIT = "There were too many wrong passwords. Try again in {words}."
BUSY = "Somebody else is signing in at this moment. Try again."
NO_FIRST = (
    "This link does not hold: it serves once, and a new start of Hilum makes a new one. "
    "“hilum password” sets a password too."
)
WITHDRAWN = "This link does not hold any more. Ask for a new one."
SHARE_S = 400 * 86_400  # the longest a browser keeps a cookie; the link may end before


def own_address(text: str) -> str:
    """Give an address if it is one of our own pages, else that of the first page."""
    plain = text.isascii() and text.isprintable()  # browsers leave out tabs and line ends
    return text if plain and re.fullmatch(r"/(?![/\\])[^\\ ]*", text) else "/"


def address_of(request: Request) -> str:
    """Where a request came from; behind a trusted proxy, what the proxy says."""
    return request.client.host if request.client else ""


def signed_in(parts: WebParts, request: Request, answer: Response) -> Response:
    """Begin a session, and have an answer carry its cookie."""
    scheme = request.url.scheme
    key = begin_session(parts.store, parts.clock.now_ms(), session_key(request))
    answer.set_cookie(
        session_cookie(scheme),
        key,
        max_age=MOST_MS // 1000,
        httponly=True,
        samesite="strict",
        secure=scheme == "https",
    )
    return answer


def sign_in_page(back: str, error: str = "") -> PasswordPage:
    """Ask for the password."""
    hidden = (("next", own_address(back)),)
    return PasswordPage("Sign in", (), "/sign-in", "Sign in", new=False, hidden=hidden, error=error)


def first_page(key: str, error: str = "") -> PasswordPage:
    """Ask for a first password."""
    return PasswordPage(
        "Choose a password", FIRST_INTRO, "/first-password", "Set it", True, (("key", key),), error
    )


def checked_new(parts: WebParts, form: Form) -> str:
    """Give the hash of a new password that was typed twice; raises ``InvalidInputError``."""
    password = form.text("password")
    passwords.check_new(password, (parts.settings.site,))
    if form.text("again") != password:
        raise InvalidInputError(TWICE, "again")
    return passwords.hash_of(password)


class Door:
    """Checks passwords, one at a time, and not too often."""

    def __init__(self, parts: WebParts) -> None:
        self._parts = parts
        self._tries = Tries()
        self._one = Lock()  # each check takes 64 MiB

    def flaw(self, request: Request, password: str) -> tuple[int, str, int]:
        """Say why a password does not open: status, words, seconds to wait; status 0 if it does."""
        now_ms, address = self._parts.clock.now_ms(), address_of(request)
        wait_ms = self._tries.wait_ms(address, now_ms)
        if wait_ms:
            seconds = -(-wait_ms // 1000)
            return 429, WAIT.format(words=_words(seconds)), seconds
        if not self._one.acquire(blocking=False):
            return 429, BUSY, 1
        try:
            good = passwords.verify(self._parts.store.password_hash(), password)
        finally:
            self._one.release()
        if not good:
            wrong = self._tries.wrong(address, now_ms)
            log.warning("A wrong password came from %s, its %d.", address, wrong)
            return 401, WRONG, 0
        self._tries.right(address)
        log.info("The owner's password was given from %s.", address)
        return 0, "", 0


def _words(seconds: int) -> str:
    if seconds < 120:
        return f"{seconds} seconds"
    return f"{-(-seconds // 60)} minutes"


def signing_router(parts: WebParts, render: Renderer, door: Door) -> APIRouter:
    """Routes by which people come in."""
    router = APIRouter(include_in_schema=False)
    for path, page, method in (
        ("/sign-in", sign_in(render), "GET"),
        ("/sign-in", try_password(parts, render, door), "POST"),
        ("/first-password", ask_first(parts, render), "GET"),
        ("/first-password", set_first(parts, render), "POST"),
        ("/shared/{key}", shared(parts, render), "GET"),
    ):
        router.add_api_route(path, page, methods=[method], response_model=None)
    return router


def sign_in(render: Renderer) -> Callable[..., Response]:
    """Ask for the password, of whoever needs one."""

    def page(request: Request) -> Response:
        caller: Caller = request.state.caller
        if caller.locked:
            raise HTTPException(403, LOCKED)
        back = own_address(request.query_params.get("next", "/"))
        if caller.open:
            return RedirectResponse(back, status_code=303)
        return render(request, "password.html", sign_in_page(back))

    return page


def try_password(parts: WebParts, render: Renderer, door: Door) -> Callable[..., Response]:
    """Begin a session for whoever knows the password."""

    def act(request: Request, form: Guarded) -> Response:
        back = own_address(form.text("next"))
        status, words, wait_s = door.flaw(request, form.text("password"))
        if not status:
            return signed_in(parts, request, RedirectResponse(back, status_code=303))
        answer = render(request, "password.html", sign_in_page(back, words), status=status)
        if wait_s:
            answer.headers["Retry-After"] = str(wait_s)
        return answer

    return act


def _check_first(parts: WebParts, key: str) -> None:
    right = secrets.compare_digest(digest_of(key), parts.doors.first_key)
    if not right or parts.store.password_hash():
        raise HTTPException(403, NO_FIRST)


def ask_first(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """Ask for a first password, of whoever has the link from the console."""

    def page(request: Request) -> Response:
        key = request.query_params.get("key", "")
        _check_first(parts, key)
        return render(request, "password.html", first_page(key))

    return page


def set_first(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """Set the first password, once."""

    def act(request: Request, form: Guarded) -> Response:
        key = form.text("key")
        _check_first(parts, key)
        try:
            parts.store.set_password_hash(checked_new(parts, form), first=True)
        except InvalidInputError as error:
            return render(request, "password.html", first_page(key, str(error)), status=422)
        except ConflictError as error:
            raise HTTPException(403, NO_FIRST) from error
        log.info("The first password was set from %s.", address_of(request))
        return signed_in(parts, request, RedirectResponse("/", status_code=303))

    return act


def shared(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """Let someone look who opened a shared link: the link becomes a cookie."""

    def page(request: Request, key: str) -> Response:
        grant = granted(parts.store, key, parts.clock.now_ms())
        if grant is None or grant.scope is not Scope.SHARE:
            raise HTTPException(404, WITHDRAWN)
        words = "You may look at everything here: boxes, lots and the journal. You change nothing."
        answer = render(request, "shared.html", SharedPage("Welcome", words))
        answer.set_cookie(
            share_cookie(request.url.scheme),
            key,
            max_age=SHARE_S,
            httponly=True,
            samesite="lax",  # a link in a message must open; it changes nothing
            secure=request.url.scheme == "https",
        )
        answer.headers["Cache-Control"] = "no-store"
        return answer

    return page
