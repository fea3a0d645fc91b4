"""Hilum behind each of the shipped proxies: real ones, with a certificate made for this."""

import os
import re
import shutil
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest

from docs.reference import DOCS
from docs.test_docs import answers
from docs.test_shipped import SERVICE, script
from hilum.domain.model import Reading
from hilum.stores.sqlite import SqliteStore
from hilum.web.guard.passwords import hash_of
from plugins.mosquitto import PATH, free_port
from plugins.sensors import senml, wait_until
from web.elements import parse
from web.sending import filled_in

PROXY = SERVICE / "proxy"
PASSWORD = "three wet sparrows sing"  # noqa: S105 - of a place that lives for seconds
TOO_MUCH = 12_000_000
ONE, OTHER = "127.0.0.2", "127.0.0.3"
"""Addresses of visitors; the proxy itself is 127.0.0.1."""


@dataclass(frozen=True)
class Place:
    """A folder with settings and certificate, what was given out, and the ports."""

    folder: Path
    token: str
    link: str
    plain: int
    tls: int
    inner: int

    def client(self, address: str = ONE) -> httpx.Client:
        """A browser on another machine, as far as one machine can be many."""
        trust = ssl.create_default_context(cafile=str(self.folder / "certs" / "ca.crt"))
        road = httpx.HTTPTransport(local_address=address, verify=trust)
        base = f"https://localhost:{self.tls}"
        return httpx.Client(transport=road, base_url=base, timeout=20, trust_env=False)

    @contextmanager
    def serving(self) -> Iterator[None]:
        """Run ``hilum serve`` behind the proxy."""
        words = ["serve", "--no-mqtt", "--port", str(self.inner)]
        command = [sys.executable, "-m", "hilum", *words, "--data-dir", str(self.folder / "data")]
        with subprocess.Popen(command, stdout=subprocess.DEVNULL) as process:
            try:
                assert answers(f"http://127.0.0.1:{self.inner}/healthz")
                yield
            finally:
                process.terminate()


def settings_of_the_text(tls: int) -> str:
    """The settings that the text gives for pages behind a proxy."""
    text = (DOCS / "access.md").read_text(encoding="utf-8")
    lines = re.findall(r"^ *((?:public_url|trusted_proxies) = .+)$", text, re.MULTILINE)
    assert len(lines) == 2
    return "\n".join(lines).replace("//seeds.example", f"//localhost:{tls}") + "\n"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Place:
    """A box with a sensor, a password, a token and a link, and a certificate for localhost."""
    folder = tmp_path_factory.mktemp("proxies")
    assert script("make-certificates.sh", "localhost", str(folder / "certs")).returncode == 0
    data, tls = folder / "data", free_port()

    def say(*words: str) -> str:
        command = [sys.executable, "-m", "hilum", *words, "--data-dir", str(data)]
        return subprocess.run(command, check=True, capture_output=True, text=True).stdout

    say("init", "--no-broker", "--site", "home", "--time-zone", "UTC")
    with (data / "hilum.toml").open("a", encoding="utf-8") as file:
        file.write(settings_of_the_text(tls))
    say("boxes", "add", "Blue tub")
    token = say("tokens", "add", "Shed logger", "--sensor", "shed-1").split()[-1]
    link = say("share", "add", "Neighbour").split()[-1]
    store = SqliteStore(data / "hilum.sqlite3")
    store.set_password_hash(hash_of(PASSWORD))
    store.add([Reading("home/shed-1", now_ms() - 60_000, 19.8, 31.0)], now_ms())
    store.close()
    say("sensors", "claim", "home/shed-1", "--box", "blue-tub")
    return Place(folder, token, link, free_port(), tls, free_port())


def now_ms() -> int:
    """Now."""
    return time.time_ns() // 1_000_000


def program(name: str) -> str:
    """Path of a proxy; skipped where it is missing, unless services are required."""
    found = shutil.which(name, path=PATH)
    if found is None:
        reason = f"{name} is not installed (Debian package {name})"
        if os.environ.get("HILUM_REQUIRE_SERVICES"):
            pytest.fail(reason)
        pytest.skip(reason)
    return found


