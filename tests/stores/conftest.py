"""Every store, for the tests of the contract all of them keep."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from hilum.domain.model import Box, BoxType, Lot, Reading
from hilum.domain.ports import Store
from hilum.stores.influx import InfluxReadings, SplitStore
from hilum.stores.influx.server import Place
from hilum.stores.memory import MemoryStore
from hilum.stores.sqlite import SqliteStore
from stores.influx_engine import TOKEN, create, engine_in

STORES: dict[str, Callable[[Path], Store]] = {
    "sqlite": lambda folder: SqliteStore(folder / "hilum.db"),
    "memory": lambda _: MemoryStore(),
}


@pytest.fixture(scope="session")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a running InfluxDB; skipped where there is none, unless services are required."""
    with engine_in(tmp_path_factory.mktemp("influx")) as url:
        yield url


@pytest.fixture
def place(engine: str, tmp_path: Path) -> Place:
    """An empty bucket of a running InfluxDB."""
    bucket = f"readings-{tmp_path.name}"
    create(engine, bucket)
    return Place(engine, bucket, token=TOKEN)


@pytest.fixture(params=[*STORES, "influx"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """Each store in turn, empty."""
    made: Store
    if request.param == "influx":
        place = request.getfixturevalue("place")
        made = SplitStore(tmp_path / "hilum.db", InfluxReadings(place))
    else:
        made = STORES[request.param](tmp_path)
    yield made
    made.close()


@pytest.fixture
def furnished(store: Store) -> Store:
    """A store with two boxes, two lots, and two sensors that spoke once."""
    store.save_box(Box("tub", "Tub", BoxType.TUB))
    store.save_box(Box("jar", "Jar", BoxType.JAR))
    store.save_lots([Lot("A1", "sweet-corn"), Lot("B2", "onion")])
    store.add([Reading("home/one", 0, 20.0), Reading("home/two", 0, 20.0)], received_ms=0)
    store.clear_dirty(store.dirty())
    return store
