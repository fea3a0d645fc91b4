"""Attacks that are known by name, one by one; each would work on pages that do not care."""

import asyncio
import socket
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.testclient import TestClient
from starlette.types import Message

from hilum.domain.access import Scope
from hilum.domain.model import (
    Box,
    BoxType,
    Event,
    EventType,
    GerminationTest,
    Lot,
    PlanLine,
    Reading,
    SeasonPlan,
    Stay,
    Wrap,
)
from hilum.keeping.access import digest_of, give
from hilum.web.app import create_app
from hilum.web.assets import web_folder
from hilum.web.guard import limits
from hilum.web.guard.limits import MOST_BODY, MOST_BODY_OF, MOST_HEADERS, Bounded, host_name
from hilum.web.guard.signing import own_address
from hilum.web.parts import Doors, WebParts
from web.elements import parse
from web.guarded import (
    FORM_TOKEN,
    PASSWORD,
    client_of,
    cookie_header,
    owner,
    small_place,
    with_form,
)
from web.sending import send
from web.server import running
from web.small_world import NOW_MS

DAY = date(2025, 11, 1)
MARKUP = '<script>alert(1)</script><img src=x onerror="alert(2)">"\'{{7*7}}'


@pytest.fixture
def place() -> WebParts:
    """The small place with a password."""
    return small_place()


@pytest.fixture
def signed_in(place: WebParts) -> Iterator[TestClient]:
    """The owner, signed in."""
    with client_of(place) as client:
        client.cookies.set("hilum_session", owner(place).cookies["hilum_session"])
        yield client


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site", "origin": "https://elsewhere.example"},
        {"sec-fetch-site": "same-site"},
        {"origin": "https://elsewhere.example"},
        {"origin": "null"},
    ],
)
def test_cross_site_request(place: WebParts, headers: dict[str, str]) -> None:
    """A page elsewhere cannot act for the owner, though the browser sends every cookie along."""
    sent = cookie_header(with_form(owner(place))) | headers
    data = {"form_token": FORM_TOKEN, "scope": "read", "name": "planted"}
    with client_of(place) as client:
        assert client.post("/access/grant", headers=sent, data=data).status_code == 403
    assert place.store.grants() == []


def test_cross_site_request_without_the_token(place: WebParts) -> None:
    """An old browser that says nothing about where it is still lacks the token of the form."""
    with client_of(place) as client:
        sent = cookie_header(with_form(owner(place)))
        for data in ({}, {"form_token": "g" * 43}):
            given = {**data, "scope": "read", "name": "planted"}
            assert client.post("/access/grant", headers=sent, data=given).status_code == 403
    assert place.store.grants() == []


def test_session_fixation(place: WebParts) -> None:
    """A key planted before signing in, known or made up, is not the key afterwards."""
    planted = owner(place).cookies["hilum_session"]
    for key in (planted, "k" * 43):
        with client_of(place) as client:
            client.cookies.set("hilum_session", key, domain="localhost.local", path="/")
            place.store.drop_session(digest_of(key))
            send(client, "/sign-in", 303, password=PASSWORD)
            held = [c.value for c in client.cookies.jar if c.name == "hilum_session"]
            assert key not in held[-1:]
            assert place.store.session(digest_of(key)) is None


def test_session_planted_by_a_living_key(place: WebParts) -> None:
    """Signing in ends the session the browser came with, so nobody else goes on with it."""
    visitor = with_form(owner(place))
    key = visitor.cookies["hilum_session"]
    data = {"form_token": FORM_TOKEN, "password": PASSWORD}
    with client_of(place) as client:
        answer = client.post("/sign-in", headers=cookie_header(visitor), data=data)
        assert answer.status_code == 303
        assert key not in answer.headers["set-cookie"]
    assert place.store.session(digest_of(key)) is None


@pytest.mark.parametrize(
    "path",
    [
        "/static/../templates/base.html",
        "/static/%2e%2e/templates/base.html",
        "/static/..%2ftemplates/base.html",
        "/static/..%5ctemplates%5cbase.html",
        "/static/%2e%2e%2f%2e%2e%2fpyproject.toml",
        "/static//etc/passwd",
        "/static/%00hilum.css",
    ],
)
def test_path_traversal(place: WebParts, path: str) -> None:
    """Over the wire, where no client tidies the path: no file outside of the folder is served."""
    assert (web_folder() / "templates" / "base.html").is_file()
    with running(create_app(place), place.live) as url:
        status, body = raw_request(url, f"GET {path} HTTP/1.1")
    assert status in {400, 404}
    assert "{%" not in body
    assert "root:" not in body


