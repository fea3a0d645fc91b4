"""The command as a process: output, exit codes and pipes as the shell sees them."""

import json
import subprocess
import sys

import pytest


def hilum(*words: str) -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "hilum", *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        stdin=subprocess.DEVNULL,
    )


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ("--version", 0),
        ("moisture --oil 20 --rh 30 --temp 20 --json", 0),
        ("moisture --rh 30 --temp 20", 2),
        ("moisture --oil 20 --rh 140 --temp 20", 3),
    ],
)
def test_exit_codes_reach_the_shell(words: str, code: int) -> None:
    """0 is fine, 2 is wrong use, 3 is outside what can be answered; one sentence on stderr."""
    done = hilum(*words.split())

    assert done.returncode == code
    assert bool(done.stdout) == (code == 0)
    assert len(done.stderr.splitlines()) == (1 if code else 0)
    if "--json" in words:
        json.loads(done.stdout)
