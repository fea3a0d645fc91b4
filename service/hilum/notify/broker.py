"""A connection of its own to the broker, that knows when the broker has taken a message."""

import threading
from dataclasses import dataclass, field
from pathlib import Path

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from hilum.domain.errors import BrokerError, SettingsError

TIMEOUT_S = 10.0


@dataclass(frozen=True, slots=True)
class PublisherSettings:
    """Where the broker is and how to sign in; see the settings of the same names."""

    host: str = "127.0.0.1"
    port: int = 1883
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    client_id: str = "hilum-alerts"
    version: str = "5"
    tls: bool = False
    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    timeout_s: float = TIMEOUT_S


class BrokerPublisher:
    """Publishes retained messages at QoS 1 and waits until the broker confirms each.

    It connects with the first message, and again after a failure.

    Parameters
    ----------
    settings : PublisherSettings
        The broker.
    """

    def __init__(self, settings: PublisherSettings) -> None:
        self._settings = settings
        self._lock = threading.Lock()
        self._client: Client | None = None

    def publish(self, topic: str, payload: bytes) -> None:
        """Publish; returns when the broker has confirmed, else raises ``BrokerError``."""
        with self._lock:
            try:
                client = self._connected()
                info = client.publish(topic, payload, qos=1, retain=True)
                info.wait_for_publish(self._settings.timeout_s)
                done = info.is_published()
            except (OSError, ValueError, RuntimeError) as error:
                self._drop()
                raise BrokerError("The broker cannot be reached.") from error
            if not done:
                self._drop()
                raise BrokerError("The broker did not confirm the message in time.")

    def close(self) -> None:
        """Say goodbye to the broker."""
        with self._lock:
            self._drop()

    def _connected(self) -> Client:
        if self._client is not None and not self._client.is_connected():
            self._drop()
        if self._client is None:
            self._client = self._connect()
        return self._client

    def _connect(self) -> Client:
        settings = self._settings
        client = Client(
            CallbackAPIVersion.VERSION2,
            settings.client_id,
            protocol=MQTTv5 if settings.version == "5" else MQTTv311,
            reconnect_on_failure=False,
        )
        client.connect_timeout = settings.timeout_s
        if settings.username is not None:
            client.username_pw_set(settings.username, settings.password)
        if settings.tls:
            _set_tls(client, settings)
        welcomed = threading.Event()
        refused: list[str] = []

        def on_connect(
            _client: Client, _data: object, _flags: object, reason: object, _props: object
        ) -> None:
            if getattr(reason, "is_failure", False):
                refused.append(str(reason))
            welcomed.set()

        client.on_connect = on_connect
        client.connect(settings.host, settings.port)
        client.loop_start()
        if welcomed.wait(settings.timeout_s) and not refused:
            return client
        client.disconnect()
        client.loop_stop()
        raise OSError(refused[0] if refused else "no answer")

    def _drop(self) -> None:
        """End the connection; what it had not confirmed is sent anew by whoever asks again."""
        if self._client is not None:
            self._client.disconnect()
            self._client.loop_stop()
            self._client = None


def _set_tls(client: Client, settings: PublisherSettings) -> None:
    files = (settings.ca_file, settings.cert_file, settings.key_file)
    ca, cert, key = (None if file is None else str(file) for file in files)
    try:
        client.tls_set(ca_certs=ca, certfile=cert, keyfile=key)
    except (OSError, ValueError) as error:
        raise SettingsError(f"A certificate for the broker cannot be used: {error}") from error
