"""The watch as a part of the service: rules, digest, boxes on the broker, and telling."""

import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import time
from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from hilum.bootstrap.channels import plans_of, send_test, telling_of
from hilum.bootstrap.watching import Watching
from hilum.config import Settings, settings_from
from hilum.domain.alerts import (
    AlertState,
    Notice,
    NoticeState,
    QuietTimes,
    RuleSetting,
    Telling,
)
from hilum.domain.errors import NotFoundError, SettingsError
from hilum.domain.model import Box, BoxType, Placement, Reading, Role, Sensor
from hilum.keeping.watching.tellingtimes import set_quiet
from hilum.notify.channel import ChannelError
from hilum.stores.memory import MemoryStore
from keeping.watching import DAY, HOUR, MINUTE, T0, ManualClock
from notify.servers import Certificates, certificates, hook_server, mail_server
from plugins.mosquitto import USERS, Broker, broker
from plugins.sensors import wait_until

__all__ = ["broker"]


@pytest.fixture(autouse=True)
def _no_settings_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    import os

    for name in list(os.environ):
        if name.startswith("HILUM_") and name not in {"HILUM_SHARED", "HILUM_REQUIRE_SERVICES"}:
            monkeypatch.delenv(name)


@pytest.fixture(scope="module")
def certs() -> Iterator[Certificates]:
    """Certificates for this machine."""
    with tempfile.TemporaryDirectory() as folder:
        yield certificates(Path(folder))


def damp_store(name: str = "Blue tub") -> MemoryStore:
    """A tub that has been damp for four hours."""
    store = MemoryStore()
    store.save_box(Box("tub", name, BoxType.TUB))
    store.save_sensor(Sensor("home/tub", 0))
    store.add_placement(Placement(0, "home/tub", "tub", Role.INSIDE, 0))
    times = range(T0 - 4 * HOUR, T0 + 1, 10 * MINUTE)
    store.add([Reading("home/tub", t, 18.0 + t % 7 / 100, 45.0) for t in times], T0)
    return store


def settings(folder: Path, *, mqtt_port: int | None = None, **channels: object) -> Settings:
    """Make settings; without a port the broker is off."""
    values: dict[str, object] = {"channels": {"digest": False, **channels}, "mqtt": False}
    if mqtt_port is not None:
        values |= {"mqtt": True, "mqtt_port": mqtt_port, "mqtt_user": "hilum"}
        values["mqtt_password"] = USERS["hilum"]
    return settings_from(values, folder)


@contextmanager
def kept_on(broker: Broker) -> Iterator[dict[str, dict[str, object]]]:
    """What the broker keeps, by topic."""
    found: dict[str, dict[str, object]] = {}
    client = Client(CallbackAPIVersion.VERSION2)
    client.username_pw_set("tester", USERS["tester"])

    def on_message(_client: Client, _data: object, message: MQTTMessage) -> None:
        found[message.topic] = json.loads(message.payload)

    client.on_message = on_message
    client.connect("127.0.0.1", broker.port)
    client.subscribe("hilum/#", qos=1)
    client.loop_start()
    try:
        yield found
    finally:
        client.disconnect()
        client.loop_stop()


@pytest.mark.mosquitto
def test_a_damp_box_reaches_the_broker(broker: Broker, tmp_path: Path) -> None:
    """Alert and box stand retained on the broker, with units in the names; so does seen."""
    store = damp_store()
    watching = Watching(settings(tmp_path, mqtt_port=broker.port), store, ManualClock())
    watching.start()
    try:
        assert wait_until(lambda: store.notices(state=NoticeState.SENT) != [])
        (alert,) = store.alerts(open_only=True)
        assert watching.see(alert.id).state is AlertState.SEEN
        assert wait_until(lambda: len(store.notices(state=NoticeState.SENT)) == 2)
        topic = f"hilum/home/alerts/{alert.id}"
        with kept_on(broker) as kept:  # it came later, so all of this is retained
            assert wait_until(lambda: len(kept) == 2)
        assert kept[topic]["state"] == "seen"
        assert kept[topic]["value"] == 45.0
        assert kept[topic]["unit"] == "%"
        state = kept["hilum/home/boxes/tub/state"]
        assert state["erh_percent"] == 45.0
        assert state["reading_time"] == "2025-01-01T00:00:00Z"
        assert state["alerts"] == [alert.id]
    finally:
        watching.stop()


