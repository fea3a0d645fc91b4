"""Ends connections that take too long or are too many; the web server itself bounds neither.

It answers 503 to requests beyond its own limit, but connections that ask for nothing still stay
open, and a process without file descriptors can neither keep readings nor send alerts. How long a
request's head may take, and how many connections there may be: common practice, no source. Bodies
have their own limit (:mod:`hilum.web.guard.limits`), and how much a head may hold is h11's
(16 KiB).
"""

import asyncio
import ipaddress
from collections.abc import Sequence

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 20.0
MOST_CONNECTIONS = 500
MOST_FROM_ONE = 100
ROOM_TO_REFUSE = 50
"""Connections beyond the most that are still told why (503), before they are just closed."""


class HurriedProtocol(H11Protocol):
    """HTTP/1.1 as the server speaks it, for those who come to the point."""

    proxies = False
    _hurry: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first request, if there is room."""
        super().connection_made(transport)
        everybody = [(getattr(each, "client", None) or ("",))[0] for each in self.connections]
        address = self.client[0] if self.client else ""
        if crowded(address, everybody, proxies=self.proxies):
            transport.abort()
        else:
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


class ProxiedProtocol(HurriedProtocol):
    """The same behind a proxy, through which everybody comes from one address."""

    proxies = True


def crowded(address: str, everybody: Sequence[str], *, proxies: bool) -> bool:
    """Tell whether a new connection is one too many.

    Parameters
    ----------
    address : str
        Where it comes from.
    everybody : sequence of str
        Where all open connections come from, this one too.
    proxies : bool
        Whether one address may stand for many; this machine may in any case.
    """
    if len(everybody) > MOST_CONNECTIONS + ROOM_TO_REFUSE:
        return True
    return not (proxies or _is_here(address)) and everybody.count(address) > MOST_FROM_ONE


def _is_here(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False
