"""Fresh desiccant noted by command."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hilum.stores.sqlite import SqliteStore

Run = Callable[..., Any]


def test_a_swap_is_noted_with_what_it_held(hilum: Run, tmp_path: Path) -> None:
    """Grams, kind, load and the day it was dried stand in the journal of the box."""
    hilum("boxes", "add", "Blue tub")
    words = ("--load", "4.5", "--dried", "2025-02-01", "--on", "2025-03-01", "--note", "bag two")
    answer = hilum("boxes", "swap", "blue-tub", "--grams", "200", *words)
    assert answer.code == 0, answer.err
    assert "200 g of silica gel. It held 4.5 g of water per 100 g. bag two" in answer.out
    (path,) = (tmp_path / "data").glob("*.sqlite3")
    store = SqliteStore(path)
    (event,) = [e for e in store.events(box="blue-tub") if e.type == "swap"]
    store.close()
    data = dict(event.data)
    assert (data["desiccant"], data["grams"], data["initial_load_pct"]) == ("silica-gel", 200, 4.5)
    assert data["regenerated_ms"] == 1_738_368_000_000  # 2025-02-01 00:00 UTC


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--grams", "0"), "above zero"),
        (("--grams", "200", "--load", "70"), "hold from 0 to about"),
        (("--grams", "200", "--desiccant", "moon dust"), "moon dust"),
        (("--grams", "200", "--dried", "2025-03-02", "--on", "2025-03-01"), "after it went in"),
        (("--grams", "200", "--on", "2100-01-01"), "in the future"),
    ],
)
def test_what_cannot_be_is_refused(hilum: Run, words: tuple[str, ...], told: str) -> None:
    """The reason is said and the command fails."""
    hilum("boxes", "add", "Blue tub")
    answer = hilum("boxes", "swap", "blue-tub", *words)
    assert answer.code != 0
    assert told in answer.err
