"""Only a page of Hilum itself can change anything."""

from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from hilum.web.app import create_app
from hilum.web.guard.csrf import COOKIE, FIELD, MOST_BYTES, guarded
from hilum.web.parts import WebParts
from web.sending import filled_in, form_on

SAFE = {"GET", "HEAD", "OPTIONS"}
URL = "/boxes/drawer/opened"
FORM_TYPE = "application/x-www-form-urlencoded"


def depended_on(dependant: Dependant) -> Iterator[object]:
    """Give every function a route depends on."""
    for each in dependant.dependencies:
        yield each.call
        yield from depended_on(each)


def routes(app: FastAPI) -> list[APIRoute]:
    """Give every route of the application, those of included routers too."""
    found, waiting = [], list(app.routes)
    while waiting:
        route = waiting.pop()
        if isinstance(route, APIRoute):
            found.append(route)
        inner = getattr(route, "original_router", None) or getattr(route, "router", None)
        waiting += getattr(inner, "routes", [])
    return found


def test_every_route_that_changes_something_is_guarded(parts: WebParts) -> None:
    """Whoever adds a route with POST, PUT, PATCH or DELETE must depend on the guard."""
    changing = [route for route in routes(create_app(parts)) if (route.methods or set()) - SAFE]
    assert len(changing) > 10
    for route in changing:
        assert guarded in set(depended_on(route.dependant)), route.path


def token(client: TestClient) -> str:
    """Give the token a page carries, which also is in the cookie."""
    (found,) = filled_in(form_on(client, URL, URL))[FIELD]
    assert client.cookies[COOKIE] == found
    return found


def noted(parts: WebParts) -> int:
    """Count the lines of the box."""
    return len(parts.store.events(box="drawer"))


def test_the_cookie_is_kept_from_scripts_and_other_sites(client: TestClient) -> None:
    """HttpOnly, SameSite=Strict, for all pages; Secure over TLS; and not sent again."""
    said = client.get("/").headers["set-cookie"]
    assert "HttpOnly" in said
    assert "SameSite=strict" in said
    assert "Path=/" in said
    assert "Secure" not in said
    assert "set-cookie" not in client.get("/lots").headers
    client.cookies.clear()
    client.base_url = "https://localhost"
    assert "Secure" in client.get("/").headers["set-cookie"]


def test_a_cookie_that_is_no_token_is_replaced(client: TestClient) -> None:
    """A short token that somebody planted is not taken on."""
    client.cookies.set(COOKIE, "abc")
    answer = client.get("/")
    assert COOKIE in answer.headers["set-cookie"]


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "http://localhost"},
        {"sec-fetch-site": "same-origin", "origin": "http://localhost"},
        {"sec-fetch-site": "none"},
    ],
)
def test_a_page_of_ours_is_heard(
    parts: WebParts, client: TestClient, headers: dict[str, str]
) -> None:
    """With the token, from our own address or from a browser that does not say."""
    before, data = noted(parts), {FIELD: token(client)}
    answer = client.post(URL, data=data, headers=headers, follow_redirects=False)
    assert answer.status_code == 303
    assert noted(parts) == before + 1


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "http://elsewhere.example"},
        {"origin": "http://localhost:81"},
        {"origin": "null"},
    ],
)
def test_another_site_is_refused_even_with_the_token(
    parts: WebParts, client: TestClient, headers: dict[str, str]
) -> None:
    """Whoever got hold of the token still cannot send it from elsewhere."""
    before, data = noted(parts), {FIELD: token(client)}
    answer = client.post(URL, data=data, headers=headers)
    assert answer.status_code == 403
    assert "asked for by another site" in answer.text
    assert noted(parts) == before


@pytest.mark.parametrize("given", ["", "x", "Ω", "A" * 43])
def test_a_wrong_token_is_refused(parts: WebParts, client: TestClient, given: str) -> None:
    """Without the token, or with another one, nothing is done and the page says what to do."""
    token(client)
    before = noted(parts)
    answer = client.post(URL, data={FIELD: given})
    assert answer.status_code == 403
    assert "load the page again" in answer.text
    assert noted(parts) == before


def test_no_cookie_no_change(parts: WebParts, client: TestClient) -> None:
    """A token without its cookie proves nothing, an empty one beside none neither."""
    given = token(client)
    client.cookies.clear()
    before = noted(parts)
    for each in (given, ""):
        assert client.post(URL, data={FIELD: each}).status_code == 403
    assert noted(parts) == before


def test_what_is_no_form_is_refused(client: TestClient) -> None:
    """JSON, a body without end, too many fields and bytes that are no text."""
    token(client)
    assert client.post(URL, json={FIELD: "x"}).status_code == 415
    headers = {"content-type": FORM_TYPE}
    for body in (b"a=" + b"x" * MOST_BYTES, b"a=1&" * 20_001, b"a=%C3%28", b"\xff=1"):
        answer = client.post(URL, content=body, headers=headers)
        assert answer.status_code in {403, 413}
