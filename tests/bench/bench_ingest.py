"""How fast readings get into the store, beside a subscriber that does nothing with them.

    python tests/bench/bench_ingest.py [MESSAGES]

*Draining*: the broker holds a backlog for a session, which then connects. *Live*: messages are
published while the session listens. Both sides acknowledge each message; the ingest does so after
the commit. Rounds alternate, and the best is compared. The broker saves its file by time here,
so that its disk is not what is measured; everything else is the shipped configuration.
"""

import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from paho.mqtt.client import Client, MQTTMessage, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from bench.rows import Row, table
from hilum.ingest import BrokerSettings, Ingest, IngestSettings
from hilum.stores.sqlite import SqliteStore
from ingest.no_loss import message
from plugins.mosquitto import USERS, Broker
from plugins.sensors import Sensors

ROUNDS, MESSAGES = 5, 10_000
PUBLISH = "--publish"


class SystemClock:
    """The time of this machine."""

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC."""
        return time.time_ns() // 1_000_000


class Nothing:
    """A subscriber that acknowledges what arrives and does nothing with it."""

    def __init__(self, port: int) -> None:
        self.count = 0
        self.client = Client(CallbackAPIVersion.VERSION2, client_id="nothing", protocol=MQTTv5)
        self.client.username_pw_set("tester", USERS["tester"])
        self.client.on_connect = lambda client, *_: client.subscribe("hilum/+/+/readings", qos=1)
        self.client.on_message = self._on_message
        self.port = port

    def _on_message(self, _client: Client, _data: object, _message: MQTTMessage) -> None:
        self.count += 1

    def start(self) -> None:
        """Connect."""
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = 3600
        properties.ReceiveMaximum = 2000
        self.client.connect("127.0.0.1", self.port, clean_start=False, properties=properties)
        self.client.loop_start()

    def stop(self) -> None:
        """Disconnect; the session stays."""
        self.client.disconnect()
        self.client.loop_stop()


class Storing:
    """The ingest with a database of its own."""

    def __init__(self, port: int, database: Path) -> None:
        link = BrokerSettings(
            port=port, username="tester", password=USERS["tester"], client_id="storing"
        )
        self.store = SqliteStore(database)
        self.ingest = Ingest(self.store, IngestSettings(broker=link), SystemClock(), lambda _: None)

    @property
    def count(self) -> int:
        """Readings that are committed."""
        status = self.ingest.status()
        return status.stored + status.duplicates

    def start(self) -> None:
        """Connect."""
        self.ingest.start()

    def stop(self) -> None:
        """Disconnect; the session stays."""
        self.ingest.stop()
        self.store.close()


Subject = Nothing | Storing


def publish(port: int, first: int, count: int) -> None:
    """Publish from a process of its own, as sensors do."""
    command = [sys.executable, __file__, PUBLISH, str(port), str(first), str(count)]
    subprocess.run(command, check=True)


def rate(subject: Subject, count: int, began: threading.Event | None = None) -> float:
    """Messages a second until the subject has had them all."""
    start = time.perf_counter()
    while subject.count < count:
        if began is not None and subject.count > 0 and not began.is_set():
            start = time.perf_counter()
            began.set()
        if time.perf_counter() - start > 120:
            raise SystemExit(f"only {subject.count} of {count} arrived")
        time.sleep(0.002)
    return count / (time.perf_counter() - start)


def one_round(port: int, folder: Path, which: str, place: int, count: int) -> tuple[float, float]:
    """Drain a backlog, then listen live; give both rates."""

    def subject(part: str) -> Subject:
        made = Storing(port, folder / f"{place}-{part}.sqlite3") if which == "storing" else None
        return made or Nothing(port)

    first = subject("session")
    first.start()
    time.sleep(0.5)
    first.stop()
    publish(port, place * 2 * count, count)
    draining = subject("drain")
    draining.start()
    drained = rate(draining, count, threading.Event())
    draining.stop()
    live = subject("live")
    live.start()
    time.sleep(0.5)
    thread = threading.Thread(target=publish, args=(port, (place * 2 + 1) * count, count))
    thread.start()
    lived = rate(live, count, threading.Event())
    thread.join()
    live.stop()
    return drained, lived


def measure(count: int = MESSAGES, rounds: int = ROUNDS) -> list[Row]:
    """Let both have their rounds in turn; the best of each counts, as others may be at work too."""
    rates: dict[str, list[tuple[float, float]]] = {"nothing": [], "storing": []}
    for place in range(rounds):
        for which, found in rates.items():
            with tempfile.TemporaryDirectory(prefix="hilum-bench-") as name:
                folder = Path(name)
                broker = Broker(folder, "/usr/sbin/mosquitto")
                conf = folder / "mosquitto.conf"
                text = conf.read_text(encoding="utf-8")
                text = text.replace("on_changes true", "on_changes false")
                conf.write_text(text.replace("interval 1\n", "interval 300\n"), "utf-8")
                broker.start()
                try:
                    found.append(one_round(broker.port, folder, which, place, count))
                finally:
                    broker.stop()
    rows = []
    for part, title in enumerate(("draining a backlog", "live")):
        base, ours = (max(each[part] for each in found) for found in rates.values())
        told = f"subscriber that does nothing: {base:,.0f} /s"
        work = f"storing messages, {title}"
        rows.append(Row(work, f"{ours:,.0f} /s", told, ours / base, 0.9, least=True))
    return rows


def main() -> None:
    """Run the rounds and print the table."""
    if PUBLISH in sys.argv:
        port, first, count = (int(word) for word in sys.argv[2:])
        with Sensors(port) as sensors:
            sensors.send(map(message, range(first, first + count)))
            sensors.settle(120)
        return
    print(table(measure(int(sys.argv[1]) if len(sys.argv) > 1 else MESSAGES)))


if __name__ == "__main__":
    main()
