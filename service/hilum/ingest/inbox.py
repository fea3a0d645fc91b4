"""The one bounded queue between the network and the writer."""

from collections import deque
from threading import Condition, Lock

from hilum.ingest.decode import Message


class Inbox:
    """Messages that wait for the writer; when full, whoever puts has to wait.

    The wait is what holds the broker back: the network thread does not read on, so the broker's
    send window closes and it keeps the rest.

    Parameters
    ----------
    max_messages, max_bytes : int
        What may wait.
    """

    def __init__(self, max_messages: int, max_bytes: int) -> None:
        self.max_messages = max_messages
        self.max_bytes = max_bytes
        lock = Lock()
        self._room = Condition(lock)
        self._filled = Condition(lock)
        self._waiting: deque[Message] = deque()
        self._bytes = 0
        self._wanted = 1
        self._closed = False

    def __len__(self) -> int:
        return len(self._waiting)

    @property
    def closed(self) -> bool:
        """Nothing more is taken in."""
        return self._closed

    def put(self, message: Message) -> bool:
        """Add a message, waiting for room; ``False`` if the inbox was closed."""
        size = len(message.payload)
        with self._room:
            while not self._closed and self._is_full(size):
                self._room.wait()
            if self._closed:
                return False
            self._waiting.append(message)
            self._bytes += size
            if len(self._waiting) >= self._wanted or self._is_full(0):
                self._filled.notify()
        return True

    def _is_full(self, size: int) -> bool:
        if not self._waiting:
            return False
        return len(self._waiting) >= self.max_messages or self._bytes + size > self.max_bytes

    def take(
        self, most: int, most_bytes: int, *, linger_s: float, timeout_s: float
    ) -> list[Message]:
        """Take waiting messages in order.

        Waits for the first one up to ``timeout_s``, then up to ``linger_s`` for company, which ends
        early when ``most`` wait. Gives an empty list if none came.
        """
        with self._filled:
            self._wait_for(1, timeout_s)
            if self._waiting:
                self._wait_for(most, linger_s)
            batch: list[Message] = []
            size = 0
            while self._waiting and len(batch) < most and size < most_bytes:
                message = self._waiting.popleft()
                size += len(message.payload)
                batch.append(message)
            self._bytes -= size
            self._room.notify_all()
        return batch

    def _wait_for(self, count: int, timeout_s: float) -> None:
        self._wanted = count
        self._filled.wait_for(
            lambda: len(self._waiting) >= count or self._closed or self._is_full(0), timeout_s
        )

    def close(self) -> None:
        """Take nothing more in; what waits can still be taken."""
        with self._room:
            self._closed = True
            self._room.notify_all()
            self._filled.notify_all()
