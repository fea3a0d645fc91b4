"""Puts the web application together. Nothing exists until ``create_app`` is called."""

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware

from hilum import __version__
from hilum.web.api import api_router
from hilum.web.assets import HashedFiles, StaticUrls, web_folder
from hilum.web.csrf import FormTokens
from hilum.web.faults import install_handlers
from hilum.web.http import HeadAsGet, SecurityHeaders
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
    env = environment(folder / "templates", StaticUrls(static))
    render = Renderer(env, parts.settings.site, parts.clock)
    app = FastAPI(
        title="Hilum",
        version=__version__,
        docs_url=None,  # these pages would load scripts from elsewhere
        redoc_url=None,
        openapi_url="/api/openapi.json",
    )
    app.add_middleware(HeadAsGet)
    app.add_middleware(FormTokens)
    app.add_middleware(GZipMiddleware, minimum_size=GZIP_FROM_BYTES)
    app.add_middleware(SecurityHeaders)
    install_handlers(app, render)
    app.include_router(api_router(parts))
    app.include_router(page_router(parts, render))
    app.mount("/static", HashedFiles(directory=static), name="static")
    return app
