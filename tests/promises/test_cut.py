"""A network that is cut between broker and service, without a goodbye to either."""

import time
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest

from hilum.stores.sqlite import SqliteStore
from ingest.no_loss import SENSORS, message, reading
from plugins.mosquitto import Broker
from plugins.netns import Network
from plugins.sensors import Sensors, wait_until
from promises.running import Running
from promises.test_crashes import kept
from promises.truth import add_boxes, check_derived

pytestmark = pytest.mark.mosquitto
MANY = 400
ROUNDS = 10
EVERY_S = 60 / SENSORS  # of the sensors' time, between two messages of all together
SILENT = (
    SENSORS * 60 * 12
)  # messages that were never sent: twelve hours in which sensors are silent


def reach(broker: Broker, address: str) -> None:
    """Have the broker listen at another address of this machine too."""
    broker.stop()
    conf = broker.folder / "mosquitto.conf"
    own = f"\nlistener {broker.port} 127.0.0.1\n"
    text = conf.read_text(encoding="utf-8")
    assert own in text
    conf.write_text(text.replace(own, f"{own}listener {broker.port} {address}\n"), "utf-8")
    broker.start()


def send_through_a_cut(
    running: Running, network: Network, sensors: Sensors, seconds: float
) -> list[int]:
    """Send before, during and after the cut; give the numbers of what was sent."""
    sensors.send(map(message, range(MANY)))
    network.cut()  # with messages on their way, and confirmations that do not arrive
    said = len(running.lines)
    sent = MANY
    for _ in range(ROUNDS):
        sent += sensors.send(message(index) for index in range(sent, sent + SENSORS))
        time.sleep(seconds / ROUNDS)
    sensors.settle(60)  # the broker goes on for the sensors
    running.wait_for("The connection to the broker was lost", 300, since=said)
    network.mend()
    running.wait_for("listening", 300, since=said)
    later = range(sent + SILENT, sent + SILENT + MANY)
    sensors.send(map(message, later))
    sensors.settle(60)
    return [*range(sent), *later]


def survive_a_cut(
    broker: Broker, network: Network, database: Path, seconds: float, keepalive_s: int
) -> None:
    """Send through a cut, and count."""
    reach(broker, network.here)
    with closing(SqliteStore(database)) as store:
        add_boxes(store, {reading(0).sensor: "tub"})
    place = {"host": network.here, "keepalive_s": keepalive_s, "within": network.within}
    with Running(broker.port, database, **place) as running, Sensors(broker.port) as sensors:  # type: ignore[arg-type]
        running.start()
        running.wait_for("listening", 60)
        sent = send_through_a_cut(running, network, sensors, seconds)
        assert wait_until(lambda: len(kept(database)) >= len(sent), 120)
        running.stop()
    assert Counter(kept(database)) == Counter(map(reading, sent))
    with closing(SqliteStore(database)) as store:
        check_derived(store)
        curves = [store.rows(key) for key in store.curves()]
    assert curves
    gap_s, least_s, most_s = SILENT * EVERY_S, MANY * EVERY_S, len(sent) * EVERY_S
    for rows in curves:  # some begin with the box, some with its lot, an hour later
        assert gap_s - 3600 < rows.estimated_s[-1] < gap_s + 120
        assert least_s - 120 < rows.covered_s[-1] < most_s + 120


def test_a_cut(broker: Broker, network: Network, tmp_path: Path) -> None:
    """After a cut nobody was told of, each reading is there once; only silence is a gap."""
    survive_a_cut(broker, network, tmp_path / "hilum.sqlite3", seconds=1, keepalive_s=2)


@pytest.mark.slow
def test_a_cut_of_ten_minutes(broker: Broker, network: Network, tmp_path: Path) -> None:
    """The same for ten minutes, at the pace the service has by itself."""
    survive_a_cut(broker, network, tmp_path / "hilum.sqlite3", seconds=600, keepalive_s=60)
