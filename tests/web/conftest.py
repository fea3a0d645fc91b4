"""A small place to look at, as an application and in a real server, and the system's Chromium."""

import os
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.web.app import create_app
from hilum.web.live import LiveHub
from hilum.web.parts import IngestStatus, WebParts, WebSettings
from web.browser import chromium, chromium_path
from web.server import running
from web.small_world import FixedClock, small_world


@pytest.fixture
def parts() -> WebParts:
    """Parts of the small place, with a store of their own."""
    status = IngestStatus(connected=True, broker="127.0.0.1:1883", received=7, stored=6, rejected=1)
    store, clock = small_world(), FixedClock()
    return WebParts(
        store=store,
        clock=clock,
        sheets=lambda: Sheets(store, clock, "Europe/Brussels"),
        live=LiveHub(),
        ingest_status=lambda: status,
        settings=WebSettings(site="saltmarsh-lane", time_zone="Europe/Brussels"),
    )


@pytest.fixture
def client(parts: WebParts) -> Iterator[TestClient]:
    """Ask the application without a network."""
    with TestClient(create_app(parts), "http://localhost", raise_server_exceptions=False) as asking:
        yield asking


@pytest.fixture
def address(parts: WebParts) -> Iterator[str]:
    """Address of the small place in a real server."""
    with running(create_app(parts), parts.live) as url:
        yield url


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """The system's Chromium; skipped where there is none, unless services are required.

    For one module only: while it runs its event loop stands in the way of others.
    """
    path = chromium_path()
    if path is None:
        reason = "Chromium is not installed (Debian package chromium)"
        if os.environ.get("HILUM_REQUIRE_SERVICES"):
            pytest.fail(reason)
        pytest.skip(reason)
    with chromium(path) as started:
        yield started
