"""Errors as answers: a page in plain words, or the one JSON shape under ``/api``."""

from collections.abc import Callable
from datetime import tzinfo

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from hilum.domain.errors import (
    AmbiguousNameError,
    ClockNotSetError,
    ConflictError,
    HilumError,
    InvalidInputError,
    NoLifeModelError,
    NotFoundError,
    OutOfRangeError,
    StoreError,
    UnknownNameError,
)
from hilum.domain.moments import in_zone
from hilum.web.guard.http import SECURITY_HEADERS
from hilum.web.kept import StillWorkingError
from hilum.web.render import Renderer
from hilum.web.views.contexts import ErrorPage

KINDS: tuple[tuple[type[Exception], int, str], ...] = (
    (NotFoundError, 404, "not-found"),
    (InvalidInputError, 422, "invalid-input"),
    (OutOfRangeError, 422, "out-of-range"),
    (UnknownNameError, 422, "unknown-name"),
    (AmbiguousNameError, 422, "ambiguous-name"),
    (NoLifeModelError, 422, "no-life-model"),
    (ConflictError, 409, "conflict"),
    (StoreError, 503, "store"),
    (ClockNotSetError, 503, "clock-not-set"),
    (HilumError, 500, "failed"),
)
"""Our errors with status and stable name, the narrower before the wider."""

TITLES = {
    202: "Working it out",
    401: "Sign in first",
    403: "Nothing was done",
    404: "There is nothing here",
    405: "That cannot be done here",
    409: "That contradicts what is kept",
    408: "That took too long",
    413: "That is too much",
    415: "That cannot be used",
    421: "Not under this name",
    422: "That cannot be used",
    429: "Too often",
    431: "That is too much",
    503: "Hilum cannot answer just now",
}
FAILED = "Something failed"
FAILED_WORDS = (
    "This page could not be made. Readings are still being kept: that part of Hilum does not "
    "depend on the pages. The log says what happened."
)
CODES = {
    401: "not-signed-in",
    403: "not-allowed-to",
    404: "not-found",
    405: "not-allowed",
    408: "too-slow",
    413: "too-much",
    415: "not-this-type",
    429: "too-often",
}
"""Stable names of refusals, by status."""

HTTP_WORDS = {
    404: "No page has this address. It may have been mistyped, or the thing it showed is gone.",
    405: "This address does not take that kind of request.",
}

Answer = Callable[[Request, int, str, str, str | None], Response]


def answerer(render: Renderer) -> Answer:
    """Make what turns a status and words into a page, or into the JSON shape."""

    def answer(request: Request, status: int, code: str, words: str, field: str | None) -> Response:
        if request.url.path.startswith("/api/"):
            error = {"code": code, "message": words, "field": field}
            return JSONResponse({"error": error}, status_code=status)
        page = ErrorPage(title=TITLES.get(status, FAILED), status=status, words=words)
        return render(request, "error.html", page, status=status)

    return answer


STILL_WORKING = (
    "This page looks at many lots, which takes a while the first time. It comes by itself."
)
LOOK_AGAIN_S = "2"


def install_handlers(app: FastAPI, render: Renderer, zone: tzinfo) -> None:
    """Turn every error into an answer, with times as clocks in a zone show them."""
    answer = answerer(render)

    def ours(request: Request, error: Exception) -> Response:
        status, code = next((s, c) for kind, s, c in KINDS if isinstance(error, kind))
        words = in_zone(str(error), zone)
        return answer(request, status, code, words, getattr(error, "field", None))

    def working(request: Request, error: Exception) -> Response:
        del error
        status = 503 if request.url.path.startswith("/api/") else 202
        found = answer(request, status, "still-working", STILL_WORKING, None)
        found.headers["Retry-After" if status == 503 else "Refresh"] = LOOK_AGAIN_S
        return found

    def http(request: Request, error: Exception) -> Response:
        status = error.status_code if isinstance(error, HTTPException) else 500
        code = CODES.get(status, "http")
        words = HTTP_WORDS.get(status) or str(getattr(error, "detail", ""))
        found = answer(request, status, code, words, None)
        found.headers.update(getattr(error, "headers", None) or {})
        return found

    def invalid(request: Request, error: Exception) -> Response:
        first = error.errors()[0] if isinstance(error, RequestValidationError) else {}
        place = [str(part) for part in first.get("loc", ())[1:]]
        field = ".".join(place) or None
        words = f"“{field}” cannot be used: {first.get('msg', 'not as agreed')}."
        return answer(request, 422, "invalid-input", words, field)

    def failed(request: Request, error: Exception) -> Response:
        del error  # the server logs it
        found = answer(request, 500, "failed", FAILED_WORDS, None)
        found.headers.update(SECURITY_HEADERS)  # this answer is made outside the middleware
        return found

    def gone(request: Request, error: Exception) -> Response:
        del request, error  # whoever asked hung up: nobody hears this, and nothing went wrong
        return Response(status_code=400)

    app.add_exception_handler(ClientDisconnect, gone)
    for kind, _, _ in KINDS:
        app.add_exception_handler(kind, ours)
    app.add_exception_handler(StillWorkingError, working)
    app.add_exception_handler(HTTPException, http)
    app.add_exception_handler(RequestValidationError, invalid)
    app.add_exception_handler(Exception, failed)
