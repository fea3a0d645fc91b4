"""The connection to the MQTT broker. Nothing of the client library leaves this module.

MQTT 5, a session that outlives the connection (stable client id, clean start off, session expiry),
and acknowledgement by hand: a message is acknowledged when it has been stored, so whatever happens
to this process, the broker sends the rest again.

Callbacks run in the library's network thread. They convert and hand over; handing over may wait,
which stops the reading from the network and so holds the broker back.
"""

import json
import logging
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from threading import Lock

from paho.mqtt.client import (
    Client,
    ConnectFlags,
    DisconnectFlags,
    MQTTMessage,
    MQTTv5,
    MQTTv311,
)
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from hilum.domain.errors import InvalidInputError, SettingsError
from hilum.ingest.decode import Message
from hilum.ingest.machineclock import since_boot_s
from hilum.ingest.screen import MAX_PAYLOAD
from hilum.ingest.settings import BrokerSettings

LOG = logging.getLogger(__name__)
QUEUED_OUT = 1_000
SESSION_TAKEN_OVER = 142
SHORT_S = 10.0  # a connection that ends sooner is one of a rival's, if it happens again and again
RIVAL_AFTER = 3
REFUSED = {
    134: "The broker refused Hilum's name or password.",
    135: "The broker does not let Hilum in with this name and password.",
    133: "The broker refused the client id.",
}


