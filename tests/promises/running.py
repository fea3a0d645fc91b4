"""Runs the service process of these tests, listens to what it says, and kills it."""

import os
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
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
    host : str
        Address of the broker.
    keepalive_s : int
        How often the broker is asked whether it is still there [s].
    within : sequence of str
        Words before the command, that run it in a network of its own.
    """

    def __init__(
        self,
        port: int,
        database: Path,
        env: Mapping[str, str] | None = None,
        *,
        host: str = "127.0.0.1",
        keepalive_s: int = 60,
        within: Sequence[str] = (),
    ) -> None:
        self.lines: list[str] = []
        program = [*within, sys.executable, str(HERE / "serve.py")]
        self._command = [*program, f"{host}:{port}", str(keepalive_s), str(database)]
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
