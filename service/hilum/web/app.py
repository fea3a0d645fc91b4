"""Puts the web application together. Nothing exists until ``create_app`` is called."""

from collections.abc import Callable

from fastapi import Depends, FastAPI
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response

from hilum import __version__
from hilum.web.api import api_router
from hilum.web.assets import HashedFiles, StaticUrls, web_folder
from hilum.web.deeds.accesspage import access_router
from hilum.web.guard.csrf import FormTokens
from hilum.web.guard.faults import CODES, answerer, install_handlers
from hilum.web.guard.gate import gate, install_gate
from hilum.web.guard.http import HeadAsGet, SecurityHeaders
from hilum.web.guard.limits import Limits
from hilum.web.guard.signing import Door, signing_router
from hilum.web.imports import import_router
from hilum.web.intake import intake_router
from hilum.web.pages import page_router
from hilum.web.parts import WebParts
from hilum.web.render import Renderer, environment

GZIP_FROM_BYTES = 1024


def create_app(parts: WebParts) -> FastAPI:
    """Make the application that serves the pages, live values and the JSON interface.

    Parameters
    ----------
    parts : WebParts
        Store, clock, live hub, status of ingest, and the settings the pages use.

    Notes
    -----
    Streams of live values end when ``parts.live.close()`` is called; do so before the server is
    asked to stop, since it waits for open answers.
    """
    folder = web_folder()
    static = folder / "static"
    env = environment(folder / "templates", StaticUrls(static), parts.compiled)
    render = Renderer(env, parts.settings.site, parts.clock)
    app = FastAPI(
        title="Hilum",
        version=__version__,
        docs_url=None,  # these pages would load scripts from elsewhere
        redoc_url=None,
        openapi_url=None,  # served by a route that the rules guard like any other
        dependencies=[Depends(gate(parts))],
    )
    app.add_middleware(HeadAsGet)
    app.add_middleware(FormTokens)
    app.add_middleware(Limits, doors=parts.doors, refuse=_refusals(render))
    app.add_middleware(GZipMiddleware, minimum_size=GZIP_FROM_BYTES)
    app.add_middleware(SecurityHeaders)
    install_handlers(app, render, parts.style.zone)
    install_gate(app)
    _include(app, parts, render)
    app.mount("/static", HashedFiles(directory=static), name="static")
    return app


def _include(app: FastAPI, parts: WebParts, render: Renderer) -> None:
    """Add every route; ``hilum.web.guard.rules`` says who may ask for it."""
    door = Door(parts)
    app.include_router(api_router(parts))
    if parts.ingest_http is not None:
        app.include_router(intake_router(parts, parts.ingest_http))
    app.add_api_route("/api/openapi.json", app.openapi, include_in_schema=False)
    app.include_router(signing_router(parts, render, door))
    app.include_router(access_router(parts, render, door))
    app.include_router(import_router(parts, render))  # before /lots/{code}
    app.include_router(page_router(parts, render))


def _refusals(render: Renderer) -> Callable[[Request, int, str], Response]:
    answer = answerer(render)

    def refuse(request: Request, status: int, words: str) -> Response:
        return answer(request, status, CODES.get(status, "http"), words, None)

    return refuse
