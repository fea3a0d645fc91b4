"""Who is let in, by the settings; the first password; and requests that never come to the point."""

import asyncio
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
import uvicorn
from starlette.testclient import TestClient

from hilum.bootstrap import open_store, patience
from hilum.bootstrap.checks import check_all
from hilum.bootstrap.doors import doors_of, first_link, is_loopback
from hilum.bootstrap.service import Service
from hilum.config import Settings, settings_from
from hilum.domain.errors import SettingsError
from hilum.domain.ports import Store
from hilum.stores.memory import MemoryStore

KEY = "key-of-the-link"
EVERYWHERE = "0.0.0.0"  # noqa: S104 - nothing is served there


@pytest.fixture
def store() -> Iterator[Store]:
    """A store without a password."""
    made = MemoryStore()
    yield made
    made.close()


def settings(folder: Path, **given: object) -> Settings:
    """Settings that listen to no broker."""
    return settings_from({"mqtt": False, **given}, folder)


@pytest.mark.parametrize(
    ("given", "local"),
    [
        ({}, True),
        ({"host": "localhost"}, True),
        ({"host": "::1"}, True),
        ({"host": "127.0.0.2"}, True),
        ({"host": EVERYWHERE}, False),
        ({"host": "::"}, False),
        ({"host": "192.168.1.20"}, False),
        ({"host": "seedbox"}, False),
        ({"allowed_hosts": ["seeds.example"]}, False),
        ({"trusted_proxies": ["127.0.0.1"]}, False),
        ({"public_url": "https://seeds.example"}, False),
    ],
)
def test_only_what_is_for_this_machine_alone_is_open(
    tmp_path: Path, given: dict[str, object], local: bool
) -> None:
    """Any word of others in the settings asks for a password; the defaults do not."""
    assert doors_of(settings(tmp_path, **given), KEY).local is local


def test_names_come_from_the_settings(tmp_path: Path) -> None:
    """Names given are answered, this machine's own always, numbers only beyond it."""
    given = settings(
        tmp_path,
        host="192.168.1.20",
        allowed_hosts=["Seeds.Example", "seedbox.local:8420"],
        public_url="https://[2001:db8::1]:8443",
    )
    doors = doors_of(given, KEY)
    assert doors.hosts == {
        "192.168.1.20", "seeds.example", "seedbox.local", "2001:db8::1",
        "localhost", "127.0.0.1", "::1",
    }  # fmt: skip
    assert doors.any_number
    assert not doors_of(settings(tmp_path), KEY).any_number


def test_public_address_must_be_one(tmp_path: Path) -> None:
    """Something else than an address is refused by name."""
    for text in ("seeds.example", "https://seeds.example/path", "javascript:alert(1)"):
        with pytest.raises(SettingsError, match="public_url"):
            settings(tmp_path, public_url=text)


def test_loopback_is_told_from_the_rest() -> None:
    """By number, or by its one name; other names may lead anywhere."""
    assert is_loopback("127.8.9.1")
    assert not is_loopback("localhost.example")


def test_link_for_the_first_password_is_told_where_it_is_needed(
    tmp_path: Path, store: Store
) -> None:
    """Beyond this machine and without a password; where others find the pages, if that is said."""
    wide = settings(tmp_path, host="::", port=80)
    lines = first_link(wide, store, KEY)
    assert f"http://localhost:80/first-password?key={KEY}" in "\n".join(lines)
    one = settings(tmp_path, host="2001:db8::1", port=80)
    assert "http://[2001:db8::1]:80/" in "\n".join(first_link(one, store, KEY))
    proxied = first_link(settings(tmp_path, public_url="https://seeds.example/"), store, KEY)
    assert proxied[1:] == (f"  https://seeds.example/first-password?key={KEY}",)
    assert first_link(settings(tmp_path), store, KEY) == ()
    store.set_password_hash("set")
    assert first_link(wide, store, KEY) == ()


def test_a_service_for_others_is_closed_until_a_password_is_set(tmp_path: Path) -> None:
    """No page, no value, but readings and health go on; the words say what to do."""
    wide = settings(tmp_path, host=EVERYWHERE)
    with open_store(wide, exclusive=True) as kept:
        service = Service(wide, kept)
        with TestClient(service.app, "http://192.168.1.20:8420") as client:
            for path in ("/", "/lots", "/access", "/sensors"):
                answer = client.get(path)
                assert answer.status_code == 403
                assert "hilum password" in answer.text
            assert client.get("/api/openapi.json").status_code == 401
            assert client.get("/healthz").status_code == 200
            [link] = [
                word for line in service.first_words() for word in line.split() if "//" in word
            ]
            assert client.get(link.partition(":8420")[2]).status_code == 200


