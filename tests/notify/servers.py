"""Servers of this machine that take, fail, hang and refuse by turns, and remember what came."""

import asyncio
import json
import socket
import ssl
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import cycle
from pathlib import Path
from typing import Any

import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, Session

OK, FAIL, HANG, REFUSE, AWAY = "ok", "fail", "hang", "refuse", "away"
TRICKLE = "trickle"
HANG_S = 1.5
TRICKLE_S, TRICKLES = 0.05, 400


class Moods:
    """What a server does with one message after the other."""

    def __init__(self, moods: Sequence[str]) -> None:
        self._moods = cycle(moods)
        self._lock = threading.Lock()

    def next(self) -> str:
        """Give the next mood."""
        with self._lock:
            return next(self._moods)


@dataclass
class Certificates:
    """An authority of our own, and what it signed for this machine."""

    ca_file: Path
    context: ssl.SSLContext


def certificates(folder: Path, *names: str) -> Certificates:
    """Make an authority and a certificate for some names."""
    authority = trustme.CA()
    leaf = authority.issue_cert(*(names or ("localhost", "127.0.0.1", "::1")))
    ca_file = folder / "ca.pem"
    authority.cert_pem.write_to_path(str(ca_file))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    leaf.configure_cert(context)
    return Certificates(ca_file, context)


@dataclass
class Hook:
    """An HTTPS server for a webhook."""

    port: int = 0
    requests: list[tuple[dict[str, str], bytes]] = field(default_factory=list)
    seen: int = 0  # all requests, taken or not
    paths: list[str] = field(default_factory=list)

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"https://localhost:{self.port}/hook"

    @property
    def ids(self) -> list[str]:
        """Message ids it took, in order."""
        return [headers["hilum-message-id"] for headers, _ in self.requests]

    @property
    def contents(self) -> list[dict[str, Any]]:
        """What it took."""
        return [json.loads(body) for _, body in self.requests]


class _QuietServer(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: object, client_address: object) -> None:
        """Say nothing: clients that give up are part of the tests."""


def _trickle(connection: socket.socket) -> None:
    """Answer byte by byte, without end: a header line that goes on and on."""
    with suppress(OSError):
        connection.sendall(b"HTTP/1.1 204 No Content\r\nX-Slow: ")
        for _ in range(TRICKLES):
            connection.sendall(b"a")
            time.sleep(TRICKLE_S)


@contextmanager
def endless_greeting() -> Iterator[int]:
    """Run a mail server whose greeting goes on and on, a line at a time; give its port."""
    listening = socket.create_server(("127.0.0.1", 0))

    def greet() -> None:
        connection, _ = listening.accept()
        with connection, suppress(OSError):
            for _ in range(TRICKLES):
                connection.sendall(b"220-still here\r\n")
                time.sleep(TRICKLE_S)

    thread = threading.Thread(target=greet, daemon=True)
    thread.start()
    with listening:
        yield int(listening.getsockname()[1])


@contextmanager
def hook_server(context: ssl.SSLContext, moods: Sequence[str] = (OK,)) -> Iterator[Hook]:
    """Run an HTTPS server."""
    hook, turns = Hook(), Moods(moods)

    class Handler(BaseHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            pass

        def do_POST(self) -> None:
            hook.seen += 1
            hook.paths.append(self.path)
            body = self.rfile.read(int(self.headers["Content-Length"]))
            mood = turns.next()
            if mood == HANG:
                time.sleep(HANG_S)
            if mood == TRICKLE:
                _trickle(self.connection)
            if mood in {HANG, REFUSE, TRICKLE}:
                self.close_connection = True
                with suppress(OSError):
                    self.connection.shutdown(socket.SHUT_RDWR)
                return
            if mood == OK:
                headers = {name.lower(): value for name, value in self.headers.items()}
                hook.requests.append((headers, body))
            self.send_response({OK: 204, FAIL: 503, AWAY: 302}[mood])
            if mood == AWAY:
                self.send_header("Location", "https://localhost/elsewhere")
            self.send_header("Content-Length", "0")
            self.end_headers()

    server = _QuietServer(("127.0.0.1", 0), Handler)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    hook.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield hook
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


@dataclass
class PostBox:
    """A mail server."""

    port: int = 0
    letters: list[EmailMessage] = field(default_factory=list)
    recipients: list[str] = field(default_factory=list)

    @property
    def ids(self) -> list[str]:
        """Message ids it took, in order, without the brackets and the site."""
        return [str(letter["Message-ID"]).strip("<>").rsplit("@", 1)[0] for letter in self.letters]


class _Handler:
    def __init__(self, box: PostBox, turns: Moods) -> None:
        self._box, self._turns = box, turns

    async def handle_DATA(  # noqa: N802 - the name the library asks for
        self, _server: SMTP, _session: Session, envelope: Envelope
    ) -> str:
        mood = self._turns.next()
        if mood == HANG:
            await asyncio.sleep(HANG_S)
        if mood != OK:
            return "451 not now" if mood != REFUSE else "554 never"
        content = envelope.content
        assert isinstance(content, bytes)
        letter = message_from_bytes(content, policy=policy.default)
        assert isinstance(letter, EmailMessage)
        self._box.letters.append(letter)
        self._box.recipients += envelope.rcpt_tos
        return "250 taken"


@contextmanager
def mail_server(
    context: ssl.SSLContext,
    moods: Sequence[str] = (OK,),
    *,
    implicit: bool = False,
    password: str | None = None,
    encrypts: bool = True,
) -> Iterator[PostBox]:
    """Run a mail server: STARTTLS, or TLS from the first byte on."""
    box = PostBox()

    def check(
        _server: object,
        _session: object,
        _env: object,
        _how: object,
        data: Any,  # noqa: ANN401 - the library's own
    ) -> AuthResult:
        return AuthResult(success=data.password == (password or "").encode(), handled=False)

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        box.port = probe.getsockname()[1]
    more: dict[str, Any] = {"ssl_context": context} if implicit else {}
    if not implicit and encrypts:
        more["tls_context"] = context
    if password is not None:
        more |= {"authenticator": check, "auth_required": True}
    controller = Controller(
        _Handler(box, Moods(moods)), hostname="127.0.0.1", port=box.port, **more
    )
    controller.start()
    try:
        yield box
    finally:
        controller.stop()