def replaced(text: str, changes: dict[str, str]) -> str:
    """Put this machine's ports and paths into a shipped file; each must have stood in it."""
    for old, new in changes.items():
        assert old in text, old
        text = text.replace(old, new)
    return text


def nginx(place: Place) -> list[str]:
    """Write nginx's files, the shipped one within Debian's own, and give the command."""
    folder = place.folder
    site = replaced(
        (PROXY / "nginx.conf").read_text("utf-8"),
        {
            "    listen [::]:80;\n": "",
            "    listen [::]:443 ssl http2;\n": "",
            "listen 80": f"listen 127.0.0.1:{place.plain}",
            "listen 443": f"listen 127.0.0.1:{place.tls}",
            "https://seeds.example": f"https://localhost:{place.tls}",
            "seeds.example": "localhost",
            "/etc/nginx/hilum": str(folder / "certs"),
            "/var/log/nginx": str(folder),
            ":8420": f":{place.inner}",
        },
    )
    (folder / "site").write_text(site, encoding="utf-8")
    main = replaced(
        Path("/etc/nginx/nginx.conf").read_text("utf-8"),
        {
            "/etc/nginx/sites-enabled/*": str(folder / "site"),
            "/run/nginx.pid": str(folder / "nginx.pid"),
            "/var/log/nginx": str(folder),
        },
    )
    (folder / "nginx.conf").write_text(main, encoding="utf-8")
    words = ["-e", str(folder / "start.log"), "-c", str(folder / "nginx.conf")]
    return [program("nginx"), *words, "-g", "daemon off;"]


def caddy(place: Place) -> list[str]:
    """Write Caddy's file and give the command."""
    certs = place.folder / "certs"
    ports = f"\thttp_port {place.plain}\n\thttps_port {place.tls}\n"
    text = replaced(
        (PROXY / "Caddyfile").read_text("utf-8"),
        {
            "{\n\tlog {": f"{{\n\tadmin off\n{ports}\tlog {{",
            "seeds.example {": f"localhost {{\n\ttls {certs}/server.crt {certs}/server.key",
            ":8420": f":{place.inner}",
        },
    )
    (place.folder / "Caddyfile").write_text(text, encoding="utf-8")
    words = ["run", "--adapter", "caddyfile", "--config", str(place.folder / "Caddyfile")]
    return [program("caddy"), *words]


@pytest.fixture(scope="module", params=[nginx, caddy], ids=lambda each: each.__name__)
def proxy(request: pytest.FixtureRequest, place: Place) -> Iterator[Place]:
    """The place with a proxy in front, but without Hilum."""
    command = request.param(place)
    env = {**os.environ, "HOME": str(place.folder)}
    with (place.folder / "proxy.log").open("wb") as log:
        process = subprocess.Popen(command, env=env, stdout=log, stderr=log)
    try:
        assert wait_until(lambda: reached(place.tls)), log_of(place)
        yield place
    finally:
        process.terminate()
        process.wait(20)


@pytest.fixture(scope="module")
def pages(proxy: Place) -> Iterator[Place]:
    """The place with a proxy in front, and Hilum behind it."""
    with proxy.serving():
        yield proxy


def reached(port: int) -> bool:
    """Whether somebody listens on a port."""
    with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
        return True
    return False


def log_of(place: Place) -> str:
    """All that the proxy wrote."""
    return "".join(path.read_text("utf-8") for path in sorted(place.folder.glob("*.log")))


def sign_in(client: httpx.Client, password: str, **headers: str) -> httpx.Response:
    """Type a password on the page that asks for it."""
    page = client.get("/sign-in", params={"next": "/lots"}, headers=headers)
    form = parse(page.text).one("form", action="/sign-in", method="post")
    values = {**filled_in(form), "password": password}
    return client.post("/sign-in", data=values, headers=headers)


