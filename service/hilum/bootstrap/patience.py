"""Ends connections whose request takes too long to begin; the web server itself waits for ever.

How long a request's head may take: common practice, no source. Bodies have their own limit
(:mod:`hilum.web.limits`), and how much a head may hold is h11's (16 KiB).
"""

import asyncio

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 20.0


class HurriedProtocol(H11Protocol):
    """HTTP/1.1 as the server speaks it, for those who come to the point."""

    _hurry: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first request."""
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Wait on while the head of a request is not whole."""
        super().data_received(data)
        if self.conn.their_state is h11.IDLE:
            self._wait()
        else:
            self._stop()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no longer."""
        self._stop()
        super().connection_lost(exc)

    def _wait(self) -> None:
        if self._hurry is None:
            self._hurry = self.loop.call_later(HEAD_S, self.transport.close)

    def _stop(self) -> None:
        if self._hurry is not None:
            self._hurry.cancel()
            self._hurry = None