@pytest.mark.mosquitto
def test_a_broker_that_was_away_gets_everything_later(broker: Broker, tmp_path: Path) -> None:
    """What could not be published is published when the broker is back."""
    store, clock = damp_store(), ManualClock()
    broker.stop()
    watching = Watching(settings(tmp_path, mqtt_port=broker.port), store, clock)
    watching.start()
    try:
        assert wait_until(lambda: bool(store.notices()) and store.notices()[0].error != "")
        assert store.notices()[0].error == "The broker cannot be reached."
        broker.start()
        clock.time_ms += HOUR
        watching.wake()
        assert wait_until(lambda: store.notices()[0].state is NoticeState.SENT)
        watching.round()
        with kept_on(broker) as kept:
            assert wait_until(lambda: len(kept) == 2)
    finally:
        watching.stop()


def test_mail_and_webhook_from_the_settings(certs: Certificates, tmp_path: Path) -> None:
    """Every address of the settings gets its own letter; markup in a name stays text."""
    store = damp_store("<b>Tub</b>\nBcc: eve@example.org")
    with hook_server(certs.context) as hook, mail_server(certs.context) as post:
        watching = Watching(
            settings(
                tmp_path,
                mail_host="localhost",
                mail_port=post.port,
                mail_from="box@example.org",
                mail_to=["ann@example.org", "bob@example.org"],
                webhook_url=hook.url,
                webhook_allow_private=True,
                ca_file=certs.ca_file,
                quiet_from="00:00",
                quiet_to="00:00",
            ),
            store,
            ManualClock(),
        )
        assert [p.name for p in watching.plans] == [
            "webhook",
            "mail:ann@example.org",
            "mail:bob@example.org",
        ]
        watching.start()
        try:
            assert wait_until(lambda: len(store.notices(state=NoticeState.SENT)) == 3)
        finally:
            watching.stop()
    assert sorted(post.recipients) == ["ann@example.org", "bob@example.org"]
    for letter in post.letters:
        assert letter["Bcc"] is None
        assert letter["Subject"].startswith("Damp: <b>Tub</b> Bcc: eve@example.org is damp")
    (content,) = hook.contents
    assert content["alert"]["rule"] == "damp"


def test_people_are_left_alone_at_night(tmp_path: Path) -> None:
    """In quiet hours mail waits for the morning; it is midnight in this test."""
    store, clock = damp_store(), ManualClock()
    made = settings(tmp_path, mail_host="h", mail_from="a@b.example", mail_to=["c@d.example"])
    Watching(made, store, clock).round()
    (notice,) = store.notices()
    assert notice.due_ms == T0 + 7 * HOUR
    assert store.due_notices(notice.channel, T0 + 7 * HOUR - 1) == []


def test_quiet_hours_set_on_the_pages_win(tmp_path: Path) -> None:
    """Set to none there, mail of midnight does not wait, though the settings have quiet hours."""
    store, clock = damp_store(), ManualClock()
    made = settings(tmp_path, mail_host="h", mail_from="a@b.example", mail_to=["c@d.example"])
    set_quiet(store, QuietTimes(time.min, time.min), T0)
    Watching(made, store, clock).round()
    (notice,) = store.notices()
    assert notice.due_ms == T0


def test_what_the_pages_call_usual_is_what_the_settings_have_by_default(tmp_path: Path) -> None:
    """Settings without a word about it give the times of the records."""
    assert telling_of(settings(tmp_path, digest=True)) == Telling()


def test_the_digest_is_made_once(tmp_path: Path) -> None:
    """On its day and hour it is made once for each way, also over restarts."""
    store, clock = damp_store(), ManualClock(T0 + 4 * DAY + 9 * HOUR)  # Sunday, nine o'clock
    made = settings(
        tmp_path, digest=True, mail_host="h", mail_from="a@b.example", mail_to=["c@d.example"]
    )
    for _ in range(3):
        watching = Watching(made, store, clock)
        watching.round()
        watching.round()
    digests = [notice for notice in store.notices() if notice.step == "digest"]
    assert [notice.key for notice in digests] == ["digest.2025-01-05"]
    off = made.changed(channels=made.channels.model_copy(update={"digest": False}))
    clock.time_ms += 7 * DAY
    Watching(off, store, clock).round()
    assert len([notice for notice in store.notices() if notice.step == "digest"]) == 1


