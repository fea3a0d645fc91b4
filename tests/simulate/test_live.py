import copy
import queue
import threading
from dataclasses import replace

import numpy as np
import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from hilum.domain.model import MS_PER_HOUR
from hilum.ingest.senml import decode_senml
from hilum.simulate.broker import DemoBroker
from hilum.simulate.live import LiveSensors
from hilum.simulate.scenery import DRAWER, JAR, ROOM, TUB
from hilum.simulate.world import World, build_world

from .conftest import NOW_MS

LATER_MS = NOW_MS + 13 * MS_PER_HOUR
WAIT_S = 10.0


@pytest.fixture
def fresh(world: World) -> World:
    """The shared world with a scenery of its own, which may be carried on."""
    return replace(world, scenery=copy.deepcopy(world.scenery))


class SetClock:
    """A clock that stands where it is put."""

    def __init__(self, now_ms: int) -> None:
        self.time_ms = now_ms

    def now_ms(self) -> int:
        """The time it was set to."""
        return self.time_ms


def test_the_live_world_is_the_later_world(fresh: World) -> None:
    """What live sensors say hours later is what a world built then holds, within their noise."""
    sent: dict[str, bytes] = {}
    clock = SetClock(NOW_MS)
    live = LiveSensors(fresh, sent.__setitem__, clock)
    for hours in (0.001, 3, 6.5, 9, 13):
        clock.time_ms = NOW_MS + round(hours * MS_PER_HOUR)
        live.step()
    later = build_world(LATER_MS)
    assert later.story.start_ms == fresh.story.start_ms
    for name, record in later.readings.items():
        payload = sent[f"hilum/{name}/readings"]
        (reading,) = decode_senml(payload, name, LATER_MS).readings
        assert reading.time_ms == LATER_MS
        assert reading.temp_c == pytest.approx(record.temp_c[-1], abs=0.3)
        assert reading.rh_pct == pytest.approx(record.rh_pct[-1], abs=1.5)


def test_the_first_message_joins_on(fresh: World) -> None:
    """A few seconds after the end of the story nothing has jumped."""
    sent: dict[str, bytes] = {}
    clock = SetClock(NOW_MS + 5000)
    live = LiveSensors(fresh, sent.__setitem__, clock)
    assert live.step() == NOW_MS + 5000
    assert len(sent) == 4
    for name, record in fresh.readings.items():
        payload = sent[f"hilum/{name}/readings"]
        (reading,) = decode_senml(payload, name, NOW_MS + 5000).readings
        assert reading.temp_c == pytest.approx(float(np.mean(record.temp_c[-3:])), abs=0.3)
        assert reading.battery_pct == record.battery_pct[-1]


def test_a_clock_that_stands_sends_nothing(fresh: World) -> None:
    """The same moment is not measured twice: that would be another value for the same time."""
    sent: list[str] = []
    clock = SetClock(NOW_MS + 1000)
    live = LiveSensors(fresh, lambda t, _p: sent.append(t), clock)
    live.step()
    clock.time_ms -= 500
    live.step()
    assert len(sent) == 4


def test_messages_pass_through_the_demo_broker(fresh: World) -> None:
    """Presence and readings of all four sensors reach a real client over real MQTT."""
    got: queue.Queue[tuple[str, bytes]] = queue.Queue()
    with DemoBroker() as broker:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv311)
        client.username_pw_set(broker.username, broker.password)
        ready = threading.Event()
        client.on_connect = lambda c, *_: c.subscribe("hilum/#", qos=1)
        client.on_subscribe = lambda *_: ready.set()
        client.on_message = lambda _c, _u, m: got.put((m.topic, bytes(m.payload)))
        client.connect(broker.host, broker.port)
        client.loop_start()
        assert ready.wait(WAIT_S)

        def publish(topic: str, payload: bytes) -> None:
            client.publish(topic, payload, qos=1, retain=topic.endswith("/status"))

        clock = SetClock(NOW_MS + 5000)
        live = LiveSensors(fresh, publish, clock, period_s=0.05)
        stop = threading.Event()
        thread = threading.Thread(target=live.run, args=(stop,))
        thread.start()
        found = [got.get(timeout=WAIT_S) for _ in range(8)]
        stop.set()
        thread.join(WAIT_S)
        last = [got.get(timeout=WAIT_S) for _ in range(4)]
        client.disconnect()
        client.loop_stop()
    names = {DRAWER, TUB, JAR, ROOM}
    assert {t for t, p in found if p == b"online"} == {f"hilum/{name}/status" for name in names}
    topics = {topic for topic, payload in found if payload != b"online"}
    assert topics == {f"hilum/{name}/readings" for name in names}
    assert {payload for _, payload in last} == {b"offline"}
