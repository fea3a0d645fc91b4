"""A real InfluxDB 1.6 engine for the tests, behind a door that looks like that of 2.x."""

import os
import shutil
import socket
import subprocess
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest

TOKEN = "only-for-tests"  # noqa: S105 - it is
CONF = """
reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"
[meta]
  dir = "{folder}/meta"
[data]
  dir = "{folder}/data"
  wal-dir = "{folder}/wal"
  query-log-enabled = false
[monitor]
  store-enabled = false
[http]
  bind-address = "127.0.0.1:{http}"
  log-enabled = false
"""


def free_port() -> int:
    """A port of the loopback nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Door(BaseHTTPRequestHandler):
    """Checks the token, and maps /api/v2/write?bucket to the engine's /write?db."""

    protocol_version = "HTTP/1.1"
    engine = ""

    def handle_one_request(self) -> None:
        """As it is, but quiet when the other side has gone."""
        with suppress(ConnectionError):
            super().handle_one_request()

    def do_GET(self) -> None:
        """Queries go to the engine unchanged."""
        self._pass(self.path, None)

    def do_POST(self) -> None:
        """Writes go to the engine under its own names."""
        body = self.rfile.read(int(self.headers["Content-Length"]))
        asked = parse_qs(urlsplit(self.path).query)
        given = urlencode({"db": asked["bucket"][0], "precision": asked["precision"][0]})
        known = urlsplit(self.path).path == "/api/v2/write"
        self._pass(f"/write?{given}" if known else "/unknown", body)

    def _pass(self, path: str, body: bytes | None) -> None:
        if self.headers.get("Authorization") != f"Token {TOKEN}":
            self._answer(401, b'{"code":"unauthorized"}')
            return
        kept = {"Content-Encoding": self.headers.get("Content-Encoding", "identity")}
        request = urllib.request.Request(  # noqa: S310 - our own address
            self.engine + path, body, kept if body else {}
        )
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:  # noqa: S310
                self._answer(answer.status, answer.read())
        except urllib.error.HTTPError as error:
            with error:
                self._answer(error.code, error.read())

    def _answer(self, status: int, body: bytes) -> None:
        self.send_response(status)
        if status != 204:
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@contextmanager
def served(handler: type[BaseHTTPRequestHandler]) -> Iterator[str]:
    """Answer requests on the loopback for a block; gives the address."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


@contextmanager
def engine_in(folder: Path) -> Iterator[str]:
    """Run the engine with its data in a folder; gives the address of its door."""
    program = shutil.which("influxd", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if program is None:
        reason = "influxd is not installed (Debian package influxdb)"
        if os.environ.get("HILUM_REQUIRE_SERVICES"):
            pytest.fail(reason)
        pytest.skip(reason)
    port = free_port()
    conf = folder / "influxdb.conf"
    conf.write_text(CONF.format(folder=folder, rpc=free_port(), http=port), encoding="utf-8")
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen([program, "run", "-config", conf], stdout=log, stderr=log)
    try:
        until = time.monotonic() + 20
        while not _answers(port):
            if time.monotonic() > until or process.poll() is not None:
                pytest.fail(f"influxd did not start: {(folder / 'log').read_text()[-2000:]}")
            time.sleep(0.02)
        own = type("OwnDoor", (Door,), {"engine": f"http://127.0.0.1:{port}"})
        with served(own) as url:
            yield url
    finally:
        process.terminate()
        process.wait(20)


def _answers(port: int) -> bool:
    with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
        return True
    return False


def create(url: str, bucket: str) -> None:
    """Make an empty bucket, which the engine calls a database."""
    asked = urlencode({"q": f'CREATE DATABASE "{bucket}"'})
    request = urllib.request.Request(  # noqa: S310 - our own address
        f"{url}/query?{asked}", headers={"Authorization": f"Token {TOKEN}"}
    )
    with urllib.request.urlopen(request, timeout=20) as answer:  # noqa: S310
        assert b"error" not in answer.read()
