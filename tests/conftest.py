"""What all tests share: where published tables lie, and how property tests run."""

import csv
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

HERE = Path(__file__).parent

# The same examples on every run, and no clock: a slow machine is no error.
settings.register_profile("hilum", derandomize=True, deadline=None)
settings.load_profile("hilum")

Rows = list[dict[str, str]]


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add ``--slow``: run also what takes long."""
    parser.addoption("--slow", action="store_true", help="run also the tests marked slow")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what takes long, unless ``--slow`` or a ``-m`` that names the mark asks for it."""
    if config.getoption("--slow") or "slow" in config.getoption("-m"):
        return
    left_out = [item for item in items if item.get_closest_marker("slow")]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if not item.get_closest_marker("slow")]


@pytest.fixture(scope="session")
def published() -> Callable[[str], Rows]:
    """Read a table of ``tests/data`` by name; its header names the source."""

    def read(name: str) -> Rows:
        text = (HERE / "data" / f"{name}.csv").read_text(encoding="utf-8")
        return list(csv.DictReader(line for line in text.splitlines() if line[:1] != "#"))

    return read


@pytest.fixture(scope="session")
def shared_data() -> Callable[[str], Path]:
    """Find a data set that is too large, or not ours, to be kept here; skip where it is absent.

    It is looked for in the directory named by ``HILUM_SHARED``, else in ``shared`` beside the
    checkout.
    """

    def find(name: str) -> Path:
        base = Path(os.environ.get("HILUM_SHARED") or HERE.parent.parent / "shared")
        path = base / "data" / name
        if not path.is_file():
            pytest.skip(f"{name} is neither beside the checkout nor under HILUM_SHARED.")
        return path

    return find
