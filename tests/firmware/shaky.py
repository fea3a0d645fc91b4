"""A wireless network that drops connections: a forwarder that cuts some of them in the middle."""

import random
import selectors
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

MOST = 3700  # bytes: what a connection with one message carries, so a cut may fall anywhere in it


class Shaky:
    """Forwards connections; cuts ``cuts`` of them in all, at random, after some bytes."""

    def __init__(self, target: int, cuts: int, seed: int) -> None:
        self.target, self.cuts, self.cut = target, cuts, 0
        self._draw = random.Random(seed)  # noqa: S311 - repeatable, no secret
        self._lock = threading.Lock()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._threads: list[threading.Thread] = []

    def serve(self) -> None:
        """Take connections until the listener is closed."""
        with suppress(OSError):
            while True:
                near, _ = self._listener.accept()
                thread = threading.Thread(target=self._forward, args=(near, self._room()))
                thread.start()
                self._threads.append(thread)

    def _room(self) -> int | None:
        """Bytes the next connection may carry; None: as many as it likes."""
        with self._lock:
            doomed = self.cut < self.cuts and self._draw.random() < 0.5
        return self._draw.randrange(1, MOST) if doomed else None

    def _forward(self, near: socket.socket, room: int | None) -> None:
        with near, suppress(OSError), socket.create_connection(("127.0.0.1", self.target)) as far:
            if self._pump(near, far, room):
                with self._lock:
                    self.cut += 1

    @staticmethod
    def _pump(near: socket.socket, far: socket.socket, room: int | None) -> bool:
        """Carry bytes both ways; tell whether the line was cut because ``room`` was used up."""
        with selectors.DefaultSelector() as ready:
            ready.register(near, selectors.EVENT_READ, far)
            ready.register(far, selectors.EVENT_READ, near)
            while True:
                for key, _ in ready.select():
                    assert isinstance(key.fileobj, socket.socket)
                    data = key.fileobj.recv(65536)
                    if not data:
                        return False
                    key.data.sendall(data[:room])
                    if room is not None:
                        room -= len(data)
                        if room <= 0:
                            return True

    def stop(self) -> None:
        """Take no more connections, and wait until those under way have ended."""
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for thread in self._threads:
            thread.join(20)


@contextmanager
def shaky(target: int, *, cuts: int, seed: int) -> Iterator[Shaky]:
    """Forward to a port of this machine while the block runs."""
    line = Shaky(target, cuts, seed)
    thread = threading.Thread(target=line.serve)
    thread.start()
    try:
        yield line
    finally:
        line.stop()
        thread.join(20)