@pytest.mark.parametrize(
    "back",
    [
        "/lots\r\nSet-Cookie: planted=1",
        "/lots%0d%0aSet-Cookie:%20planted=1",
        "/lots\nX-Planted: 1",
    ],
)
def test_header_injection(place: WebParts, back: str) -> None:
    """What is typed or asked for adds no header to an answer."""
    with client_of(place) as client:
        client.cookies.set("hilum_form", FORM_TOKEN)
        data = {"form_token": FORM_TOKEN, "password": PASSWORD, "next": back}
        answer = client.post("/sign-in", data=data)
    names = {name.lower() for name in answer.headers}
    assert "x-planted" not in names
    assert all("planted=1" not in c for c in answer.headers.get_list("set-cookie"))


def test_stored_markup(place: WebParts, signed_in: TestClient) -> None:
    """Markup in every text somebody can enter is shown as text, on every page that shows it."""
    store, url = place.store, "evil"
    store.save_box(Box(url, MARKUP, BoxType.TUB, note=MARKUP))
    lot = Lot("EVIL", "onion", variety=MARKUP, source=MARKUP, note=MARKUP)
    store.save_lot(lot)
    store.add_stay(Stay(0, "EVIL", url, Wrap.PAPER, NOW_MS - 1))
    store.add_event(Event(0, NOW_MS, EventType.NOTE, box=url, lot="EVIL", text=MARKUP))
    store.add([Reading(f"home/{MARKUP}", NOW_MS, 20.0, 30.0)], NOW_MS)
    store.add_test(GerminationTest(0, "EVIL", DAY, 10, 5, method=MARKUP, note=MARKUP))
    store.save_sensor(replace(store.sensor(f"home/{MARKUP}"), note=MARKUP))
    line = PlanLine("onion", 10, variety=MARKUP, note=MARKUP)
    plan = store.save_plan(SeasonPlan(0, MARKUP, DAY, note=MARKUP), [line])
    give(store, Scope.READ, MARKUP[:80], NOW_MS)
    shown = 0
    for page in (
        "/", "/boxes/evil", "/boxes/evil/edit", "/lots", f"/lots?q={MARKUP}", "/lots/EVIL",
        "/lots/EVIL/edit", "/lots/EVIL/use", "/journal", "/sensors", "/access", "/season",
        f"/season/{plan.id}", f"/season/{plan.id}/edit", "/boxes/evil/review",
        "/boxes/evil/compare", "/lots/EVIL/compare", f"/sensors/claim?sensor=home/{MARKUP}",
        f"/sign-in?next={MARKUP}", f"/{MARKUP}", f"/boxes/{MARKUP}",
    ):  # fmt: skip
        root = parse(signed_in.get(page).text)
        shown += "<script>alert(1)" in root.text
        assert [e for e in root.all("script") if "src" not in e.attrs] == [], page
        assert root.all("img") == [], page
        events = [n for e in root.walk() for n in e.attrs if n.startswith("on")]
        assert events == [], page
        assert "49" not in root.text or "{{7*7}}" in root.text, page
    assert shown >= 12


@pytest.mark.parametrize(
    "back",
    [
        "https://elsewhere.example/",
        "//elsewhere.example/",
        "/\\elsewhere.example/",
        "\\\\elsewhere.example",
        "http:elsewhere.example",
        "javascript:alert(1)",
        "/\t/elsewhere.example",
        "/%09/elsewhere.example\n",
        " //elsewhere.example",
        "///elsewhere.example",
        "elsewhere.example",
        "",
    ],
)
def test_open_redirect(place: WebParts, back: str) -> None:
    """Signing in leads to a page of this place, whatever “next” says."""
    assert own_address(back) in {"/", "/%09/elsewhere.example"}
    with client_of(place) as client:
        client.cookies.set("hilum_form", FORM_TOKEN)
        data = {"form_token": FORM_TOKEN, "password": PASSWORD, "next": back}
        target = client.post("/sign-in", data=data).headers["location"]
    assert target == "/" or target.startswith("/%09/")


