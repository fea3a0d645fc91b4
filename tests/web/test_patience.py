"""A page over many lots says that it is being worked out, and comes by itself."""

import threading
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from hilum.domain.ports import Store
from hilum.keeping.lots.compare import BoxComparison, compare_box
from hilum.web.app import create_app
from hilum.web.parts import WebParts
from web.elements import parse
from web.small_world import NOW_MS

HOUR = 3_600_000


def test_a_slow_page_says_so_and_comes_by_itself(
    parts: WebParts, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While it is worked out there is a whole page that is asked for again, then the page."""
    go_on = threading.Event()

    def slow(store: Store, slug: str, now_ms: int) -> BoxComparison:
        assert go_on.wait(30)
        return compare_box(store, slug, now_ms)

    monkeypatch.setattr("hilum.web.compares.compare_box", slow)
    hasty = create_app(replace(parts, patience_s=0.01))
    with TestClient(hasty, "http://localhost") as client:
        first = client.get("/boxes/tub/compare")
        go_on.set()
        page = first
        while page.status_code == 202:
            page = client.get("/boxes/tub/compare")

    assert first.status_code == 202
    assert first.headers["refresh"] == "2"
    found = parse(first.text)
    assert found.one("h1").text == "Working it out"
    assert "It comes by itself." in found.one("main").text
    assert found.one("nav", of="pages")
    assert page.status_code == 200
    assert "kept otherwise" in parse(page.text).one("h1").text
    assert "refresh" not in page.headers


def test_a_program_is_told_to_ask_again(parts: WebParts, monkeypatch: pytest.MonkeyPatch) -> None:
    """Under /api the same is an error with a stable name, and when to come again."""
    go_on = threading.Event()

    def slow(*_: object) -> None:
        assert go_on.wait(30)

    monkeypatch.setattr("hilum.web.deeds.watchviews.desiccant_outlook", slow)
    hasty = create_app(replace(parts, patience_s=0.01))
    with TestClient(hasty, "http://localhost") as client:
        answer = client.get(f"/api/boxes/tub/history?from={NOW_MS - HOUR}&to={NOW_MS + HOUR}")
    go_on.set()

    assert answer.status_code == 503
    assert answer.json()["error"]["code"] == "still-working"
    assert answer.headers["retry-after"] == "2"
