"""Listens to what the broker says about devices, over a connection of its own.

It is no part of the path of readings: whatever goes wrong here, they go on.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from threading import Lock
from typing import Protocol

from paho.mqtt.client import Client, MQTTMessage

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, Reject, RejectReason, Sensor
from hilum.ingest.brokerwords import Listening, TurnedAway
from hilum.ingest.mqtt import client_for
from hilum.ingest.rounds import safely
from hilum.ingest.screen import printable
from hilum.ingest.settings import BrokerSettings

TOPIC = "$SYS/broker/log/#"
SILENT_MS = MS_PER_HOUR
AGAIN_MS = MS_PER_HOUR  # a device that tries every second is one line an hour
SILENT_AGAIN_MS = 7 * MS_PER_DAY
MOST_REMEMBERED = 1_000
SILENT = (
    "“{user}” signed in at the broker, but in an hour no reading of a sensor of this name was "
    "kept. If it is one of yours: site and sensor in its settings must be those that the broker "
    "lets it speak for (hilum.acl)."
)


class NoteStore(Protocol):
    """What is needed of a store; see ``hilum.domain.ports``."""

    def sensors(self) -> Sequence[Sensor]:
        """Every sensor known."""
        ...

    def add_rejects(self, rejects: Sequence[Reject]) -> None:
        """Keep what was not taken in."""
        ...


class Doorkeeper:
    """Makes rejects of what the broker says, each only now and then.

    Parameters
    ----------
    store : NoteStore
        Where they go, and who has spoken.
    own : str or None
        Name with which Hilum itself signs in.
    now_ms : callable
        Tells the time [ms].
    """

    def __init__(self, store: NoteStore, own: str | None, now_ms: Callable[[], int]) -> None:
        self.store = store
        self.own = own
        self.now_ms = now_ms
        self._lock = Lock()
        self._listening = Listening()
        self._told: dict[tuple[str, str], int] = {}
        self._waiting: dict[str, tuple[int, str]] = {}

    def hear(self, line: str) -> None:
        """Take in a line of the broker's log."""
        with self._lock:
            found = self._listening.read(line)
            now_ms = self.now_ms()
            if isinstance(found, TurnedAway):
                self._tell(found.address, found.why, now_ms, AGAIN_MS, line)
            elif found is not None and len(self._waiting) < MOST_REMEMBERED:
                self._waiting.setdefault(found.user, (now_ms, found.address))
                self._waiting.pop(self.own or "", None)

    def look(self) -> None:
        """Tell of those that were let in and of whom nothing has come."""
        with self._lock:
            if not self._waiting:
                return
            now_ms = self.now_ms()
            heard: dict[str, int] = {}
            for sensor in self.store.sensors():
                name = sensor.name.partition("/")[2]
                heard[name] = max(heard.get(name, 0), sensor.last_seen_ms or 0)
            for user, (since_ms, address) in tuple(self._waiting.items()):
                # the broker's log comes by a connection of its own: a reading can overtake it
                if heard.get(user, 0) >= since_ms - SILENT_MS:
                    del self._waiting[user]
                elif not 0 <= now_ms - since_ms < SILENT_MS:
                    del self._waiting[user]
                    self._tell(address, SILENT.format(user=user), now_ms, SILENT_AGAIN_MS)

    def _tell(self, address: str, why: str, now_ms: int, again_ms: int, line: str = "") -> None:
        last_ms = self._told.get((address, why))
        if last_ms is not None and 0 <= now_ms - last_ms < again_ms:
            return
        if len(self._told) >= MOST_REMEMBERED:
            self._told.clear()
        self._told[address, why] = now_ms
        sender = printable(f"a device at {address}")
        payload = line.encode()[:2000]
        self.store.add_rejects([Reject(now_ms, sender, RejectReason.TURNED_AWAY, why, payload)])


class BrokerLog:
    """The connection that hears the broker's log.

    Parameters
    ----------
    settings : BrokerSettings
        Where and how; the name of the session gets an ending of its own.
    doorkeeper : Doorkeeper
        Told every line.
    """

    def __init__(self, settings: BrokerSettings, doorkeeper: Doorkeeper) -> None:
        self._settings = replace(settings, client_id=f"{settings.client_id}-log")
        self._doorkeeper = doorkeeper
        self._client = client_for(self._settings, manual_ack=False)
        self._client.on_connect = lambda client, *_: client.subscribe(TOPIC, qos=0)
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        self.listening = False

    def start(self) -> None:
        """Begin to connect, and keep connecting; returns at once."""
        settings = self._settings
        self._client.connect_async(settings.host, settings.port, settings.keepalive_s)
        self._client.loop_start()

    def stop(self) -> None:
        """Say goodbye."""
        self._client.disconnect()
        self._client.loop_stop()

    def _on_subscribe(self, *_: object) -> None:
        self.listening = True

    def _on_message(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        line = bytes(message.payload[:2000]).decode("utf-8", "replace")
        safely(lambda: self._doorkeeper.hear(line))