def test_old_notices_are_swept_out_once_a_day(tmp_path: Path) -> None:
    """The first round sweeps, then one a day later: what was given up 90 days ago goes."""
    store, clock = MemoryStore(), ManualClock(T0)
    old = Notice("test.1", "mail", "test", T0 - 90 * DAY + HOUR, T0, "Test", "A test.")
    store.add_notices([old])
    store.save_notice(replace(old, id=1, state=NoticeState.GIVEN_UP, error="No answer."))
    watching = Watching(settings(tmp_path), store, clock)
    for hours, left in ((0, 1), (23, 1), (24, 0)):
        clock.time_ms = T0 + hours * HOUR
        watching.round()
        assert len(store.notices()) == left, hours
    watching.stop()


def test_a_channel_taken_out_of_the_settings(tmp_path: Path) -> None:
    """What waited for it is given up at the start."""
    store = damp_store()
    store.save_rule_setting(RuleSetting("damp", on=False))
    store.add_notices([Notice("digest.1", "push-1", "digest", T0, T0, "s", "t")])
    watching = Watching(settings(tmp_path), store, ManualClock())
    watching.start()
    watching.stop()
    assert store.notices()[0].state is NoticeState.GIVEN_UP


def test_a_round_that_fails_does_not_end_the_watch(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An unforeseen error is logged, and the next round comes."""
    store = damp_store()
    watching = Watching(settings(tmp_path), store, ManualClock())
    rounds: list[int] = []

    def fail() -> None:
        rounds.append(1)
        raise ZeroDivisionError

    monkeypatch.setattr("hilum.bootstrap.watching.PAUSE_S", 0.01)
    monkeypatch.setattr(watching, "round", fail)
    watching.start()
    try:
        for count in (1, 2, 3):
            assert wait_until(lambda count=count: len(rounds) >= count)  # type: ignore[misc]
            watching.wake()
    finally:
        watching.stop()


# A test message


def test_a_test_message_on_each_way(certs: Certificates, tmp_path: Path) -> None:
    """It goes out at once and says what it is; of an unknown name the others are offered."""
    with hook_server(certs.context) as hook, mail_server(certs.context) as post:
        made = settings(
            tmp_path,
            mail_host="localhost",
            mail_port=post.port,
            mail_from="box@example.org",
            mail_to=["ann@example.org"],
            webhook_url=hook.url,
            webhook_allow_private=True,
            ca_file=certs.ca_file,
        )
        names = [plan.name for plan in plans_of(made, ManualClock())]
        assert names == ["webhook", "mail:ann@example.org"]
        for name in names:
            send_test(made, ManualClock(), name)
    assert "This is a test from Hilum (home)." in hook.contents[0]["text"]
    assert post.letters[0]["Subject"] == "Test from Hilum"
    with pytest.raises(NotFoundError, match="no channel “pigeon”; there are: webhook, mail:ann"):
        send_test(made, ManualClock(), "pigeon")


@pytest.mark.mosquitto
def test_a_test_message_on_the_broker(broker: Broker, tmp_path: Path) -> None:
    """The broker confirms it, or says why not."""
    made = settings(tmp_path, mqtt_port=broker.port)
    send_test(made, ManualClock(), "mqtt")
    with pytest.raises(ChannelError, match="cannot be reached"):
        send_test(made.changed(mqtt_password="wrong"), ManualClock(), "mqtt")  # noqa: S106
    with kept_on(broker) as kept:
        assert wait_until(lambda: "hilum/home/alerts/test" in kept)


def test_channels_that_cannot_be_used_are_said_at_the_start(tmp_path: Path) -> None:
    """A wrong address stops the start with the name of the setting."""
    wrong = settings(tmp_path, mail_host="h", mail_from="nobody", mail_to=["a@b.example"])
    with pytest.raises(SettingsError, match="“mail_from”"):
        Watching(wrong, MemoryStore(), ManualClock())
    with pytest.raises(SettingsError, match="https://"):
        Watching(settings(tmp_path, webhook_url="http://x/"), MemoryStore(), ManualClock())
