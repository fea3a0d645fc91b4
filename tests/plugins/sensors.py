"""Sensors for tests: publish at QoS 1 and remember what the broker confirmed."""

import json
import time
from collections import deque
from collections.abc import Callable, Iterable
from typing import Self

from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from plugins.mosquitto import USERS

Message = tuple[str, bytes]


def senml(time_ms: int, temp_c: float, rh_pct: float) -> bytes:
    """One moment with its own time."""
    pack = [
        {"bt": time_ms / 1000, "n": "temperature", "u": "Cel", "v": temp_c},
        {"n": "humidity", "u": "%RH", "v": rh_pct},
    ]
    return json.dumps(pack).encode()


def wait_until(done: Callable[[], bool], seconds: float = 20.0) -> bool:
    """Wait for something to become true; tell whether it did."""
    until = time.monotonic() + seconds
    while not done():
        if time.monotonic() > until:
            return False
        time.sleep(0.02)
    return True


class Sensors:
    """One connection that speaks for many sensors.

    ``confirmed`` holds the index of every message of :meth:`send` that the broker acknowledged.
    """

    def __init__(
        self,
        port: int,
        user: str = "tester",
        will: Message | None = None,
        *,
        protocol: MQTTProtocolVersion = MQTTv5,
    ) -> None:
        self.confirmed: set[int] = set()
        self.refused: set[int] = set()
        self._index: dict[int, int] = {}
        self._answers: deque[tuple[int, bool]] = deque()
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=protocol)
        self._client.username_pw_set(user, USERS[user])
        self._client.max_queued_messages_set(0)
        self._client.max_inflight_messages_set(500)
        self._client.on_publish = self._on_publish
        if will is not None:
            self._client.will_set(will[0], will[1], qos=1, retain=True)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _on_publish(
        self, _client: Client, _data: object, number: int, reason: object, _props: object
    ) -> None:
        # Runs inside the library's own locks, so it only notes.
        self._answers.append((number, not getattr(reason, "is_failure", False)))

    def _waiting(self) -> int:
        while self._answers:
            number, good = self._answers.popleft()
            (self.confirmed if good else self.refused).add(self._index.pop(number))
        return len(self._index)

    def send(self, messages: Iterable[Message], *, ahead: int = 500, retain: bool = False) -> int:
        """Publish messages, never more than ``ahead`` unconfirmed; give how many were sent."""
        first = count = len(self.confirmed) + len(self.refused) + len(self._index)
        for topic, payload in messages:
            while self._waiting() >= ahead:
                time.sleep(0.001)
            info = self._client.publish(topic, payload, qos=1, retain=retain)
            self._index[info.mid] = count
            count += 1
        return count - first

    def settle(self, seconds: float = 20.0) -> None:
        """Wait until the broker confirmed everything."""
        assert wait_until(lambda: not self._waiting(), seconds), (
            "the broker did not confirm everything"
        )

    def vanish(self) -> None:
        """Break the connection without a goodbye, as a dead battery does."""
        sock = self._client.socket()
        assert sock is not None
        self._client.loop_stop()
        sock.close()
