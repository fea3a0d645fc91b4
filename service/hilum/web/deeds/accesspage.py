"""The owner's page about who may come in: password, sessions, tokens and shared links."""

import logging
from collections.abc import Callable
from dataclasses import replace

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from hilum.domain.access import Grant, Scope
from hilum.domain.errors import ConflictError, InvalidInputError
from hilum.keeping.access import digest_of, give
from hilum.web.deeds.typed import Typed
from hilum.web.guard.accesscontexts import AccessPage, GrantRow
from hilum.web.guard.callers import session_cookie, session_key
from hilum.web.guard.csrf import Form, Guarded
from hilum.web.guard.signing import Door, address_of, checked_new, signed_in
from hilum.web.parts import WebParts
from hilum.web.render import Renderer
from hilum.web.views.format import Style

log = logging.getLogger(__name__)

TITLE = "Who may come in"
OPEN = (
    "No password is set: whoever uses this machine may do everything, and nobody else gets in. "
    "To open the pages from a phone, set a password first."
)
GUARDED = "Every page needs your password, a shared link or a token."
SHARED = "The link, shown this once. Whoever has it may look and change nothing."
TOKEN = "The token, shown this once. Put it where it is used; it cannot be looked up later."  # noqa: S105

Act = Callable[[Request, Form], Response]


def access_page(parts: WebParts) -> AccessPage:
    """Say who may come in now."""
    store, now_ms = parts.store, parts.clock.now_ms()
    guarded = bool(store.password_hash())
    rows = [_row(grant, now_ms, parts.style) for grant in reversed(store.grants())]
    names = tuple(sensor.name for sensor in store.sensors())
    return AccessPage(TITLE, GUARDED if guarded else OPEN, guarded, tuple(rows), names)


def _row(grant: Grant, now_ms: int, style: Style) -> GrantRow:
    what = {
        Scope.INGEST: f"token: readings of {grant.sensor}",
        Scope.READ: "token: reads values",
        Scope.SHARE: "link: looks at the pages",
    }[grant.scope]
    state = [f"since {style.day(grant.made_ms)}"]
    if grant.withdrawn_ms is not None:
        state.append(f"withdrawn {style.day(grant.withdrawn_ms)}")
    elif grant.until_ms is not None:
        word = "until" if grant.holds(now_ms) else "ended"
        state.append(f"{word} {style.day(grant.until_ms)}")
    used = "never used" if grant.used_ms is None else f"last used {style.day(grant.used_ms)}"
    return GrantRow(grant.id, grant.name, what, ", ".join([*state, used]), grant.holds(now_ms))


def access_router(parts: WebParts, render: Renderer, door: Door) -> APIRouter:
    """Routes of the page and of what can be done on it."""
    router = APIRouter(include_in_schema=False)

    def page(request: Request) -> Response:
        return render(request, "access.html", access_page(parts))

    router.add_api_route("/access", page, response_model=None)
    for name, act in (
        ("password", new_password(parts, door)),
        ("grant", new_grant(parts, render)),
        ("withdraw", withdraw(parts)),
        ("sign-out", sign_out(parts, everywhere=False)),
        ("sign-out-everywhere", sign_out(parts, everywhere=True)),
    ):
        router.add_api_route(
            f"/access/{name}", _acting(parts, render, act), methods=["POST"], response_model=None
        )
    return router


def _acting(parts: WebParts, render: Renderer, act: Act) -> Callable[..., Response]:
    def answer(request: Request, form: Guarded) -> Response:
        try:
            return act(request, form)
        except (InvalidInputError, ConflictError) as error:
            page = replace(
                access_page(parts),
                error=str(error),
                scope=form.text("scope"),
                name=form.text("name"),
                sensor=form.text("sensor"),
                days=form.text("days"),
            )
            return render(request, "access.html", page, status=422)

    return answer


def new_password(parts: WebParts, door: Door) -> Act:
    """Set a password; who has one must know it. Every other browser is signed out."""

    def act(request: Request, form: Form) -> Response:
        first = not parts.store.password_hash()
        if not first:
            status, words, _ = door.flaw(request, form.text("old"))
            if status:
                raise InvalidInputError(words, "old")
        parts.store.set_password_hash(checked_new(parts, form), first=first)
        log.info("A new password was set from %s.", address_of(request))
        return signed_in(parts, request, RedirectResponse("/access", status_code=303))

    return act


def new_grant(parts: WebParts, render: Renderer) -> Act:
    """Make a token or a link, and show its key this once."""

    def act(request: Request, form: Form) -> Response:
        typed = Typed(form, parts.style)
        scope = next((s for s in Scope if s.value == form.text("scope")), None)
        if scope is None:
            raise InvalidInputError("Choose what it is to be good for.", "scope")
        sensor = form.text("sensor") if scope is Scope.INGEST else ""
        if sensor and "/" not in sensor:
            sensor = f"{parts.settings.site}/{sensor}"
        name, days = typed.text("name"), typed.whole("days")
        now_ms = parts.clock.now_ms()
        _, key = give(parts.store, scope, name, now_ms, sensor=sensor, days=days)
        log.info("A grant of kind %s was made.", scope)
        link = f"{request.url.scheme}://{request.headers['host']}/shared/{key}"
        made, words = (link, SHARED) if scope is Scope.SHARE else (key, TOKEN)
        page = replace(access_page(parts), made=made, made_words=words)
        answer = render(request, "access.html", page)
        answer.headers["Cache-Control"] = "no-store"
        return answer

    return act


def withdraw(parts: WebParts) -> Act:
    """Withdraw a token or link; from now on it opens nothing."""

    def act(request: Request, form: Form) -> Response:
        del request
        number = Typed(form, parts.style).whole("id") or 0
        parts.store.withdraw_grant(number, parts.clock.now_ms())
        log.info("Grant %d was withdrawn.", number)
        return RedirectResponse("/access", status_code=303)

    return act


def sign_out(parts: WebParts, *, everywhere: bool) -> Act:
    """End the session of this browser, or all of them, and have it forget what it kept."""

    def act(request: Request, form: Form) -> Response:
        del form
        if everywhere:
            parts.store.drop_sessions()
        else:
            parts.store.drop_session(digest_of(session_key(request)))
        log.info("The owner signed out%s.", " everywhere" if everywhere else "")
        scheme = request.url.scheme
        answer = RedirectResponse("/sign-in", status_code=303)
        answer.delete_cookie(session_cookie(scheme), secure=scheme == "https", httponly=True)
        answer.headers["Clear-Site-Data"] = '"cache", "storage"'
        return answer

    return act
