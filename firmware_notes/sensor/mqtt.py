"""A small MQTT 3.1.1 client (OASIS 2014): publishes at quality of service 1, over TLS.

It waits for each confirmation before the next message; what is not confirmed is published again
after the next connect, by whoever holds the readings. So the session need not outlive a connection.
"""

import random
import socket
import struct

TYPE_CHECKING = False  # for type checkers: a board has no module typing
if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from ssl import SSLContext
    from typing import Any

REFUSED = {
    1: "the broker does not speak MQTT 3.1.1",
    2: "the broker does not take this client id",
    3: "the broker is not available",
    4: "wrong name or password",
    5: "wrong name or password, or not allowed",
}


class LinkError(Exception):
    """The connection cannot be made, or broke."""


class RefusedError(LinkError):
    """The broker says no: trying again at once will not help."""


def delays(
    first_s: float = 1.0, most_s: float = 60.0, draw: "Callable[[], float]" = random.random
) -> "Iterator[float]":
    """Pauses between tries [s], for ever: doubled each time, and half of each left to chance.

    Chance keeps many sensors from coming back at one moment after an outage.
    """
    pause = first_s
    while True:
        yield pause * (0.5 + 0.5 * draw())
        pause = min(pause * 2, most_s)


def tls(ca_der: bytes) -> "SSLContext":
    """A way to encrypt: a context that takes only a broker with this certificate's authority."""
    import ssl

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.verify_mode = ssl.CERT_REQUIRED
    context.load_verify_locations(cadata=ca_der)
    return context


def text(value: str) -> bytes:
    """A text as MQTT writes it: its length, then UTF-8."""
    data = value.encode()
    return struct.pack(">H", len(data)) + data


def packet(head: int, body: bytes) -> bytes:
    """A control packet: first byte, length in 7-bit groups, the rest."""
    length, digits = len(body), b""
    while True:
        length, digit = length >> 7, length & 0x7F
        digits += bytes([digit | 0x80 if length else digit])
        if not length:
            return bytes([head]) + digits + body


class Link:
    """One connection to the broker.

    Parameters
    ----------
    host, port
        The broker.
    context
        From :func:`tls`; None: not encrypted.
    timeout_s
        How long the broker may take for an answer.
    """

    def __init__(
        self, host: str, port: int, context: "SSLContext | None" = None, timeout_s: float = 10
    ) -> None:
        self.host, self.port = host, port
        self.context = context
        self.timeout_s = timeout_s
        self.stream: Any = None
        self.number = 0

    def connect(
        self,
        client_id: str,
        user: str | None = None,
        password: str | None = None,
        will_topic: str | None = None,
        keepalive_s: int = 60,
    ) -> None:
        """Connect; with ``will_topic`` the broker says "offline" there when this line breaks.

        Raises RefusedError if the broker says no, LinkError if it cannot be reached.
        """
        flags, body = 0x02, text(client_id)  # clean session
        if will_topic is not None:
            flags |= 0x04 | 0x08 | 0x20  # a will, at quality of service 1, retained
            body += text(will_topic) + text("offline")
        if user is not None:
            flags |= 0x80 | (0x40 if password is not None else 0)
            body += text(user) + (text(password) if password is not None else b"")
        head = text("MQTT") + b"\x04" + bytes([flags]) + struct.pack(">H", keepalive_s)
        try:
            self._open()
            self._write(packet(0x10, head + body))
            kind, answer = self._packet()
        except (OSError, ValueError) as error:
            self.close()
            raise LinkError("no connection: {}".format(error))
        if kind != 0x20 or len(answer) != 2 or answer[1]:
            self.close()
            code = answer[1] if len(answer) == 2 else 0
            raise RefusedError(REFUSED.get(code, "an answer that is none"))

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> None:
        """Publish at quality of service 1 and wait until the broker confirms it.

        Raises LinkError if it does not; the message may have arrived all the same.
        """
        self.number = self.number % 65535 + 1
        body = text(topic) + struct.pack(">H", self.number) + payload
        try:
            self._write(packet(0x33 if retain else 0x32, body))
            while True:
                kind, answer = self._packet()
                if kind == 0x40 and answer == struct.pack(">H", self.number):
                    return
        except (OSError, ValueError, AttributeError) as error:
            self.close()
            raise LinkError("the line broke: {}".format(error))

    def disconnect(self) -> None:
        """Say goodbye: the broker then keeps the last will to itself."""
        try:
            self._write(packet(0xE0, b""))
        except (OSError, ValueError, AttributeError):
            pass
        self.close()

    def close(self) -> None:
        """Let the line go."""
        if self.stream is not None:
            try:
                self.stream.close()
            except OSError:
                pass
        self.stream = None

    def _open(self) -> None:
        found = socket.getaddrinfo(self.host, self.port, socket.AF_INET, socket.SOCK_STREAM)
        line = socket.socket()
        try:
            line.settimeout(self.timeout_s)
            line.connect(found[0][-1])
            if self.context is not None:
                line = self.context.wrap_socket(line, server_hostname=self.host)
        except BaseException:
            line.close()
            raise
        self.stream = line

    def _write(self, data: bytes) -> None:
        whole = getattr(self.stream, "sendall", None)
        if whole is not None:
            whole(data)
            return
        view = memoryview(data)  # over TLS MicroPython has only write, which may take a part
        while view:
            done = self.stream.write(view)
            if not done:
                raise OSError("the broker takes nothing")
            view = view[done:]

    def _packet(self) -> tuple[int, bytes]:
        """Read one control packet: its first byte without flags, and the rest."""
        head = self._read(1)[0]
        length = shift = 0
        while True:
            digit = self._read(1)[0]
            length |= (digit & 0x7F) << shift
            shift += 7
            if not digit & 0x80:
                return head & 0xF0, self._read(length)
            if shift > 21:
                raise ValueError("a length that is none")

    def _read(self, count: int) -> bytes:
        take = getattr(self.stream, "recv", None) or self.stream.read
        data = b""
        while len(data) < count:
            more = take(count - len(data))
            if not more:
                raise OSError("closed by the broker")
            data += more
        return data
