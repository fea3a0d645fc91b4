"""Publishes the demo's messages over real MQTT, as sensors do."""

from types import TracebackType
from typing import Self

from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from hilum.domain.errors import BrokerError


class Publisher:
    """A client that publishes at QoS 1; presence is retained, readings are not.

    Parameters
    ----------
    host : str
        Address of the broker.
    port : int
        Its port.
    username, password : str
        To sign in with.
    """

    def __init__(self, host: str, port: int, username: str, password: str) -> None:
        self._where = (host, port)
        self._client = Client(CallbackAPIVersion.VERSION2, "demo-sensors", protocol=MQTTv311)
        self._client.username_pw_set(username, password)

    def __enter__(self) -> Self:
        try:
            self._client.connect(*self._where)
        except OSError as error:
            raise BrokerError("The demo's broker cannot be reached.") from error
        self._client.loop_start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def publish(self, topic: str, payload: bytes) -> None:
        """Hand a message over; it is sent as soon as the broker takes it."""
        self._client.publish(topic, payload, qos=1, retain=topic.endswith("/status"))
