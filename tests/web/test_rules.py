"""Every route for everybody: who may, and who is refused, in each state of the place.

The routes come from the application itself, so that one without a rule fails here.
"""

from collections.abc import Iterator

import pytest
from starlette.routing import BaseRoute, Mount, Route
from starlette.testclient import TestClient

from hilum.domain.access import Session
from hilum.keeping.access import digest_of
from hilum.web.app import create_app
from hilum.web.guard import gate
from hilum.web.guard.rules import RULES
from hilum.web.parts import WebParts
from web.guarded import (
    FORM_TOKEN,
    PASSWORD,
    Visitor,
    client_of,
    cookie_header,
    small_place,
    visitors,
    with_form,
)
from web.small_world import NOW_MS

# What each may ask for, said once more here: the table of the program is not its own witness.
ANYBODY = {
    "GET /healthz",
    "GET /sign-in",
    "POST /sign-in",
    "GET /first-password",
    "POST /first-password",
    "GET /shared/{key}",
}
LOOKING = {
    "GET /",
    "GET /boxes/{slug}",
    "GET /lots",
    "GET /lots/{code}",
    "GET /journal",
    "GET /lots/{code}/compare",
    "GET /boxes/{slug}/compare",
    "GET /boxes/{slug}/review",
    "GET /sure",
    "GET /live",
}
VALUES = {"GET /api/openapi.json", "GET /api/boxes/{slug}/history"}
SENDING = {"POST /api/readings"}
MAY = {
    "nobody": ANYBODY,
    "share": ANYBODY | LOOKING | VALUES,
    "share withdrawn": ANYBODY,
    "read": ANYBODY | VALUES,
    "read withdrawn": ANYBODY,
    "ingest": ANYBODY | SENDING,
    "ingest withdrawn": ANYBODY,
}
REFUSALS = (gate.LOCKED, gate.SIGNED_OUT, gate.ONLY_LOOK, gate.NO_TOKEN, gate.OTHER_TOKEN)


def routes_below(routes: list[BaseRoute]) -> Iterator[BaseRoute]:
    """Every route, those of included routers too."""
    for route in routes:
        inner = getattr(route, "original_router", None)
        if inner is None:
            yield route
        else:
            yield from routes_below(inner.routes)


def all_routes() -> tuple[str, ...]:
    """Method and path of every route there is; only static files stand apart."""
    found = []
    for route in routes_below(create_app(small_place()).routes):
        if isinstance(route, Mount):
            assert route.path == "/static"
            continue
        assert isinstance(route, Route)
        found += [f"{method} {route.path}" for method in (route.methods or set()) - {"HEAD"}]
    return tuple(found)


ROUTES = all_routes()


def may(who: str, route: str, mode: str) -> bool:
    """Tell who may ask for what."""
    token = who.startswith(("read", "ingest"))
    if mode == "locked" and not token:  # nor is there anything to sign in with
        return route in ANYBODY - {"GET /sign-in"}
    if who == "owner" or (mode == "open" and not token):
        return route not in SENDING
    return route in MAY[who]


def ask(client: TestClient, route: str, visitor: Visitor, share_key: str) -> bool:
    """Ask for a route; tell whether the gate let the request pass."""
    method, path = route.split()
    key = (
        {"/boxes": "drawer", "/shared": share_key}.get(path[: path.index("/", 1)], "L-0001")
        if "{key}" in path
        else ""
    )
    url = path.format(key=key, slug="drawer", code="L-0001")
    headers = cookie_header(with_form(visitor))
    data = {"form_token": FORM_TOKEN, "password": PASSWORD} if method == "POST" else None
    answer = client.request(method, url, headers=headers, data=data)
    assert answer.status_code not in {405, 500}, (route, answer.text)
    to_sign_in = answer.headers.get("location", "").startswith("/sign-in?next=")
    return not to_sign_in and not any(words in answer.text for words in REFUSALS)


@pytest.fixture(scope="module", params=["guarded", "open", "locked"])
def place(request: pytest.FixtureRequest) -> tuple[str, WebParts, dict[str, Visitor]]:
    """The place with a password; without one for this machine alone; without one for others."""
    mode = str(request.param)
    parts = small_place(password=mode == "guarded", local=mode != "locked")
    parts.live.close()  # streams would never end
    return mode, parts, visitors(parts)


def test_every_route_has_a_rule_and_every_rule_a_route() -> None:
    """What is new needs a decision; what is gone leaves no rule behind."""
    assert sorted(ROUTES) == sorted(RULES)


def test_every_route_answers_to_whom_it_should(
    place: tuple[str, WebParts, dict[str, Visitor]],
) -> None:
    """Each route is asked for by everybody; only those who may are let pass."""
    mode, parts, everybody = place
    wrong = []
    with client_of(parts) as client:
        for who, visitor in everybody.items():
            if who == "owner" and mode != "guarded":
                continue  # nobody can be signed in
            for route in ROUTES:
                restore_session(parts, everybody["owner"])
                passed = ask(client, route, visitor, everybody["share"].cookies["hilum_share"])
                if passed != may(who, route, mode):
                    wrong.append((who, route, passed))
                client.cookies.clear()
    assert wrong == []


def restore_session(parts: WebParts, owner: Visitor) -> None:
    """Sign the owner in again, whatever the last request did."""
    digest = digest_of(owner.cookies["hilum_session"])
    parts.store.save_session(Session(digest, NOW_MS, NOW_MS))


def test_a_route_without_a_rule_is_for_the_owner() -> None:
    """Should the table ever lack a line, the page is closed, not open."""
    parts = small_place()
    everybody = visitors(parts)
    app = create_app(parts)
    app.add_api_route("/forgotten", lambda: "here")
    with TestClient(app, "http://localhost", follow_redirects=False) as client:
        got = {
            who: client.get("/forgotten", headers=cookie_header(visitor)).status_code
            for who, visitor in everybody.items()
        }
    assert got.pop("owner") == 200
    assert set(got.values()) <= {303, 401, 403}


@pytest.mark.parametrize("name", ["forwarded", "x-forwarded-for", "x-forwarded-host", "via"])
def test_a_proxy_does_not_open_what_is_for_this_machine(name: str) -> None:
    """Without a password, what a proxy passes on is refused, whatever the settings say."""
    with client_of(small_place(password=False)) as client:
        assert client.get("/").status_code == 200
        answer = client.get("/", headers={name: "203.0.113.7"})
    assert answer.status_code == 403
    assert gate.LOCKED in answer.text
