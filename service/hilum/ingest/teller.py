"""Says something to the broker and waits until the broker has it, over a connection of its own.

The connection that listens cannot do that: while readings wait it does not read from the network,
so the broker's word would not be heard.
"""

import logging
from threading import Condition

from paho.mqtt.client import Client
from paho.mqtt.reasoncodes import ReasonCode

from hilum.domain.errors import BrokerError
from hilum.ingest.mqtt import client_for
from hilum.ingest.settings import BrokerSettings

LOG = logging.getLogger(__name__)
WAIT_S = 10.0


class Teller:
    """Publishes at QoS 1, one thing after the other.

    Parameters
    ----------
    settings : BrokerSettings
        Where and how; ``client_id`` must be another than that of the one who listens.

    Raises
    ------
    SettingsError
        A certificate file cannot be used.
    """

    def __init__(self, settings: BrokerSettings) -> None:
        self.settings = settings
        self._answers: dict[int, bool] = {}
        self._answered = Condition()
        self._client = client_for(settings, manual_ack=False)
        self._client.on_publish = self._on_publish

    def start(self) -> None:
        """Begin to connect, and keep connecting; returns at once."""
        settings = self.settings
        self._client.connect_async(settings.host, settings.port, settings.keepalive_s)
        self._client.loop_start()

    def stop(self) -> None:
        """Say goodbye."""
        self._client.disconnect()
        self._client.loop_stop()

    def tell(self, topic: str, payload: bytes) -> None:
        """Publish, and return when the broker has it.

        That nobody listens yet is no error: whoever begins to listen knows that something was said
        before.

        Raises
        ------
        BrokerError
            The broker did not take it; it may be said again.
        """
        if not self._client.is_connected():
            raise BrokerError("The broker cannot be reached to tell what was stored.")
        number = self._client.publish(topic, payload, qos=1).mid
        with self._answered:
            if not self._answered.wait_for(lambda: number in self._answers, WAIT_S):
                raise BrokerError("The broker does not answer.")
            if not self._answers.pop(number):
                raise BrokerError(f"The broker does not let this worker publish to {topic}.")
            self._answers.clear()  # late answers nobody waits for any more

    def _on_publish(
        self, _client: Client, _data: object, number: int, reason: ReasonCode, _props: object
    ) -> None:
        with self._answered:
            self._answers[number] = not reason.is_failure
            self._answered.notify_all()
