"""Tells by retained messages on the MQTT broker: alerts, and how each box is.

``hilum/<site>/alerts/<id>`` holds the newest step of an alert, ``hilum/<site>/boxes/<box>/state``
the newest conditions in a box.
"""

import json
from collections.abc import Callable, Mapping

from hilum.domain.errors import BrokerError
from hilum.notify.channel import ChannelError, Message

Publish = Callable[[str, bytes], None]
"""Publishes a retained message; returns when the broker has confirmed it, else ``BrokerError``."""

ROOT = "hilum"


class MqttChannel:
    """Alerts on the broker.

    Parameters
    ----------
    publish : callable
        Publishes, and waits for the broker.
    site : str
        Second level of the topics.
    """

    name = "mqtt"

    def __init__(self, publish: Publish, site: str) -> None:
        self._publish = publish
        self._site = site

    def send(self, message: Message) -> None:
        """See the port. A message that is about no alert goes to ``alerts/<step>``."""
        filed = message.alert or message.step
        content = {"message_id": message.id, **dict(message.data)}
        self._put(f"alerts/{filed}", content)

    def box_state(self, box: str, content: Mapping[str, object]) -> None:
        """Publish how a box is; raises ``ChannelError``."""
        self._put(f"boxes/{box}/state", content)

    def _put(self, tail: str, content: Mapping[str, object]) -> None:
        payload = json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        try:
            self._publish(f"{ROOT}/{self._site}/{tail}", payload.encode())
        except BrokerError as error:
            raise ChannelError(str(error)) from error
