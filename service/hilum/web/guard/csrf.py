"""Lets only pages of Hilum itself change anything, whether or not people sign in.

Two defences, both needed. The browser says where a request comes from (``Sec-Fetch-Site``, else
``Origin``): what another site asks for is refused. And every form carries a token that the browser
also holds in a cookie (double submit), which no script and no other site can read.

Every route that changes something depends on :func:`guarded`, which gives what was typed: there is
no other way to it.
"""

import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated
from urllib.parse import parse_qs, urlsplit

from fastapi import Depends
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection, Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from hilum.web.guard import multipart
from hilum.web.guard.multipart import Part

COOKIE = "hilum_form"
FIELD = "form_token"
COOKIE_S = 180 * 86_400
MOST_BYTES = 1_000_000
MOST_FILE_BYTES = 10_000_000
MOST_FIELDS = 20_000
FORM_TYPE = "application/x-www-form-urlencoded"

ELSEWHERE = (
    "This was asked for by another site, so nothing was done. Open the page here and do it there."
)
STALE = (
    "Nothing was done: this page was open for too long, or cookies are switched off. Go back, "
    "load the page again and send it once more."
)


@dataclass(frozen=True, slots=True)
class Form:
    """What was typed into a form, by name of field; blanks at the ends are left off."""

    values: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    files: Mapping[str, Part] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """Give the last value of a field; empty where there is none."""
        return self.values.get(name, ("",))[-1]

    def many(self, name: str) -> tuple[str, ...]:
        """Give all values of a field that are not empty, in order of the page."""
        return tuple(value for value in self.values.get(name, ()) if value)


def form_cookie(scheme: str) -> str:
    """Name of the cookie; over TLS one that no other site of the domain can plant."""
    return f"__Host-{COOKIE}" if scheme == "https" else COOKIE


class FormTokens:
    """Gives every visitor a token for forms: as ``request.state.form_token`` and as a cookie."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        kept = HTTPConnection(scope).cookies.get(form_cookie(scope["scheme"]), "")
        token = kept if re.fullmatch(r"[\w-]{43}", kept, re.ASCII) else secrets.token_urlsafe(32)
        scope.setdefault("state", {})["form_token"] = token

        async def send_with_cookie(message: Message) -> None:
            if message["type"] == "http.response.start" and token != kept:
                headers = MutableHeaders(scope=message)
                if headers.get("content-type", "").startswith("text/html"):
                    headers.append("set-cookie", _cookie(token, secure=scope["scheme"] == "https"))
            await send(message)

        await self.app(scope, receive, send_with_cookie)


def _cookie(token: str, *, secure: bool) -> str:
    answer = Response()
    answer.set_cookie(
        form_cookie("https" if secure else "http"),
        token,
        max_age=COOKIE_S,
        httponly=True,
        samesite="strict",
        secure=secure,
    )
    return answer.headers["set-cookie"]


async def guarded(request: Request) -> Form:
    """Give what was typed, once it is certain that a page of Hilum sent it.

    Raises
    ------
    HTTPException
        403: it came from elsewhere or without a valid token. 413, 415: it is no form of ours.
    """
    check_origin(request.headers)
    form = await read_form(request)
    kept = request.cookies.get(form_cookie(request.url.scheme), "")
    given = form.text(FIELD)
    if not kept or not secrets.compare_digest(kept.encode(), given.encode()):
        raise HTTPException(403, STALE)
    return form


Guarded = Annotated[Form, Depends(guarded)]
"""Type of the argument by which a route asks for what was typed."""


def check_origin(headers: Headers) -> None:
    """Refuse what the browser says another site asked for; one that says nothing needs the token.

    ``none`` is a person's own doing, such as loading the answer to a form again.
    """
    site = headers.get("sec-fetch-site")
    if site is not None and site not in {"same-origin", "none"}:
        raise HTTPException(403, ELSEWHERE)
    origin = headers.get("origin")
    if site is None and origin is not None and urlsplit(origin).netloc != headers.get("host"):
        raise HTTPException(403, ELSEWHERE)


async def read_form(request: Request) -> Form:
    """Read the fields of a form, of a size that a person can have filled in, or with a file."""
    content_type = request.headers.get("content-type", "")
    sent_type = content_type.partition(";")[0].strip().lower()
    if sent_type not in {FORM_TYPE, multipart.FORM_TYPE}:
        raise HTTPException(415, "This address takes the form of its page only.")
    most = MOST_BYTES if sent_type == FORM_TYPE else MOST_FILE_BYTES
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > most:
            raise HTTPException(413, f"That is more than a form can hold ({most:,} bytes).")
    if sent_type == multipart.FORM_TYPE:
        return _with_files(multipart.read_parts(content_type, bytes(body)))
    try:
        found = parse_qs(bytes(body).decode(), keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except ValueError as error:  # not UTF-8, or too many fields
        raise HTTPException(413, "That is no form this page can have sent.") from error
    return Form({name: tuple(v.strip() for v in values) for name, values in found.items()})


def _with_files(parts: list[Part]) -> Form:
    values: dict[str, tuple[str, ...]] = {}
    for part in parts:
        if not part.filename:
            text = part.data.decode("utf-8", "replace").strip()
            values[part.name] = (*values.get(part.name, ()), text)
    return Form(values, {part.name: part for part in parts if part.filename})
