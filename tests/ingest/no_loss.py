"""Readings at full speed into a service that is killed again and again."""

import random
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from hilum.domain.model import Box, BoxType, Lot, Placement, Reading, Role, Sensor, Stay, Wrap
from hilum.stores.sqlite import SqliteStore
from plugins.mosquitto import Broker
from plugins.sensors import Message, Sensors, senml, wait_until

SERVE = Path(__file__).with_name("serve.py")
START_MS = 1_735_689_600_000  # 2025-01-01
SENSORS = 20
CONNECTIONS = 10  # the broker saves once for all that arrives at once, as from real sensors


@dataclass(frozen=True)
class Outcome:
    """What is left after a scenario: the database, and what the broker had confirmed."""

    database: Path
    confirmed: tuple[Reading, ...]


def reading(index: int) -> Reading:
    """Give the reading of one message: sensors take turns, a minute apart."""
    turn, sensor = divmod(index, SENSORS)
    temp_c, rh_pct = 15 + turn % 997 / 100, 30 + turn % 499 / 10
    return Reading(f"home/s{sensor}", START_MS + turn * 60_000, temp_c, rh_pct)


def message(index: int) -> Message:
    """Give the message that says it."""
    said = reading(index)
    assert said.temp_c is not None
    assert said.rh_pct is not None
    return f"hilum/{said.sensor}/readings", senml(said.time_ms, said.temp_c, said.rh_pct)


def listens(process: subprocess.Popen[bytes]) -> None:
    """Wait until a service process says that it listens."""
    assert process.stdout is not None
    assert process.stdout.readline() == b"listening\n"


@contextmanager
def serving(port: int, database: Path, doom: str = "") -> Iterator[Callable[[], None]]:
    """Run the service process, once it listens; gives the function that kills and restarts it.

    Only from its first connection on does the broker keep messages for it. With ``doom`` it kills
    itself ``before`` or ``after`` its first commit of readings; started again, it lives.
    """
    command = [sys.executable, str(SERVE), str(port), str(database)]
    first = [*command, doom] if doom else command
    running = [subprocess.Popen(first, stdout=subprocess.PIPE)]
    listens(running[0])

    def kill_and_restart() -> None:
        if not doom:
            running[-1].kill()
        running[-1].wait(20)
        running.append(subprocess.Popen(command, stdout=subprocess.PIPE))

    try:
        yield kill_and_restart
    finally:
        if len(running) > 1:
            listens(running[-1])
        running[-1].terminate()
        try:
            code = running[-1].wait(20)
        except subprocess.TimeoutExpired:
            running[-1].kill()
            raise
        for process in running:
            if process.stdout is not None:
                process.stdout.close()
    assert code == 0, "the service did not end well"


def count(database: Path) -> int:
    """How many readings the database holds."""
    if not database.exists():
        return 0
    store = SqliteStore.open_readonly(database)
    try:
        extents = (store.extent(sensor.name) for sensor in store.sensors())
        return sum(extent[0] for extent in extents if extent is not None)
    finally:
        store.close()


def add_lots(store: SqliteStore) -> None:
    """Put two of the sensors into boxes, with lots that follow them openly, in paper and sealed."""
    for slug, sensor in (("tub", reading(0).sensor), ("jar", reading(1).sensor)):
        store.save_box(Box(slug, slug.title(), BoxType.TUB))
        store.save_sensor(Sensor(sensor, START_MS))
        store.add_placement(Placement(0, sensor, slug, Role.INSIDE, START_MS))
        for wrap in (Wrap.OPEN, Wrap.PAPER, Wrap.FOIL):
            code = f"{slug}-{wrap}"
            store.save_lot(Lot(code, "onion"))
            store.add_stay(Stay(0, code, slug, wrap, START_MS + 3_600_000))


def run_scenario(broker: Broker, folder: Path, *, messages: int, kills: int, seed: int) -> Outcome:
    """Publish at full speed while the service is killed at random moments.

    Returns once everything the broker confirmed is stored (or nothing more came for long).
    """
    database = folder / "hilum.sqlite3"
    moments = set(random.Random(seed).sample(range(messages // 20, messages), kills))  # noqa: S311
    store = SqliteStore(database)
    add_lots(store)
    store.close()
    with ExitStack() as stack:
        kill_and_restart = stack.enter_context(serving(broker.port, database))
        lines = [stack.enter_context(Sensors(broker.port)) for _ in range(CONNECTIONS)]
        for index in range(messages):
            lines[index % CONNECTIONS].send([message(index)], ahead=100)
            if index in moments:
                kill_and_restart()
        confirmed = set()
        for place, sensors in enumerate(lines):
            sensors.settle(60)
            confirmed |= {turn * CONNECTIONS + place for turn in sensors.confirmed}
        wait_until(lambda: count(database) >= len(confirmed), 60)
    return Outcome(database, tuple(reading(index) for index in sorted(confirmed)))
