"""Runs the command as a user does: a process with arguments, output and an exit code."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest


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
def hilum(tmp_path: Path) -> Run:
    """Run ``hilum`` with a data folder of its own."""
    env = {name: value for name, value in os.environ.items() if not name.startswith("HILUM_")}
    env["HILUM_DATA_DIR"] = str(tmp_path / "data")
    env["COLUMNS"] = "100"

    def run(*words: str | Path, cwd: Path | None = None) -> Answer:
        done = subprocess.run(
            [sys.executable, "-m", "hilum", *map(str, words)],
            capture_output=True,
            text=True,
            env=env,
            cwd=cwd,
            check=False,
            timeout=120,
            stdin=subprocess.DEVNULL,
        )
        return Answer(done.returncode, done.stdout, done.stderr)

    return run
