"""Live values: whoever stores readings says which box changed, and open pages hear of it.

A page hears that a box changed, not every change: names of changed boxes wait in a set, so a slow
page costs one entry per box and a burst of readings becomes one message.
"""

import asyncio
import threading
from collections.abc import AsyncIterator, Awaitable, Callable, Collection, Iterable

KEEP_ALIVE_S = 20.0
MOST_S = 600.0
"""After this a page asks anew, and whether it still may is looked at again."""

PAUSE_S = 1.0
"""Least time between two bursts to one page."""

MAX_LISTENERS = 200
MOST_OF_A_LINK = 20
"""Open pages by one shared link, so that its guests leave room for the owner."""

Describe = Callable[[str], Awaitable[str | None]]


class Listener:
    """One open page. Used by one event loop; only ``notify`` may be called from another thread.

    Parameters
    ----------
    first : iterable of str
        Boxes the page shows that count as changed at once.
    only : collection of str, optional
        The boxes the page shows; others are passed over. Empty: it shows all.
    link : int, optional
        The shared link by which the page was opened.
    """

    def __init__(
        self, first: Iterable[str], only: Collection[str] = (), link: int | None = None
    ) -> None:
        self.link = link
        self._only = frozenset(only)
        self._loop = asyncio.get_running_loop()
        self._changed = dict.fromkeys(first)
        self._wake = asyncio.Event()
        self.closed = False
        if self._changed:
            self._wake.set()

    def notify(self, box: str | None) -> None:
        """Note a changed box; ``None`` ends the stream."""
        try:
            self._loop.call_soon_threadsafe(self._note, box)
        except RuntimeError:  # the loop of that page is gone
            self.closed = True

    def _note(self, box: str | None) -> None:
        if box is None:
            self.closed = True
        elif not self._only or box in self._only:
            self._changed[box] = None
        else:
            return
        self._wake.set()

    async def changed(self, timeout_s: float) -> list[str]:
        """Give the boxes that changed since last asked; none after the timeout."""
        try:
            await asyncio.wait_for(self._wake.wait(), timeout_s)
        except TimeoutError:
            return []
        self._wake.clear()
        boxes = list(self._changed)
        self._changed.clear()
        return boxes


class LiveHub:
    """Passes on which boxes changed. Every method may be called from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._listeners: set[Listener] = set()
        self._closed = False

    def publish(self, box: str) -> None:
        """Say that a box has a new reading."""
        with self._lock:
            listeners = tuple(self._listeners)
        for listener in listeners:
            listener.notify(box)

    def close(self) -> None:
        """End all streams and take no more, so that the server can stop."""
        with self._lock:
            self._closed = True
            listeners = tuple(self._listeners)
        for listener in listeners:
            listener.notify(None)

    def add(self, listener: Listener) -> bool:
        """Take a listener in; False when there are too many, or the hub is closed."""
        with self._lock:
            if self._closed or len(self._listeners) >= MAX_LISTENERS:
                return False
            alike = sum(each.link == listener.link for each in self._listeners)
            if listener.link is not None and alike >= MOST_OF_A_LINK:
                return False
            self._listeners.add(listener)
            return True

    def remove(self, listener: Listener) -> None:
        """Forget a listener."""
        with self._lock:
            self._listeners.discard(listener)


async def stream(hub: LiveHub, listener: Listener, describe: Describe) -> AsyncIterator[str]:
    """Give server-sent events for one page until it leaves or the hub closes.

    Parameters
    ----------
    hub : LiveHub
        Where the listener is registered; it is removed at the end.
    listener : Listener
        The page.
    describe : callable
        Gives the JSON of a box, or ``None`` when there is nothing to say about it.
    """
    try:
        yield "retry: 3000\n\n"
        end = asyncio.get_running_loop().time() + MOST_S
        while not listener.closed and asyncio.get_running_loop().time() < end:
            boxes = await listener.changed(KEEP_ALIVE_S)
            if not boxes and not listener.closed:
                yield ": still here\n\n"
            for box in boxes:
                text = await describe(box)
                if text is not None:
                    yield f"event: box\ndata: {text}\n\n"
            await asyncio.sleep(0 if listener.closed else PAUSE_S)
    finally:
        hub.remove(listener)
