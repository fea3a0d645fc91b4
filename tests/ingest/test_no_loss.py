"""Nothing that a sensor was told is kept is ever lost, and nothing is kept twice."""

from pathlib import Path

import pytest

from hilum.domain.model import Reading
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.sqlite import SqliteStore
from ingest.no_loss import count, message, reading, run_scenario, serving
from keeping.worlds import bits
from plugins.mosquitto import Broker
from plugins.sensors import Sensors, wait_until

pytestmark = pytest.mark.mosquitto


def everything(database: Path) -> list[Reading]:
    """Every reading of a database, and a check that the counts it keeps are true."""
    store = SqliteStore.open_readonly(database)
    try:
        found: list[Reading] = []
        for sensor in store.sensors():
            kept = [r for page in store.pages(sensor.name, 0, 2**53, 5000) for r in page]
            extent = store.extent(sensor.name)
            assert (extent[0] if extent else 0) == len(kept)
            found += kept
        return found
    finally:
        store.close()


def test_twenty_thousand_messages_and_five_kills(broker: Broker, tmp_path: Path) -> None:
    """Every reading the broker confirmed is stored exactly once, with its value."""
    outcome = run_scenario(broker, tmp_path, messages=20_000, kills=5, seed=20_250_101)
    assert len(outcome.confirmed) == 20_000
    kept = everything(outcome.database)
    assert len(kept) == 20_000
    assert set(kept) == set(outcome.confirmed)
    assert_ledger_is_true(outcome.database)


def assert_ledger_is_true(database: Path) -> None:
    """The ledger kept through all kills is that of a rebuild, to the last bit."""
    store = SqliteStore(database)
    try:
        keeper = LedgerKeeper(store)
        keeper.ensure_curves()
        keeper.update()
        kept = bits(store)
        assert kept
        assert all(any(columns) for columns in kept.values())
        keeper.rebuild()
        assert bits(store) == kept
    finally:
        store.close()


@pytest.mark.parametrize("moment", ["before", "after"])
def test_death_around_the_commit(broker: Broker, tmp_path: Path, moment: str) -> None:
    """Killed just before the commit nothing is lost, killed just after it nothing is kept twice."""
    database = tmp_path / "hilum.sqlite3"
    with (
        serving(broker.port, database, doom=moment) as wait_and_restart,
        Sensors(broker.port) as sensors,
    ):
        sensors.send(map(message, range(50)))
        sensors.settle()
        wait_and_restart()
        assert wait_until(lambda: count(database) == 50)
    assert sorted(everything(database), key=str) == sorted(map(reading, range(50)), key=str)


@pytest.mark.parametrize("kill", [False, True], ids=["restart", "kill -9"])
def test_broker_restart_with_a_full_queue(broker: Broker, tmp_path: Path, kill: bool) -> None:
    """What the broker confirmed while the service was away outlives the broker's own end."""
    database = tmp_path / "hilum.sqlite3"
    with serving(broker.port, database), Sensors(broker.port) as sensors:
        sensors.send(map(message, range(20)))
        assert wait_until(lambda: count(database) == 20)
    with Sensors(broker.port) as sensors:
        sensors.send(map(message, range(20, 320)))
        sensors.settle()
    broker.stop(kill=kill)
    broker.start()
    with serving(broker.port, database):
        assert wait_until(lambda: count(database) == 320)
    assert set(everything(database)) == {reading(index) for index in range(320)}


def test_broker_killed_under_a_running_service(broker: Broker, tmp_path: Path) -> None:
    """The service finds the broker again by itself and goes on where it was."""
    database = tmp_path / "hilum.sqlite3"
    with serving(broker.port, database):
        for part in range(2):
            with Sensors(broker.port) as sensors:
                sensors.send(map(message, range(part * 200, part * 200 + 200)))
                sensors.settle()
            broker.stop(kill=True)
            broker.start()
        assert wait_until(lambda: count(database) == 400)
    assert set(everything(database)) == {reading(index) for index in range(400)}