@pytest.mark.parametrize("has_password", [True, False])
@pytest.mark.parametrize("given", ["", "x", PASSWORD, "p" * 5000, "\ud83c", "pass\x00word"])
def test_timing_of_sign_in(monkeypatch: pytest.MonkeyPatch, has_password: bool, given: str) -> None:
    """One hash is computed for any password, right or wrong, and also where there is none.

    Counted rather than timed: the hash takes nearly all of the time, and a clock would tell of the
    machine.
    """
    place = small_place(password=has_password, local=False)
    counted: list[str] = []
    verify = PasswordHasher.verify

    def counting(self: PasswordHasher, kept: str, password: str) -> bool:
        counted.append(kept)
        return bool(verify(self, kept, password))

    monkeypatch.setattr(PasswordHasher, "verify", counting)
    with client_of(place) as client:
        client.cookies.set("hilum_form", FORM_TOKEN)
        text = given.encode("utf-8", "surrogatepass").decode("utf-8", "replace")
        data = {"form_token": FORM_TOKEN, "password": text}
        status = client.post("/sign-in", data=data).status_code
    assert len(counted) == 1
    assert (status == 303) is (has_password and given == PASSWORD)


@pytest.mark.parametrize("path", ["/sign-in", "/api/readings", "/lots/new", "/nowhere", "/"])
def test_oversized_request(place: WebParts, path: str) -> None:
    """More than an address takes is refused in words, announced or not."""
    most = MOST_BODY_OF.get(path, MOST_BODY)
    with client_of(place) as client:
        announced = client.post(path, content=b"a" * (most + 1))
    assert announced.status_code == 413
    assert f"{most:,} bytes" in announced.text


@pytest.mark.parametrize(
    ("length", "expect", "read"), [(1_100_000, "", 2), (30_000_000, "", 0), (1_100_000, "x", 0)]
)
def test_oversized_body_is_read_out(place: WebParts, length: int, expect: str, read: int) -> None:
    """Who still sends is heard out before the answer; an endless body, or one on call, is not."""
    parts = [b"a" * 1_000_000, b"a" * 100_000]
    asked: list[bytes] = []

    async def receive() -> Message:
        asked.append(parts[len(asked)])
        return {"type": "http.request", "body": asked[-1], "more_body": len(asked) < len(parts)}

    async def tell(message: Message) -> None:
        if message["type"] == "http.response.start":
            assert (message["status"], len(asked)) == (413, read)

    async def never(*_: object) -> None:
        raise AssertionError

    headers = [(b"host", b"localhost"), (b"content-length", str(length).encode())]
    headers += [(b"expect", b"100-continue")] if expect else []
    scope = {"type": "http", "method": "POST", "path": "/lots/new", "headers": headers}
    limit = limits.Limits(never, place.doors, lambda _, status, words: Response(words, status))
    asyncio.run(limit(scope, receive, tell))


def test_oversized_request_in_pieces(place: WebParts) -> None:
    """A body of unknown length is read no further than its limit."""
    _, key = give(place.store, Scope.INGEST, "t", NOW_MS, sensor="home/t")
    sent = 0

    def pieces() -> Iterator[bytes]:
        nonlocal sent
        for _ in range(64):
            sent += 65_536
            yield b" " * 65_536

    headers = {"authorization": f"Bearer {key}", "content-type": "application/senml+json"}
    with client_of(place) as client:
        answer = client.post("/api/readings", headers=headers, content=pieces())
    assert answer.status_code == 413
    assert answer.json()["error"]["code"] == "too-much"


def test_slow_body(monkeypatch: pytest.MonkeyPatch) -> None:
    """A body that trickles is given up; after its end nothing is hurried."""
    monkeypatch.setattr(limits, "BODY_S", 0.05)

    async def never() -> Message:
        await asyncio.Event().wait()
        raise AssertionError

    async def whole() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def trickle() -> None:
        with pytest.raises(HTTPException) as caught:
            await Bounded(never, 10)()
        assert caught.value.status_code == 408
        quick = Bounded(whole, 10)
        await quick()
        await asyncio.sleep(0.1)
        assert (await quick())["body"] == b""

    asyncio.run(trickle())


def test_hanging_up_fills_no_log(place: WebParts, capfd: pytest.CaptureFixture[str]) -> None:
    """Whoever goes away in the middle of a form, again and again, leaves no trace in the log."""
    head = (
        b"POST /sign-in HTTP/1.1\r\nHost: localhost\r\nContent-Length: 900\r\n"
        b"Content-Type: application/x-www-form-urlencoded\r\n\r\npassword="
    )
    with running(create_app(place), place.live) as url:
        for _ in range(3):
            with socket.create_connection(("127.0.0.1", int(url.rpartition(":")[2])), 10) as link:
                link.sendall(head)
                time.sleep(0.05)  # until it reads
        status, _ = raw_request(url, "GET /sign-in HTTP/1.1")
    assert status == 200
    assert capfd.readouterr().err == ""


