"""Runs a command as a user does: arguments in, output and an exit code out.

In this process, since starting Python takes far longer than most commands;
``test_process.py`` runs the real thing.
"""

import io
import json
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from hilum.cli import run as run_command


@dataclass(frozen=True)
class Answer:
    """What a command said."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:  # noqa: ANN401 - whatever the command prints
        """Its output as JSON."""
        return json.loads(self.out)


Run = Callable[..., Answer]


@pytest.fixture
def hilum(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run ``hilum`` with a data folder of its own and nobody at the keyboard."""
    monkeypatch.setenv("HILUM_DATA_DIR", str(tmp_path / "data"))
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setattr("sys.stdin", io.StringIO())

    def run(*words: str | Path) -> Answer:
        monkeypatch.setattr("sys.argv", ["hilum", *map(str, words)])
        with redirect_stdout(io.StringIO()) as out, redirect_stderr(io.StringIO()) as err:
            try:
                code = run_command()
            except SystemExit as end:
                code = end.code if isinstance(end.code, int) else int(end.code is not None)
        return Answer(code, out.getvalue(), err.getvalue())

    return run