class MqttLink:
    """A session at the broker that comes back by itself.

    Parameters
    ----------
    settings : BrokerSettings
        Where and how.
    filters : sequence of str
        Topics to listen to.
    deliver : callable
        Takes each message, and may wait.
    now_ms : callable
        Tells the time of arrival [ms].
    on_new_session : callable, optional
        Called before listening begins where the broker knows no session of this name: whatever was
        published before is not heard. With it, a message that ``begins`` is delivered as soon as
        everything is heard.

    Raises
    ------
    SettingsError
        A certificate file cannot be used.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        filters: Sequence[str],
        deliver: Callable[[Message], object],
        now_ms: Callable[[], int],
        on_new_session: Callable[[], None] | None = None,
    ) -> None:
        self.settings = settings
        self.filters = tuple(filters)
        self._on_new_session = on_new_session
        self._new_session = True
        self._asked = True  # to listen, in this connection
        self.connected = False
        self.received = 0
        self.last_error = ""
        self._deliver = deliver
        self._now_ms = now_ms
        self._epoch = 0  # counts connections: packet numbers of an old one mean nothing in a new
        self._epoch_lock = Lock()
        self._since = 0.0
        self._short = 0  # connections in a row that ended soon
        self._client = self._make_client()

    def _make_client(self) -> Client:
        client = client_for(self.settings, manual_ack=True)
        client.max_queued_messages_set(QUEUED_OUT)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_unsubscribe = self._on_unsubscribe
        client.on_message = self._on_message
        return client

    def start(self) -> None:
        """Begin to connect, and keep connecting; returns at once."""
        settings = self.settings
        where = (settings.host, settings.port, settings.keepalive_s)
        if settings.version == "5":
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = settings.session_s
            properties.ReceiveMaximum = settings.receive_maximum
            self._client.connect_async(*where, clean_start=False, properties=properties)
        else:
            self._client.connect_async(*where)
        self._client.loop_start()

    def trouble(self) -> str:
        """Why messages do not come as they should, in words; empty while all is well.

        Connections that end as soon as they are made are a thing of the past once one has lasted.
        """
        lasted = self.connected and time.monotonic() - self._since > SHORT_S
        if lasted and self._short >= RIVAL_AFTER:
            self._short, self.last_error = 0, ""
        return self.last_error

    def keep_running(self) -> None:
        """Start the network thread again if something unforeseen ended it; ask what was not."""
        self._client.loop_start()
        if not self._asked and self._client.is_connected():
            self._ask()

    def stop(self) -> None:
        """Send what is to be sent, say goodbye and end the network thread; the session stays."""
        self._client.disconnect()
        self._client.loop_stop()
        self.connected = False

    def acknowledge(self, tickets: Iterable[tuple[int, int]]) -> None:
        """Tell the broker that messages are kept.

        Tickets of an earlier connection are passed over: the broker sends those messages again, and
        their number may by now belong to another message.
        """
        with self._epoch_lock:
            epoch, ack = self._epoch, self._client.ack
            for ticket_epoch, number in tickets:
                if ticket_epoch == epoch:
                    ack(number, 1)

    def publish(self, topic: str, payload: Mapping[str, object], *, retain: bool) -> None:
        """Publish JSON at QoS 1; while the broker is away, the newest 1,000 wait.

        Raises
        ------
        InvalidInputError
            The topic cannot be published to, or the payload is no JSON.
        """
        try:
            text = json.dumps(payload, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
            self._client.publish(topic, text.encode(), qos=1, retain=retain)
        except (TypeError, ValueError) as error:
            raise InvalidInputError(f"“{topic}” cannot be published: {error}") from error

    def _on_connect(
        self,
        _client: Client,
        _userdata: object,
        flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            self._fail(REFUSED.get(reason.value, f"The broker refused: {reason}."))
            return
        with self._epoch_lock:
            self._epoch += 1
        self._since = time.monotonic()
        self._new_session = not flags.session_present
        self._ask()

    def _ask(self) -> None:
        """Ask to listen, once it is noted what was not heard; else again a little later."""
        client = self._client
        self._asked = False
        if self._new_session and self._on_new_session is not None:
            try:
                self._on_new_session()
            except Exception:
                LOG.exception("The beginning of a session could not be noted")
                self._fail("The store failed; Hilum does not listen yet.")
                return
        self._asked = True
        if self.settings.leave:
            client.unsubscribe(list(self.filters))
        elif self.settings.version == "5":
            client.subscribe([(topic, self._options(topic)) for topic in self.filters])
        else:
            client.subscribe([(topic, 1) for topic in self.filters])

    @staticmethod
    def _options(topic: str) -> SubscribeOptions:
        """Ask for kept statuses every time, for kept values only when the session is new."""
        again = topic.endswith("/status")
        handling = (
            SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE
            if again
            else SubscribeOptions.RETAIN_SEND_IF_NEW_SUB
        )
        return SubscribeOptions(qos=1, retainHandling=handling)

    def _on_subscribe(
        self,
        _client: Client,
        _userdata: object,
        _number: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        refused = [
            topic for topic, reason in zip(self.filters, reasons, strict=False) if reason.is_failure
        ]
        self.connected = len(refused) < len(reasons)
        if refused:
            self._fail(f"The broker does not let Hilum listen to {', '.join(refused)}.")
            return
        if self._on_new_session is not None:
            self._deliver(Message("", b"", self._now_ms(), begins=True))
        if self._short < RIVAL_AFTER:
            self.last_error = ""
            LOG.info("Listening to the broker at %s:%s", self.settings.host, self.settings.port)

    def _on_unsubscribe(self, *_: object) -> None:
        self.connected = True

    def _on_connect_fail(self, _client: Client, _userdata: object) -> None:
        where = f"{self.settings.host}:{self.settings.port}"
        self._fail(f"The broker at {where} cannot be reached.")

    def _on_disconnect(
        self,
        _client: Client,
        _userdata: object,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        with self._epoch_lock:
            self._epoch += 1
        was_connected, self.connected = self.connected, False
        if not was_connected or not reason.is_failure:
            return
        ended_soon = time.monotonic() - self._since < SHORT_S
        self._short = self._short + 1 if ended_soon else 0
        if reason.value == SESSION_TAKEN_OVER or self._short >= RIVAL_AFTER:
            name = self.settings.client_id
            self._fail(
                "The connection to the broker ends as soon as it is made. Another program may be "
                f"signed in as “{name}”."
            )
        else:
            self._fail("The connection to the broker was lost.")

    def _on_message(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        """Hand a message over; whatever goes wrong, the network thread goes on."""
        try:
            topic, raw = _topic(message)
            self.received += 1
            self._deliver(
                Message(
                    topic,
                    bytes(message.payload[: MAX_PAYLOAD + 1]),
                    self._now_ms(),
                    retained=message.retain,
                    ticket=(self._epoch, message.mid) if message.qos else None,
                    raw_topic=raw,
                    heard_s=since_boot_s(),
                )
            )
        except Exception:
            LOG.exception("A message from the broker could not be handed over")

    def _fail(self, words: str) -> None:
        if words != self.last_error:
            LOG.warning("%s", words)
        self.last_error = words


def client_for(settings: BrokerSettings, *, manual_ack: bool) -> Client:
    """Make a client of the library that is not connected yet; SettingsError if TLS cannot be."""
    older = settings.version != "5"
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=settings.client_id,
        clean_session=False if older else None,
        protocol=MQTTv311 if older else MQTTv5,
        manual_ack=manual_ack,
    )
    if settings.username is not None:
        client.username_pw_set(settings.username, settings.password)
    if settings.tls:
        _set_tls(client, settings)
    client.reconnect_delay_set(1, settings.retry_max_s)
    return client


def _set_tls(client: Client, settings: BrokerSettings) -> None:
    ca, cert, key = (
        None if file is None else str(file)
        for file in (settings.ca_file, settings.cert_file, settings.key_file)
    )
    try:
        client.tls_set(ca_certs=ca, certfile=cert, keyfile=key)
    except (OSError, ValueError) as error:
        raise SettingsError(f"A certificate for the broker cannot be used: {error}") from error


def _topic(message: MQTTMessage) -> tuple[str | None, bytes]:
    """Give the topic, or what it is instead of UTF-8."""
    try:
        return message.topic, b""
    except UnicodeDecodeError as error:
        return None, bytes(error.object)
