"""However and whenever the process is killed, every step of an alert is told, and told once.

A real broker, an HTTPS server and a mail server that take, fail, hang and refuse by turns. The one
exception there can be is stated in the sender: killed after a channel has taken a notice and before
that is kept, it hands it over again, under the same id.
"""

import json
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from hilum.domain.alerts import AlertState, NoticeState
from hilum.stores.sqlite import SqliteStore
from notify.servers import (
    FAIL,
    HANG,
    OK,
    REFUSE,
    Certificates,
    Hook,
    PostBox,
    hook_server,
    mail_server,
)
from plugins.mosquitto import USERS, Broker
from plugins.sensors import wait_until

pytestmark = pytest.mark.mosquitto

STORY = Path(__file__).with_name("story.py")
NEVER = 10**6
BY_TURNS = (FAIL, OK, HANG, REFUSE, OK)
STEPS = {"raised": 1, "seen": 1, "cleared": 1}
MOMENTS = 53
"""Moments of the story with servers that fail by turns; a test compares."""

SOME = (1, 3, 5, 9, 16, 30, 46, 52)


@dataclass
class Ears:
    """Everything that was told, by channel."""

    hook: Hook
    post: PostBox
    broker: list[tuple[str, bytes]]
    ports: tuple[int, int, int]


@contextmanager
def listening(broker: Broker, certs: Certificates, moods: tuple[str, ...]) -> Iterator[Ears]:
    """Listen on all three channels."""
    heard: list[tuple[str, bytes]] = []
    client = Client(CallbackAPIVersion.VERSION2)
    client.username_pw_set("tester", USERS["tester"])

    def on_message(_client: Client, _data: object, message: MQTTMessage) -> None:
        if not message.retain:  # else it is what an earlier story left
            heard.append((message.topic, bytes(message.payload)))

    client.on_message = on_message
    subscribed: list[bool] = []
    client.on_subscribe = lambda *_: subscribed.append(True)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    client.subscribe("hilum/home/alerts/+", qos=1)
    assert wait_until(lambda: bool(subscribed))
    try:
        with hook_server(certs.context, moods) as hook, mail_server(certs.context, moods) as post:
            yield Ears(hook, post, heard, (broker.port, hook.port, post.port))
    finally:
        client.disconnect()
        client.loop_stop()


def play(folder: Path, ears: Ears, die_at: int = NEVER) -> int:
    """Play the story; give the exit code."""
    command = [sys.executable, str(STORY), str(folder), *map(str, ears.ports), str(die_at)]
    return subprocess.run(command, check=False, timeout=120, capture_output=True).returncode


def steps(ids: list[str]) -> Counter[str]:
    """Count the steps in message ids."""
    return Counter(each.split(".")[1] for each in ids)


def check_kept(folder: Path) -> None:
    """One alert with one life: three lines in the journal, and every notice sent."""
    store = SqliteStore.open_readonly(folder / "hilum.sqlite3")
    try:
        (alert,) = store.alerts()
        assert alert.state is AlertState.CLEARED
        assert alert.told == 1
        assert None not in {alert.raised_ms, alert.seen_ms, alert.cleared_ms}
        lines = [dict(event.data)["step"] for event in reversed(store.events())]
        assert lines == ["raised", "seen", "cleared"]
        notices = store.notices()
        assert len(notices) == len({(n.key, n.channel) for n in notices}) == 8
        assert {notice.state for notice in notices} == {NoticeState.SENT}
    finally:
        store.close()


def check_heard(ears: Ears, again: int) -> None:
    """Nothing is lost, and no more than ``again`` notices came twice, with the same id."""
    assert wait_until(lambda: len(ears.broker) >= 3)
    by_broker = [json.loads(payload)["message_id"] for _, payload in ears.broker]
    wanted = {"mqtt": (by_broker, 3), "webhook": (ears.hook.ids, 3), "mail": (ears.post.ids, 2)}
    more = 0
    for ids, count in wanted.values():
        assert len(set(ids)) == count
        assert set(steps(ids)) == set(STEPS) - ({"seen"} if count == 2 else set())
        more += len(ids) - count
    assert more <= again
    assert json.loads(ears.broker[-1][1])["state"] == "cleared"
    assert len({topic for topic, _ in ears.broker}) == 1


def test_without_a_crash_each_step_is_told_once(
    broker: Broker, certs: Certificates, tmp_path: Path
) -> None:
    """Servers that fail, hang and refuse by turns delay a notice and double none."""
    (tmp_path / "ca.pem").write_bytes(certs.ca_file.read_bytes())
    with listening(broker, certs, BY_TURNS) as ears:
        assert play(tmp_path, ears) == 0
        check_heard(ears, again=0)
    check_kept(tmp_path)
    assert int((tmp_path / "moments").read_text("utf-8")) == MOMENTS


def crash(broker: Broker, certs: Certificates, folder: Path, moments: range) -> None:
    """Kill the story at each moment in turn, each time in a folder of its own."""
    for die_at in moments:
        place = folder / str(die_at)
        place.mkdir()
        (place / "ca.pem").write_bytes(certs.ca_file.read_bytes())
        with listening(broker, certs, BY_TURNS) as ears:
            assert play(place, ears, die_at) == -9
            assert play(place, ears) == 0
            check_heard(ears, again=1)
        check_kept(place)


@pytest.mark.parametrize("die_at", SOME)
def test_killed_at_a_moment(
    broker: Broker, certs: Certificates, tmp_path: Path, die_at: int
) -> None:
    """Killed before or after a step is kept or a notice handed over, all goes on as it should."""
    crash(broker, certs, tmp_path, range(die_at, die_at + 1))


@pytest.mark.slow
@pytest.mark.parametrize("part", range(8))
def test_killed_at_every_moment(
    broker: Broker, certs: Certificates, tmp_path: Path, part: int
) -> None:
    """The same for every moment there is."""
    crash(broker, certs, tmp_path, range(part, MOMENTS, 8))


def test_twice_only_between_handing_over_and_keeping(
    broker: Broker, certs: Certificates, tmp_path: Path
) -> None:
    """The one moment at which a notice is handed over twice is the one that is stated."""
    doubled = []
    for die_at in range(7, 10):
        place = tmp_path / str(die_at)
        place.mkdir()
        (place / "ca.pem").write_bytes(certs.ca_file.read_bytes())
        with listening(broker, certs, (OK,)) as ears:
            assert play(place, ears, die_at) == -9
            assert play(place, ears) == 0
            told = [json.loads(payload)["message_id"] for _, payload in ears.broker]
            taken = [*ears.hook.ids, *(f"broker {each}" for each in told)]
            if len(taken) > len(set(taken)):
                doubled.append(die_at)
    assert doubled == [8]  # just after the webhook took it
