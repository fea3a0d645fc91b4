"""Refuses, before any page is asked: other names than ours, too much, too slow. Plain ASGI.

A page of another site whose name was made to lead here (DNS rebinding) still asks for its own name:
so only ours are answered.
"""

import asyncio
import ipaddress
from collections.abc import Callable
from contextlib import suppress

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from hilum.web.parts import Doors

MOST_BODY = 1_000_000
MOST_BODY_OF = {"/lots/import": 10_000_000, "/api/readings": 256 * 1024}
MOST_READ_OUT = 20_000_000
TOO_LARGE = 413
BODY_S = 30.0
MOST_HEADERS = 100

TOO_MUCH = "That is more than this address takes ({most:,} bytes)."
TOO_SLOW = "What was sent took too long to arrive."
HEADERS = f"The request carries more than {MOST_HEADERS} headers."
OTHER_HOST = (
    "Hilum does not answer under this name. If it is yours, add it to the setting “allowed_hosts”."
)

Refuse = Callable[[Request, int, str], Response]


class Limits:
    """Refuses what should not reach the pages.

    Parameters
    ----------
    app : ASGIApp
        What lies behind.
    doors : Doors
        Names that are answered to.
    refuse : callable
        Makes an answer from a status and words.
    """

    def __init__(self, app: ASGIApp, doors: Doors, refuse: Refuse) -> None:
        self.app = app
        self.doors = doors
        self.refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        most = MOST_BODY_OF.get(scope["path"], MOST_BODY)
        found = self._flaw(request, most)
        if found is not None:
            if found[0] == TOO_LARGE:
                await read_out(request, receive)
            await self.refuse(request, *found)(scope, receive, send)
            return
        await self.app(scope, Bounded(receive, most), send)

    def _flaw(self, request: Request, most: int) -> tuple[int, str] | None:
        if len(request.scope["headers"]) > MOST_HEADERS:
            return 431, HEADERS
        hosts = request.headers.getlist("host")
        if len(hosts) != 1 or not answers_to(hosts[0], self.doors):
            return 421, OTHER_HOST
        length = request.headers.get("content-length", "0")
        if length.isdecimal() and int(length[:20]) > most:
            return TOO_LARGE, TOO_MUCH.format(most=most)
        return None


async def read_out(request: Request, receive: Receive) -> None:
    """Read a body that nobody wants: who is still sending does not hear an answer.

    Not one of more than ``MOST_READ_OUT`` bytes, nor one that waits to be asked for.
    """
    length = int(request.headers.get("content-length", "0")[:20])
    if length <= MOST_READ_OUT and request.headers.get("expect") is None:
        body = Bounded(receive, MOST_READ_OUT)
        with suppress(HTTPException):
            while not body.whole:
                await body()


class Bounded:
    """Reads what is sent, up to a size and within a time."""

    def __init__(self, receive: Receive, most: int) -> None:
        self._receive = receive
        self._most = most
        self._size = 0
        self._end = asyncio.get_running_loop().time() + BODY_S
        self.whole = False

    async def __call__(self) -> Message:
        """Give the next part; after the last there is no hurry any more."""
        if self.whole:
            return await self._receive()
        left = self._end - asyncio.get_running_loop().time()
        try:
            message = await asyncio.wait_for(self._receive(), max(left, 0))
        except TimeoutError as error:
            raise HTTPException(408, TOO_SLOW, {"Connection": "close"}) from error
        self.whole = not message.get("more_body", False)
        self._size += len(message.get("body", b""))
        if self._size > self._most:
            raise HTTPException(
                TOO_LARGE, TOO_MUCH.format(most=self._most), {"Connection": "close"}
            )
        return message


def answers_to(host: str, doors: Doors) -> bool:
    """Tell whether a Host header names us; a number cannot be made to lead elsewhere."""
    name = host_name(host)
    if name in doors.hosts:
        return True
    return doors.any_number and is_number(name)


def host_name(host: str) -> str:
    """Give the name in a Host header, without port or brackets, in small letters."""
    name, _, port = host.rpartition(":") if not host.endswith("]") else (host, "", "")
    name = name if port.isdecimal() and name else host
    return name.lower().strip("[]").rstrip(".")


def is_number(name: str) -> bool:
    """Tell whether a name is an address in numbers."""
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True
