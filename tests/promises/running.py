"""Runs the service process of these tests, listens to what it says, and kills it."""

import os
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Self

from plugins.sensors import wait_until

HERE = Path(__file__).parent
Check = Callable[[], bool]


class Running:
    """One service process at a time.

    Parameters
    ----------
    port : int
        Port of the broker.
    database : Path
        Its database.
    env : mapping, optional
        Environment, where the disk is to fail.
    """

    def __init__(self, port: int, database: Path, env: Mapping[str, str] | None = None) -> None:
        self.lines: list[str] = []
        self._command = [sys.executable, str(HERE / "serve.py"), str(port), str(database)]
        self._env = {**(env or os.environ), "PYTHONPATH": str(HERE.parent)}
        self._process: subprocess.Popen[str] | None = None
        self._listener: threading.Thread | None = None

    def start(self, first_edit: int = -1) -> None:
        """Start it; does not wait."""
        self._process = subprocess.Popen(
            [*self._command, str(first_edit)], stdout=subprocess.PIPE, text=True, env=self._env
        )
        self._listener = threading.Thread(target=self._listen, args=(self._process,))
        self._listener.start()

    def _listen(self, process: "subprocess.Popen[str]") -> None:
        assert process.stdout is not None
        for line in process.stdout:
            if line.endswith("\n"):  # what a kill cut off was not said
                self.lines.append(line.strip())
        process.stdout.close()

    def wait_for(self, words: str, seconds: float = 30.0, since: int = 0) -> None:
        """Wait until a line from this number on holds these words."""
        found = wait_until(lambda: any(words in line for line in self.lines[since:]), seconds)
        assert found, self.lines[since:]

    def kill(self) -> None:
        """End it as a power cut does."""
        assert self._process is not None
        self._process.kill()
        self._ended()

    def stop(self) -> None:
        """End it well."""
        assert self._process is not None
        self._process.terminate()
        assert self._ended() == 0, "the service did not end well"

    def _ended(self) -> int:
        assert self._process is not None
        assert self._listener is not None
        code = self._process.wait(30)
        self._listener.join()
        self._process = None
        return code

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None:
            self._process.kill()
            self._ended()
