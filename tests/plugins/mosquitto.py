"""A real Mosquitto with the configuration that ships, on a free port of this machine."""

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

CONF = Path(__file__).resolve().parents[2] / "service" / "broker"
PATH = f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin"
MEMORY = Path("/dev/shm")  # noqa: S108 - the broker writes at every change; spare the disk
USERS = {"hilum": "swordfish", "tub-1": "gasket", "tester": "probe"}


def free_port() -> int:
    """A port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Broker:
    """One Mosquitto: the shipped configuration, with only port and paths put in.

    To the shipped example of access rules a user ``tester`` is added who may do anything.
    """

    def __init__(self, folder: Path, program: str) -> None:
        self.folder = folder
        self.program = program
        self.port, self.tls_port = free_port(), free_port()
        self.process: subprocess.Popen[bytes] | None = None
        self._write_files()

    def _write_files(self) -> None:
        conf = (CONF / "mosquitto.conf").read_text(encoding="utf-8")
        for old, new in {
            "listener 1883 127.0.0.1": f"listener {self.port} 127.0.0.1",
            "/etc/mosquitto/hilum.passwd": str(self.folder / "passwd"),
            "/etc/mosquitto/hilum.acl": str(self.folder / "acl"),
            "/var/lib/mosquitto/": f"{self.folder}/",
        }.items():
            assert old in conf
            conf = conf.replace(old, new)
        rules = (CONF / "acl.example").read_text(encoding="utf-8")
        (self.folder / "mosquitto.conf").write_text(conf, encoding="utf-8")
        (self.folder / "acl").write_text(f"{rules}\nuser tester\ntopic readwrite #\n", "utf-8")
        (self.folder / "passwd").touch()
        for name, password in USERS.items():
            subprocess.run(
                ["mosquitto_passwd", "-b", str(self.folder / "passwd"), name, password],
                check=True,
                capture_output=True,
            )
        for path in (self.folder, *self.folder.iterdir()):
            path.chmod(0o755)
        if os.geteuid() == 0:  # Mosquitto gives up root for its own user
            with suppress(LookupError):
                for path in (self.folder, *self.folder.iterdir()):
                    shutil.chown(path, "mosquitto")

    def use_tls(self) -> Path:
        """Switch on the TLS lines, with a certificate made for this; give the folder it is in."""
        certs = self.folder / "certs"
        certs.mkdir()
        key = ["-newkey", "rsa:2048", "-nodes", "-keyout", str(certs / "server.key")]
        name = ["-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"]
        subprocess.run(
            ["openssl", "req", "-x509", *key, "-out", str(certs / "ca.crt"), *name, "-days", "2"],
            check=True,
            capture_output=True,
        )
        shutil.copy(certs / "ca.crt", certs / "server.crt")
        for path in (certs, *certs.iterdir()):
            path.chmod(0o755)
        conf = (self.folder / "mosquitto.conf").read_text(encoding="utf-8")
        for line in ("listener 8883", "cafile", "certfile", "keyfile"):
            assert f"\n#{line}" in conf
            conf = conf.replace(f"\n#{line}", f"\n{line}")
        conf = conf.replace("listener 8883", f"listener {self.tls_port} 127.0.0.1")
        conf = conf.replace("/etc/mosquitto/certs", str(certs))
        (self.folder / "mosquitto.conf").write_text(conf, encoding="utf-8")
        return certs

    def start(self) -> None:
        """Start it and wait until it takes connections."""
        log = (self.folder / "log").open("ab")
        self.process = subprocess.Popen(
            [self.program, "-c", str(self.folder / "mosquitto.conf")], stdout=log, stderr=log
        )
        log.close()
        until = time.monotonic() + 20
        while time.monotonic() < until and self.process.poll() is None:
            with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1):
                return
            time.sleep(0.02)
        self.stop()
        pytest.fail(f"Mosquitto did not start: {(self.folder / 'log').read_text('utf-8')[-2000:]}")

    def stop(self, *, kill: bool = False) -> None:
        """End it, politely or not."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL if kill else signal.SIGTERM)
            self.process.wait(20)
            self.process = None


@pytest.fixture
def broker() -> Iterator[Broker]:
    """A running Mosquitto; skipped where none is installed, unless services are required."""
    program = shutil.which("mosquitto", path=PATH)
    if program is None:
        reason = "Mosquitto is not installed (Debian package mosquitto)"
        if os.environ.get("HILUM_REQUIRE_SERVICES"):
            pytest.fail(reason)
        pytest.skip(reason)
    folder = Path(tempfile.mkdtemp(prefix="hilum-broker-", dir=MEMORY if MEMORY.is_dir() else None))
    running = Broker(folder, program)
    try:
        running.start()
        yield running
    finally:
        running.stop()
        shutil.rmtree(folder, ignore_errors=True)