def test_a_check_says_whether_the_pages_can_be_reached(tmp_path: Path) -> None:
    """Open to this machine, closed to all, guarded: by settings and password."""

    def pages(given: Settings) -> tuple[bool, str]:
        (found,) = (each for each in check_all(given) if each.what == "pages")
        return found.good, found.words

    alone, wide = settings(tmp_path), settings(tmp_path, host=EVERYWHERE)
    with open_store(alone) as kept:
        assert pages(alone) == (True, "for this machine alone, without a password")
        assert pages(wide) == (False, "Closed until a password is set: hilum password.")
        kept.set_password_hash("set")
    assert pages(wide) == pages(alone) == (True, "guarded by a password")


@asynccontextmanager
async def served(
    app: object, protocol: type[patience.HurriedProtocol] = patience.HurriedProtocol
) -> AsyncIterator[int]:
    """Run a server with hurried connections; gives its port."""
    config = uvicorn.Config(
        app,  # type: ignore[arg-type]
        port=0,
        http=protocol,
        log_level="critical",
        lifespan="off",
    )
    server = uvicorn.Server(config)
    config.load()
    server.lifespan = config.lifespan_class(config)
    await server.startup()
    try:
        yield server.servers[0].sockets[0].getsockname()[1]
    finally:
        server.should_exit = True
        await server.shutdown()


async def ask(app: object, *pieces: bytes, wait_s: float) -> bytes:
    """Send pieces to such a server; give all it says until it closes."""
    async with served(app) as port:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        for piece in pieces:
            writer.write(piece)
            await asyncio.sleep(wait_s)
        said = await asyncio.wait_for(reader.read(), 10)
        writer.close()
    return said


async def slow_page(_scope: object, _receive: object, send: object) -> None:
    """Answer after longer than a head may take."""
    await asyncio.sleep(0.3)
    assert callable(send)
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"here"})


@pytest.mark.parametrize(
    ("pieces", "answered"),
    [
        ((b"",), False),
        ((b"GET / HT", b"TP/1.1\r\nHo"), False),
        ((b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n",), True),
        ((b"GET / HTTP/1.1\r\nHost: x\r\n\r\n", b"GET / HTTP"), True),
    ],
)
def test_slow_request(
    monkeypatch: pytest.MonkeyPatch, pieces: tuple[bytes, ...], answered: bool
) -> None:
    """A head that does not come to an end is cut off; a page may take its time."""
    monkeypatch.setattr(patience, "HEAD_S", 0.1)
    said = asyncio.run(ask(slow_page, *pieces, wait_s=0.05))
    assert (b"200 OK" in said) is answered
    assert said.count(b"200 OK") <= 1


@pytest.mark.parametrize(
    ("address", "from_it", "others", "proxies", "too_many"),
    [
        ("192.0.2.1", patience.MOST_FROM_ONE, 300, False, False),
        ("192.0.2.1", patience.MOST_FROM_ONE + 1, 0, False, True),
        ("2001:db8::1", patience.MOST_FROM_ONE + 1, 0, False, True),
        ("192.0.2.1", patience.MOST_FROM_ONE + 1, 0, True, False),
        ("127.0.0.1", patience.MOST_FROM_ONE + 1, 0, False, False),
        ("127.0.0.1", 1, patience.MOST_CONNECTIONS + patience.ROOM_TO_REFUSE, False, True),
        ("192.0.2.1", 1, patience.MOST_CONNECTIONS + patience.ROOM_TO_REFUSE, True, True),
        ("", 5, 0, False, False),
    ],
)
def test_who_is_one_too_many(
    address: str, from_it: int, others: int, proxies: bool, too_many: bool
) -> None:
    """One address holds a hundred connections, all together have a bound; a proxy is for many."""
    everybody = [*[address] * from_it, *(f"198.51.100.{n % 250}" for n in range(others))]
    assert patience.crowded(address, everybody, proxies=proxies) is too_many


@pytest.mark.parametrize("proxied", [True, False])
def test_idle_connections_leave_room_for_others(
    monkeypatch: pytest.MonkeyPatch, proxied: bool
) -> None:
    """Beyond the most, connections that say nothing are closed at once, not when they time out."""
    monkeypatch.setattr(patience, "MOST_CONNECTIONS", 4 if proxied else 1000)
    monkeypatch.setattr(patience, "MOST_FROM_ONE", 1000 if proxied else 4)
    monkeypatch.setattr(patience, "ROOM_TO_REFUSE", 2)
    monkeypatch.setattr(patience, "_is_here", lambda _: False)
    made = patience.ProxiedProtocol if proxied else patience.HurriedProtocol

    async def crowd(port: int) -> int:
        links = [await asyncio.open_connection("127.0.0.1", port) for _ in range(10)]
        ends = [asyncio.create_task(reader.read()) for reader, _ in links]
        await asyncio.wait(ends, timeout=1)
        ended = sum(end.done() for end in ends)
        for end, (_, writer) in zip(ends, links, strict=True):
            end.cancel()
            writer.close()
        await asyncio.gather(*ends, return_exceptions=True)
        return ended

    async def scene() -> int:
        async with served(slow_page, made) as port:
            return await crowd(port)

    assert asyncio.run(scene()) == (4 if proxied else 6)
