from datetime import UTC, datetime

import pytest

from hilum.simulate.world import World, build_world

NOW_MS = int(datetime(2026, 11, 25, 10, 4, 33, tzinfo=UTC).timestamp() * 1000)


@pytest.fixture(scope="session")
def world() -> World:
    """The demo world at a fixed moment."""
    return build_world(NOW_MS, seed=1)
