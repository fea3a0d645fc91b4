"""From message to reading: topics that are no text, times by arrival, old acknowledgements."""

import json

import pytest
from paho.mqtt.client import MQTTMessage

from hilum.domain.model import RejectReason
from hilum.ingest.decode import Decoder, Kept, Message
from hilum.ingest.mqtt import MqttLink
from hilum.ingest.settings import BrokerSettings
from hilum.ingest.sources import Place, Source
from hilum.ingest.topics import Router

NOW = 1_764_061_200_000
READINGS = "hilum/home/tub/readings"
SOURCES = (
    Source("garden/{sensor}/temperature", "home", {"temperature": Place("degC")}),
    Source("garden/{sensor}/humidity", "home", {"humidity": Place("%")}),
)


def decoder() -> Decoder:
    """A decoder that admits every sensor."""
    return Decoder(Router(SOURCES), lambda _: True)


def record(**fields: object) -> bytes:
    """One temperature record."""
    return json.dumps([{"n": "temperature", "u": "Cel", "v": 20.5, **fields}]).encode()


def times(*kept: Kept) -> list[int]:
    """Times of all readings, from now."""
    return [reading.time_ms - NOW for one in kept for reading in one.readings]


def test_a_topic_that_is_no_text_is_a_reject() -> None:
    """Should a broker pass on a topic that is not UTF-8, it becomes a reject that can be read."""
    message = Message(None, b"x", NOW, raw_topic=b"hilum/home/\xff/readings")
    [reject] = decoder().decode(message).rejects
    assert reject.reason is RejectReason.TOPIC
    assert reject.topic == "hilum/home/\\xff/readings"


def test_the_network_thread_survives_such_a_topic() -> None:
    """The client library raises when it is asked for such a topic; the message still goes on."""
    got: list[Message] = []
    link = MqttLink(BrokerSettings(), [], got.append, lambda: NOW)
    for topic in (b"hilum/\xff", READINGS.encode()):
        message = MQTTMessage(mid=1, topic=topic)
        message.qos = 1
        message.payload = b"x"
        link._on_message(link._client, None, message)
    assert [(m.topic, m.raw_topic) for m in got] == [(None, b"hilum/\xff"), (READINGS, b"")]


def test_a_failing_listener_does_not_end_the_network_thread() -> None:
    """Whatever goes wrong on handing over, the callback returns; the broker sends it again."""

    def fail(_message: Message) -> None:
        raise RuntimeError

    link = MqttLink(BrokerSettings(), [], fail, lambda: NOW)
    link._on_message(link._client, None, MQTTMessage(mid=1, topic=b"a"))
    assert link.received == 1


def test_acknowledgements_of_an_old_connection_are_not_sent(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """After a reconnect a packet number may belong to another message, so old ones are dropped."""
    sent: list[int] = []
    link = MqttLink(BrokerSettings(), [], lambda _: None, lambda: NOW)
    monkeypatch.setattr(link._client, "ack", lambda number, _qos: sent.append(number))
    link._epoch = 3
    link.acknowledge([(2, 7), (3, 8), (3, 9)])
    assert sent == [8, 9]


def test_temperature_and_humidity_in_two_messages_are_one_moment() -> None:
    """Within half a minute the second value joins the first; later it stands alone."""
    decode = decoder().decode
    parts = [
        ("temperature", b"20.5", 0),
        ("humidity", b"40", 400),
        ("humidity", b"41", 60_000),
        ("temperature", b"20.6", 95_000),
    ]
    kept = [decode(Message(f"garden/tub/{what}", v, NOW + at)) for what, v, at in parts]
    assert times(*kept) == [0, 0, 60_000, 95_000]


def test_values_by_arrival_never_share_a_time() -> None:
    """Three readings that arrive in one millisecond are a millisecond apart, also with a past."""
    decode = decoder().decode
    messages = [record(), record(v=21), record(v=22, t=-5)]
    assert times(*(decode(Message(READINGS, payload, NOW)) for payload in messages)) == [
        0,
        1,
        2 - 5000,
    ]


def test_empty_messages_that_take_back_a_kept_one_are_no_news() -> None:
    """Clearing a retained topic is neither a reading nor a reject."""
    decode = decoder().decode
    assert decode(Message(READINGS, b"", NOW, retained=True)) == Kept()
    assert decode(Message("hilum/home/tub/status", b"", NOW)) == Kept()
