"""The first hour's own sensor: its files, its password and its message, with a real broker."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from cli.conftest import Run, hilum
from docs.reference import DOCS
from docs.test_docs import BLOCK, answers
from docs.test_shipped import script
from plugins.mosquitto import Broker, broker, free_port
from plugins.sensors import wait_until

__all__ = ["broker", "hilum"]

TEXT = (DOCS / "first-hour.md").read_text(encoding="utf-8")
LINES = [line for _, block in BLOCK.findall(TEXT) for line in block.splitlines()]


def shown(start: str) -> list[str]:
    """The words of the one line of the text that starts so."""
    (line,) = [line for line in LINES if line.startswith(start)]
    return shlex.split(line)


@contextmanager
def serving(data: Path, broker_port: int) -> Iterator[None]:
    """Run ``hilum serve`` with the settings of a folder, once it listens to the broker."""
    port = str(free_port())
    command = [sys.executable, "-m", "hilum", "serve", "--port", port, "--data-dir", str(data)]
    env = {**os.environ, "HILUM_MQTT_PORT": str(broker_port)}
    with subprocess.Popen(command, env=env, stdout=subprocess.DEVNULL) as process:
        try:
            assert answers(f"http://127.0.0.1:{port}/healthz")
            yield
        finally:
            process.terminate()


@pytest.mark.mosquitto
def test_one_is_the_sensor_oneself(hilum: Run, broker: Broker, tmp_path: Path) -> None:
    """With the files of the first questions and the lines of the text a message arrives."""
    if shutil.which("mosquitto_pub") is None:
        pytest.skip("mosquitto_pub is not installed (Debian package mosquitto-clients)")
    data = tmp_path / "data"
    assert hilum("init", "--broker", "--site", "home").code == 0
    broker.stop()
    conf = (broker.folder / "mosquitto.conf").read_text(encoding="utf-8")
    for name in ("passwd", "acl"):
        conf = conf.replace(f"{broker.folder}/{name}", f"{broker.folder}/hilum.{name}")
        shutil.copy(data / "broker" / f"hilum.{name}", broker.folder)
        (broker.folder / f"hilum.{name}").chmod(0o644)
    (broker.folder / "mosquitto.conf").write_text(conf, encoding="utf-8")
    _, add_sensor, *names = shown("sudo service/broker/add-sensor.sh")
    added = script(Path(add_sensor).name, *names, str(broker.folder))
    assert added.returncode == 0, added.stderr
    (password,) = re.findall(r'"password": "(\w+)"', added.stdout)
    broker.start()
    send = [password if word == "PASSWORD" else word for word in shown("mosquitto_pub")]
    with serving(data, broker.port):
        subprocess.run([*send, "-p", str(broker.port)], check=True)
        assert wait_until(lambda: "19.8 °C, 27.4 % RH" in hilum("sensors", "list").out)
    assert hilum("boxes", "add", "Blue tub").code == 0
    assert hilum(*shown("hilum sensors claim")[1:]).code == 0
