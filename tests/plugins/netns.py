"""A network of its own for a process, whose one cable to this machine can be cut."""

import itertools
import os
import shutil
import subprocess
from collections.abc import Iterator

import pytest

NUMBER = itertools.count()


class Network:
    """A network namespace with one cable.

    Attributes
    ----------
    here : str
        Address of this machine on the cable.
    within : list of str
        Words before a command that runs it inside.
    """

    def __init__(self) -> None:
        self._name = f"hilum-{os.getpid()}-{next(NUMBER)}"
        self._cable = f"hl{os.getpid() % 100_000}n{next(NUMBER)}"
        part = os.getpid() % 250
        self.here, there = f"10.213.{part}.1", f"10.213.{part}.2"
        self.within = ["ip", "netns", "exec", self._name]
        _ip("netns", "add", self._name)
        try:
            peer = ("peer", "name", "up0", "netns", self._name)
            _ip("link", "add", self._cable, "type", "veth", *peer)
            _ip("address", "add", f"{self.here}/30", "dev", self._cable)
            _ip("-n", self._name, "address", "add", f"{there}/30", "dev", "up0")
            _ip("-n", self._name, "link", "set", "lo", "up")
            _ip("-n", self._name, "link", "set", "up0", "up")
            self.mend()
        except subprocess.CalledProcessError:
            self.remove()
            raise

    def cut(self) -> None:
        """Cut the cable: nothing comes through, and nobody is told."""
        _ip("link", "set", self._cable, "down")

    def mend(self) -> None:
        """Put the cable together again."""
        _ip("link", "set", self._cable, "up")

    def remove(self) -> None:
        """Remove it, and the cable with it."""
        _ip("netns", "del", self._name)


def _ip(*words: str) -> None:
    subprocess.run(["ip", *words], check=True, capture_output=True)


@pytest.fixture
def network() -> Iterator[Network]:
    """Give such a network; skipped where it cannot be made."""
    if os.geteuid() != 0 or shutil.which("ip") is None:
        pytest.skip("Cutting a network needs root and ip (Debian package iproute2).")
    try:
        made = Network()
    except subprocess.CalledProcessError:
        pytest.skip("This machine does not let root make a network.")
    try:
        yield made
    finally:
        made.remove()
