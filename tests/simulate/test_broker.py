import queue
import socket
import sys
import threading

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from hilum.domain.errors import PartMissingError
from hilum.simulate.broker import DemoBroker

WAIT_S = 10.0


def client(broker: DemoBroker, password: str) -> tuple[mqtt.Client, "queue.Queue[str]"]:
    """A real client that notes whether it was let in."""
    found: queue.Queue[str] = queue.Queue()
    made = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv311)
    made.username_pw_set(broker.username, password)
    made.on_connect = lambda _c, _u, _f, reason, _p: found.put(str(reason))
    made.connect(broker.host, broker.port)
    made.loop_start()
    return made, found


def leave(made: mqtt.Client) -> None:
    """Disconnect and end the client's thread."""
    made.disconnect()
    made.loop_stop()


def test_a_message_passes_through_the_broker() -> None:
    """A real client publishes at QoS 1 and another receives it, and a late one what was kept."""
    with DemoBroker() as broker:
        listener, let_in = client(broker, broker.password)
        assert let_in.get(timeout=WAIT_S) == "Success"
        got: queue.Queue[tuple[str, bytes]] = queue.Queue()
        subscribed = threading.Event()
        listener.on_message = lambda _c, _u, m: got.put((m.topic, bytes(m.payload)))
        listener.on_subscribe = lambda *_: subscribed.set()
        listener.subscribe("hilum/+/+/readings", qos=1)
        assert subscribed.wait(WAIT_S)
        sender, sent_in = client(broker, broker.password)
        assert sent_in.get(timeout=WAIT_S) == "Success"
        sender.publish("hilum/a/b/readings", b"[]", qos=1).wait_for_publish(WAIT_S)
        assert got.get(timeout=WAIT_S) == ("hilum/a/b/readings", b"[]")
        sender.publish("hilum/late/b/readings", b"[1]", qos=1, retain=True).wait_for_publish(WAIT_S)
        assert got.get(timeout=WAIT_S)[0] == "hilum/late/b/readings"
        leave(sender)
        leave(listener)


def test_a_wrong_password_is_refused() -> None:
    """Without the password made up at start nobody gets in."""
    with DemoBroker() as broker:
        stranger, let_in = client(broker, "wrong")
        assert let_in.get(timeout=WAIT_S) != "Success"
        leave(stranger)


def test_it_listens_on_this_machine_only_and_stops() -> None:
    """Only loopback is bound; a stop with a client still there frees the port and the thread."""
    broker = DemoBroker()
    broker.start()
    broker.start()
    assert broker.host == "127.0.0.1"
    guest, let_in = client(broker, broker.password)
    assert let_in.get(timeout=WAIT_S) == "Success"
    broker.stop()
    broker.stop()
    leave(guest)
    assert all(thread.name != "demo-broker" for thread in threading.enumerate())
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((broker.host, broker.port), timeout=WAIT_S)


def test_each_start_makes_up_another_password() -> None:
    """No two brokers share a password."""
    assert DemoBroker().password != DemoBroker().password


def test_a_missing_part_is_said_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the optional part the sentence says what to install."""
    monkeypatch.setitem(sys.modules, "amqtt.broker", None)
    with pytest.raises(PartMissingError, match=r"pip install '\.\[demo\]'"):
        DemoBroker().start()