def test_links_stand_in_no_log(proxy: Place) -> None:
    """A link that lets somebody look is not written down, even when Hilum is away."""
    with proxy.client() as client:
        assert client.get(proxy.link).status_code == 502  # before Hilum is started for the others
        with proxy.serving():
            assert client.get(proxy.link).status_code == 200
    assert proxy.link.rpartition("/")[2] not in log_of(proxy)


def test_nobody_stays_without_tls(pages: Place) -> None:
    """Who asks in the open is sent to the same page with TLS, and told to stay there for a year."""
    plain = httpx.get(f"http://localhost:{pages.plain}/lots?q=a", trust_env=False)
    assert plain.status_code in {301, 308}
    assert re.fullmatch(rf"https://localhost(:{pages.tls})?/lots\?q=a", plain.headers["location"])
    with pages.client() as client:
        answer = client.get("/sign-in")
    assert answer.status_code == 200
    assert [v for v in answer.headers.get_list("strict-transport-security") if "31536000" in v]
    assert len(answer.headers.get_list("strict-transport-security")) == 1
    assert len(answer.headers.get_list("content-security-policy")) == 1


def test_signing_in_through_it(pages: Place) -> None:
    """The owner comes in and is led on within the same address; cookies go over TLS only."""
    with pages.client() as client:
        asked = client.get("/lots")
        assert asked.status_code == 303
        assert asked.headers["location"].startswith("/sign-in")
        answer = sign_in(client, PASSWORD)
        assert (answer.status_code, answer.headers["location"]) == (303, "/lots")
        (cookie,) = answer.headers.get_list("set-cookie")
        assert cookie.startswith("__Host-hilum_session=")
        assert {"secure", "httponly", "samesite=strict", "path=/"} <= {
            part.strip().lower() for part in cookie.split(";")
        }
        assert client.get("/lots").status_code == 200
        form = parse(client.get("/access").text).one("form", action="/access/sign-out")
        assert client.post("/access/sign-out", data=filled_in(form)).status_code == 303
        assert client.get("/lots").status_code == 303


def test_wrong_passwords_count_for_whoever_types_them(pages: Place) -> None:
    """One visitor has to wait, whatever address it claims; the next comes in at once."""
    with pages.client(ONE) as one, pages.client(OTHER) as other:
        for _ in range(5):
            assert sign_in(one, "wrong").status_code == 401
        claims = {"X-Forwarded-For": "127.0.0.9", "Forwarded": "for=127.0.0.9"}
        assert sign_in(one, PASSWORD, **claims).status_code == 429
        assert sign_in(other, PASSWORD).status_code == 303


def test_values_come_as_they_are_measured(pages: Place) -> None:
    """An open page hears of a reading that a device sends by HTTP, both through the proxy."""
    with pages.client(OTHER) as owner, pages.client(ONE) as device:
        sign_in(owner, PASSWORD)
        with owner.stream("GET", "/live") as answer:
            lines = answer.iter_lines()
            first = next(line for line in lines if line.startswith("data:"))
            new = 23.4 if '"temp_c":19.8' in first else 17.2
            content = senml(now_ms(), new, 31.0)
            headers = {"Authorization": f"Bearer {pages.token}"}
            kind = {"Content-Type": "application/senml+json"}
            sent = device.post("/api/readings", content=content, headers={**headers, **kind})
            assert sent.json()["stored"] == 1
            assert f'"temp_c":{new}' in next(line for line in lines if line.startswith("data:"))


def test_other_names_and_too_much_are_refused(pages: Place) -> None:
    """Another name gets no page of ours; a list that is too long is refused by one of the two."""
    with pages.client(OTHER) as client:
        other = client.get("/sign-in", headers={"Host": "seeds.test"})
        assert 'action="/sign-in"' not in other.text
        sign_in(client, PASSWORD)
        answer = client.post("/lots/import", content=b"x" * TOO_MUCH)
        assert answer.status_code == 413