def test_too_many_headers(place: WebParts) -> None:
    """A request with more headers than any browser sends is refused."""
    with client_of(place) as client:
        many = {f"x-{number}": "1" for number in range(MOST_HEADERS)}
        assert client.get("/sign-in", headers=many).status_code == 431


@pytest.mark.parametrize("scheme", ["http", "https"])
def test_cookie_flags(scheme: str) -> None:
    """No script reads a cookie, no other site sends it; over TLS it goes no other way."""
    place = small_place()
    _, key = give(place.store, Scope.SHARE, "n", NOW_MS)
    with client_of(place, f"{scheme}://localhost") as client:
        shown = client.get(f"/shared/{key}").headers.get_list("set-cookie")
        answer = client.get("/sign-in")
        [token] = [c.value for c in client.cookies.jar if c.name.endswith("hilum_form")]
        data = {"form_token": token, "password": PASSWORD}
        answer = client.post("/sign-in", data=data)
    [session] = answer.headers.get_list("set-cookie")
    [share] = [each for each in shown if "hilum_share=" in each]
    for cookie, same_site in ((session, "strict"), (share, "lax")):
        flags = {part.strip().lower() for part in cookie.split(";")[1:]}
        assert {"httponly", "path=/", f"samesite={same_site}"} <= flags
        assert ("secure" in flags) is (scheme == "https")
        assert not any(flag.startswith("domain") for flag in flags)
        assert cookie.startswith("__Host-hilum_") is (scheme == "https")


def test_browsers_are_told_to_stay_with_tls() -> None:
    """A year of strict transport, on pages that came over TLS and on no others."""
    for scheme, told in (("https", "max-age=31536000"), ("http", None)):
        with client_of(small_place(), f"{scheme}://localhost") as client:
            assert client.get("/sign-in").headers.get("strict-transport-security") == told


@pytest.mark.parametrize(
    ("host", "answered"),
    [
        ("localhost", True),
        ("localhost:8420", True),
        ("LOCALHOST:8420", True),
        ("127.0.0.1:8420", True),
        ("[::1]:8420", True),
        ("[::1]", True),
        ("elsewhere.example", False),
        ("localhost.elsewhere.example", False),
        ("elsewhere.example:8420", False),
        ("192.168.1.20", False),
        ("localhost@elsewhere.example", False),
        ("", False),
    ],
)
def test_host_header(place: WebParts, host: str, answered: bool) -> None:
    """A name that was made to lead here is not answered, on any address (DNS rebinding)."""
    with client_of(place) as client:
        for path in ("/sign-in", "/api/readings", "/static/hilum.css", "/nowhere"):
            status = client.get(path, headers={"host": host}).status_code
            assert (status != 421) is answered, path


def test_host_header_in_numbers() -> None:
    """Beyond this machine any number is answered: a number cannot be made to lead elsewhere."""
    doors = Doors(local=False, any_number=True, hosts=frozenset({"seeds.example"}))
    for host in ("192.168.1.20:8420", "[fe80::1]:8420", "seeds.example", "Seeds.Example.:80"):
        assert limits.answers_to(host, doors), host
    for host in ("elsewhere.example", "192.168.1.20.elsewhere.example", "1.2.3", ""):
        assert not limits.answers_to(host, doors), host
    assert host_name("[::1]:8420") == "::1"


def test_templates_escape_everything() -> None:
    """No template switches escaping off."""
    texts = {p.name: p.read_text("utf-8") for p in Path(web_folder() / "templates").glob("*.html")}
    assert len(texts) > 10
    for name, text in texts.items():
        assert "|safe" not in text.replace(" ", ""), name
        assert "autoescape" not in text, name


def raw_request(url: str, line: str) -> tuple[int, str]:
    """Send a request line as it is, which no client would; give status and body."""
    port = int(url.rpartition(":")[2])
    with socket.create_connection(("127.0.0.1", port), timeout=10) as link:
        link.sendall(f"{line}\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode())
        told = b""
        while piece := link.recv(65_536):
            told += piece
    head, _, body = told.decode("utf-8", "replace").partition("\r\n\r\n")
    return int(head.split()[1]), body
