"""Raw bytes at the port of the pages: whatever arrives, the next one is served as ever."""

import os
import random
import socket
from collections.abc import Iterator
from contextlib import suppress

import pytest

from hilum.bootstrap.patience import HurriedProtocol
from hilum.web.app import create_app
from web.guarded import small_place
from web.server import running

HOST = b"Host: localhost\r\n"
END = HOST + b"Connection: close\r\n\r\n"
FORM = b"Content-Type: application/x-www-form-urlencoded\r\n"
POST = b"POST /sign-in HTTP/1.1\r\n"
CASES = {
    "the start of TLS": bytes.fromhex("16030100a5010000a10303") + b"\x07" * 160,
    "HTTP/2": b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
    "zeros": b"\0" * 100,
    "a huge header": b"GET / HTTP/1.1\r\n" + HOST + b"X: " + b"a" * 1_000_000 + b"\r\n\r\n",
    "a long address": b"GET /" + b"a" * 15_000 + b" HTTP/1.1\r\n" + END,
    "a longer address": b"GET /" + b"a" * 70_000 + b" HTTP/1.1\r\n" + END,
    "two lengths": POST + b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n" + END + b"0\r\n\r",
    "a negative length": POST + b"Content-Length: -5\r\n" + END,
    "an endless length": POST + b"Content-Length: " + b"9" * 26 + b"\r\n" + END,
    "an Arabic digit": POST + "Content-Length: ٣\r\n".encode() + END,
    "two hosts": b"GET / HTTP/1.1\r\n" + HOST + END,
    "no host": b"GET / HTTP/1.1\r\n\r\n",
    "the address of another": b"GET http://elsewhere.example/ HTTP/1.1\r\n" + END,
    "a tunnel": b"CONNECT elsewhere.example:443 HTTP/1.1\r\n" + END,
    "an unknown method": b"FOO /sign-in HTTP/1.1\r\n" + END,
    "TRACE": b"TRACE / HTTP/1.1\r\n" + END,
    "a zero in a header": b"GET / HTTP/1.1\r\nX: a\0b\r\n" + END,
    "headers that are no text": b"GET / HTTP/1.1\r\nCookie: hilum_session=\xff\xfe\r\n" + END,
    "a token that is no text": b"GET / HTTP/1.1\r\nAuthorization: Bearer \xff\r\n" + END,
    "an odd cookie": b'GET /sign-in HTTP/1.1\r\nCookie: ;;=;a="\\";hilum_form=\xe2\x82\r\n' + END,
    "a path that is no text": b"GET /boxes/%ff%fe HTTP/1.1\r\n" + END,
    "half a sign": b"GET /shared/%ed%a0%80 HTTP/1.1\r\n" + END,
    "half a sign in a key": b"GET /first-password?key=%ed%a0%80 HTTP/1.1\r\n" + END,
    "half a sign in a file": b"GET /static/%ed%a0%80.css HTTP/1.1\r\n" + END,
    "a form that is none": POST + b"Content-Type: multipart/form-data; boundary=\xff\r\n"
    b"Content-Length: 3\r\n" + END + b"abc",
    "a form without an end": POST + b"Content-Type: multipart/form-data; boundary=x\r\n"
    b"Content-Length: 9\r\n" + END + b"--x\r\n\r\n--",
    "zeros in a form": POST + FORM + b"Content-Length: 11\r\n" + END + b"%00=%ff&a=b",
    "a chunk with a long note": POST + FORM + b"Transfer-Encoding: chunked\r\n" + END
    + b"1;" + b"a" * 99_000 + b"\r\na\r\n0\r\n\r\n",
    "a thousand ranges": b"GET /static/hilum.css HTTP/1.1\r\nRange: bytes="
    + b",".join(b"%d-%d" % (n, n) for n in range(1000)) + b"\r\n" + END,
    "a range beyond": b"GET /static/hilum.css HTTP/1.1\r\nRange: bytes=99999999999-\r\n" + END,
    "a websocket": b"GET /live HTTP/1.1\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
    b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n" + HOST + b"Connection: Upgrade\r\n\r\n",
    "many at once": b"".join([b"GET /sign-in HTTP/1.1\r\n" + HOST + b"\r\n"] * 50)
    + b"GET /sign-in HTTP/1.1\r\n" + END,
}  # fmt: skip


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    """Pages with a password, in a server that is as impatient as the real one."""
    place = small_place()
    with running(create_app(place), place.live, HurriedProtocol) as url:
        yield int(url.rpartition(":")[2])


def answer(port: int, sent: bytes, silence_s: float = 0.5) -> bytes:
    """Send bytes; give what comes back until the end, or until nothing more comes."""
    told = b""
    address = ("127.0.0.1", port)
    with suppress(ConnectionError, TimeoutError), socket.create_connection(address, 10) as link:
        link.sendall(sent)
        link.settimeout(silence_s)  # being cut off is an answer too
        while piece := link.recv(65_536):
            told += piece
    return told


def served(port: int) -> bool:
    """Tell whether the next one is served."""
    return answer(port, b"GET /sign-in HTTP/1.1\r\n" + END, 10).startswith(b"HTTP/1.1 200 ")


@pytest.mark.parametrize("name", CASES)
def test_requests_nobody_sends(port: int, name: str) -> None:
    """Refused or answered, never a failure of ours; and the pages go on."""
    told = answer(port, CASES[name])
    assert not told or told.startswith(b"HTTP/1.1 ")
    assert b"HTTP/1.1 5" not in told
    assert b"Traceback" not in told
    assert served(port)


def test_noise(port: int) -> None:
    """Bytes drawn at random, and requests with bytes changed, at every length."""
    chance = random.Random(7)  # noqa: S311
    good = POST + FORM + b"Content-Length: 20\r\n" + END + b"form_token=&password"
    for turn in range(60):
        changed = bytearray(good if turn % 3 else os.urandom(chance.randrange(1, 3000)))
        for _ in range(turn % 7 if turn % 3 else 0):
            changed[chance.randrange(len(changed))] = chance.randrange(256)
        told = answer(port, bytes(changed[: chance.randrange(1, len(changed) + 1)]), 0.05)
        assert b"HTTP/1.1 5" not in told, bytes(changed)
    assert served(port)
