"""The page of promises names tests that are there."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "service" / "docs" / "promises.md").read_text(encoding="utf-8")
PROMISES = dict(
    re.findall(r"^(\d+)\. (\*\*.*?)(?=^\d+\. |^## |\Z)", PAGE, re.MULTILINE | re.DOTALL)
)
NAMED = re.compile(r"`(tests/[\w/]+\.py)::(test_\w+)`")


def names_in(path: Path) -> set[str]:
    """Names of the tests in a file."""
    if not path.is_file():
        return set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_promises_are_numbered() -> None:
    """The page was read: its promises are numbered from 1 on, without a gap."""
    assert list(PROMISES) == [str(n + 1) for n in range(len(PROMISES))]
    assert len(PROMISES) >= 17


@pytest.mark.parametrize("number", PROMISES)
def test_every_promise_is_held_by_tests(number: str) -> None:
    """Each promise names at least one test, and every test it names exists."""
    named = NAMED.findall(PROMISES[number])
    assert named
    assert PROMISES[number].count("`tests/") == len(named)
    assert [f"{p}::{name}" for p, name in named if name not in names_in(ROOT / p)] == []


SECURITY = (ROOT / "service" / "docs" / "security.md").read_text(encoding="utf-8")


def test_every_test_of_the_walk_through_security_exists() -> None:
    """Each file and each test that is named beside a requirement is there."""
    named = re.findall(r"`([\w/]+\.py)(?:::(test_\w+))?`", SECURITY)
    assert len(named) > 40
    missing = [
        f"{path}::{name}"
        for path, name in named
        if not (ROOT / "tests" / path).is_file()
        or (name and name not in names_in(ROOT / "tests" / path))
    ]
    assert missing == []
