"""A small process for tests: takes a box through a damp spell, and dies when it is told to.

python story.py FOLDER MQTT_PORT HOOK_PORT MAIL_PORT DIE_AT

Every moment before and after something is kept or handed over is numbered; at number DIE_AT the
process kills itself. Started again it goes on from what is in the database. At the end it writes
how many such moments there were.
"""

import os
import signal
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from hilum.domain.alerts import AlertChange, AlertState, Notice, NoticeState, RuleSetting
from hilum.domain.model import Box, BoxType, Placement, Reading, Role, Sensor
from hilum.keeping.watching.alerts import AlertEngine, see
from hilum.keeping.watching.rules import RULES
from hilum.keeping.watching.telling import ChannelPlan
from hilum.keeping.watching.watch import Watch
from hilum.notify.broker import BrokerPublisher, PublisherSettings
from hilum.notify.channel import Channel, Message
from hilum.notify.mail import MailChannel, MailSettings
from hilum.notify.mqtt import MqttChannel
from hilum.notify.sender import ChannelWorker
from hilum.notify.webhook import WebhookChannel, WebhookSettings
from hilum.stores.sqlite import SqliteStore

T0 = 1_735_689_600_000
HOUR = 3_600_000
SENSOR = "home/tub"
PHASES = ((1, 25.0), (2, 45.0), (6, 45.0), (7, 46.0), (8, 25.0), (12, 25.0))  # hour, % RH
NOTE_TAKEN = 3  # phase after which someone takes note
TIMEOUT_S = 0.4

Moment = Callable[[], None]


class Fate:
    """Counts moments, and kills the process at one of them."""

    def __init__(self, die_at: int) -> None:
        self.count = 0
        self._die_at = die_at

    def moment(self) -> None:
        """Live through one more moment, or not."""
        if self.count == self._die_at:
            os.kill(os.getpid(), signal.SIGKILL)
        self.count += 1


class MortalStore(SqliteStore):
    """A store with a moment before and after what it keeps of alerts."""

    moment: Moment = staticmethod(lambda: None)

    def change_alerts(self, changes: Sequence[AlertChange]) -> int:
        """See the port."""
        if not changes:
            return 0
        self.moment()
        done = super().change_alerts(changes)
        self.moment()
        return done

    def save_notice(self, notice: Notice) -> None:
        """See the port."""
        self.moment()
        super().save_notice(notice)
        self.moment()


class MortalChannel:
    """A channel with a moment before it sends."""

    def __init__(self, channel: Channel, moment: Moment) -> None:
        self.name = channel.name
        self._channel = channel
        self._moment = moment

    def send(self, message: Message) -> None:
        """See the port."""
        self._moment()
        self._channel.send(message)


class StoryClock:
    """Tells the time of the story; only goes forward."""

    def __init__(self) -> None:
        self.time_ms = T0

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC."""
        return self.time_ms

    def reach(self, time_ms: int) -> None:
        """Go on to a time."""
        self.time_ms = max(self.time_ms, time_ms)


def furnish(store: SqliteStore) -> None:
    """Put a box with a sensor into the database, with only one rule on."""
    if store.boxes():
        return
    store.save_sensor(Sensor(SENSOR, 0))
    for key in RULES:
        if key != "damp":
            store.save_rule_setting(RuleSetting(key, on=False))
    store.save_box(Box("tub", "Blue tub", BoxType.TUB))
    store.add_placement(Placement(0, SENSOR, "tub", Role.INSIDE, 0))


def channels(argv: Sequence[str], clock: StoryClock, publish: BrokerPublisher) -> list[Channel]:
    """All three channels, to servers of this machine."""
    folder, _, hook_port, mail_port, *_ = argv
    ca_file = Path(folder) / "ca.pem"
    hook = WebhookSettings(
        f"https://localhost:{hook_port}/",
        "tea caddy",
        allow_private=True,
        ca_file=ca_file,
        timeout_s=TIMEOUT_S,
    )
    mail = MailSettings(
        "localhost",
        "ann@example.org",
        "box@example.org",
        int(mail_port),
        ca_file=ca_file,
        timeout_s=TIMEOUT_S,
    )
    return [
        MqttChannel(publish.publish, "home"),
        WebhookChannel(hook, clock.now_ms),
        MailChannel(mail, clock.now_ms),
    ]


def tell_everything(
    store: SqliteStore, workers: Sequence[ChannelWorker], clock: StoryClock
) -> None:
    """Work off all notices, time passing between the attempts."""
    for _ in range(60):
        for worker in workers:
            worker.work_off()
        waiting = store.notices(state=NoticeState.PENDING)
        if not waiting:
            return
        clock.reach(min(notice.due_ms for notice in waiting))
    sys.exit("Not everything could be told.")


def play(store: SqliteStore, engine: AlertEngine, clock: StoryClock, tell: Moment) -> None:
    """Go through the phases that are left, from the one the newest reading belongs to."""
    newest = store.newest(SENSOR)
    done = 0 if newest is None else (newest.time_ms - T0) / HOUR
    plans = (ChannelPlan("mqtt", machine=True), ChannelPlan("webhook", machine=True))
    start = 0
    for phase, (hours, rh_pct) in enumerate(PHASES):
        if hours >= done:
            end = T0 + hours * HOUR
            times = range(T0 + start * HOUR + HOUR // 6, end + 1, HOUR // 6)
            store.add([Reading(SENSOR, time_ms, 18.0, rh_pct) for time_ms in times], end)
            clock.reach(end)
            engine.round()
            if phase == NOTE_TAKEN:
                for alert in store.alerts(open_only=True):
                    if alert.state is AlertState.RAISED:
                        see(store, alert.id, clock.now_ms(), plans)
            tell()
        start = hours


def main() -> None:
    """Play the story."""
    folder, mqtt_port, *_, die_at = sys.argv[1:]
    fate, clock = Fate(int(die_at)), StoryClock()
    publisher = BrokerPublisher(
        PublisherSettings(
            port=int(mqtt_port),
            username="hilum",
            password="swordfish",  # noqa: S106 - of the tests
            timeout_s=5,
        )
    )
    store = MortalStore(Path(folder) / "hilum.sqlite3")
    furnish(store)
    store.moment = fate.moment
    mortal = [MortalChannel(each, fate.moment) for each in channels(sys.argv[1:], clock, publisher)]
    workers = [ChannelWorker(store, each, clock, luck=lambda: 0.5) for each in mortal]
    plans = tuple(ChannelPlan(each.name, machine=each.name != "mail") for each in mortal)
    engine = AlertEngine(store, clock, Watch(store), plans)
    play(store, engine, clock, lambda: tell_everything(store, workers, clock))
    publisher.close()
    store.close()
    (Path(folder) / "moments").write_text(str(fate.count), encoding="utf-8")


if __name__ == "__main__":
    main()
