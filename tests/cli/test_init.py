"""The first settings: what is asked, what is written, and what is never written over."""

import base64
import io
import tomllib
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from cli.conftest import Run, hilum
from hilum.bootstrap.broker_files import RULES, hashed
from plugins.mosquitto import CONF, Broker, broker
from plugins.sensors import wait_until

__all__ = ["broker", "hilum"]


class Keyboard(io.StringIO):
    """Somebody who types."""

    def isatty(self) -> bool:
        """Tell that there is somebody."""
        return True


def settings(folder: Path) -> dict[str, object]:
    """What stands in the settings."""
    return tomllib.loads((folder / "hilum.toml").read_text(encoding="utf-8"))


def test_three_answers_are_enough(
    hilum: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Place, time zone and yes: the rest is made, and only its owner can read it."""
    monkeypatch.setattr("sys.stdin", Keyboard("shed\nEurope/Brussels\ny\n"))
    answer = hilum("init", "--data-dir", tmp_path / "new")
    assert answer.code == 0, answer.err
    assert str(tmp_path / "new" / "broker") in answer.out
    found = settings(tmp_path / "new")
    assert (found["site"], found["time_zone"]) == ("shed", "Europe/Brussels")
    assert found["mqtt_user"] == "hilum"
    assert len(str(found["mqtt_password"])) >= 32
    names = {path.name for path in (tmp_path / "new" / "broker").iterdir()}
    assert names == {"hilum.passwd", "hilum.acl"}
    for path in [tmp_path / "new", *(tmp_path / "new").rglob("*")]:
        assert path.stat().st_mode & 0o077 == 0 or path.name.startswith("hilum.sqlite3")


def test_where_a_broker_is_its_address_is_asked_for(
    hilum: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With no to files for it, address, port, name and password are asked, and none is made up."""
    monkeypatch.setattr("sys.stdin", Keyboard("home\nUTC\nn\nbroker.lan\n1884\n\n"))
    monkeypatch.setattr("getpass.getpass", lambda *_: "")
    answer = hilum("init", "--data-dir", tmp_path / "new")
    assert answer.code == 0, answer.err
    found = settings(tmp_path / "new")
    assert (found["mqtt_host"], found["mqtt_port"]) == ("broker.lan", 1884)
    assert not {"mqtt_user", "mqtt_password"} & found.keys()
    assert not (tmp_path / "new" / "broker").exists()


def test_nothing_is_written_over(hilum: Run, tmp_path: Path) -> None:
    """A second time is refused, also where only the broker's files are left: not a byte changes."""
    folder = tmp_path / "new"
    assert hilum("init", "--broker", "--data-dir", folder).code == 0
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    assert hilum("init", "--broker", "--data-dir", folder).code == 2
    (folder / "hilum.toml").rename(folder / "aside.toml")
    again = hilum("init", "--broker", "--data-dir", folder)
    assert again.code == 2
    assert "hilum.passwd is there already" in again.err
    (folder / "aside.toml").rename(folder / "hilum.toml")
    assert before == {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_setting_that_cannot_be_leaves_nothing_behind(hilum: Run, tmp_path: Path) -> None:
    """No password and no folder is made for settings that are refused."""
    assert hilum("init", "--broker", "--site", "My Shed", "--data-dir", tmp_path / "new").code == 2
    assert not (tmp_path / "new").exists()


def test_password_is_hashed_as_mosquitto_does() -> None:
    """The hash equals one made by mosquitto_passwd 2.0.11 for the same password and salt."""
    salt = "M7TiMHw6UxBZmEIk"
    made = (
        f"$7$101${salt}$FlnPrRTuknJWCTyZIYwFfxYvKEJKFwFEU7kxrm/dUtce"
        "eF+dFrRfXJN3sWiF/mv8CJNZHAsd75gQD9Q0P5J/cg=="
    )
    assert hashed("swordfish", base64.b64decode(salt)) == made


def test_rules_are_those_of_the_example() -> None:
    """What Hilum may do is said alike in the example for adding by hand."""
    assert (CONF / "acl.example").read_text(encoding="utf-8").startswith(RULES)


@pytest.mark.mosquitto
@pytest.mark.parametrize("right", [True, False])
def test_broker_takes_the_name_and_password(
    right: bool, hilum: Run, broker: Broker, tmp_path: Path
) -> None:
    """With the files in its place Hilum may come in and hear a sensor; another password may not."""
    assert hilum("init", "--broker", "--data-dir", tmp_path / "new").code == 0
    broker.stop()
    for name in ("passwd", "acl"):
        made = (tmp_path / "new" / "broker" / f"hilum.{name}").read_bytes()
        (broker.folder / name).write_bytes(made)
    broker.start()
    password = str(settings(tmp_path / "new")["mqtt_password"]) if right else "guessed"
    codes: list[bool] = []
    granted: list[int] = []
    client = Client(CallbackAPIVersion.VERSION2)
    client.username_pw_set("hilum", password)
    client.on_connect = lambda _c, _u, _f, reason, _p: codes.append(reason.is_failure)
    client.on_subscribe = lambda _c, _u, _m, reasons, _p: granted.extend(r.value for r in reasons)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    try:
        assert wait_until(lambda: bool(codes))
        assert codes[0] is not right
        if right:
            client.subscribe("hilum/+/+/readings", 1)
            assert wait_until(lambda: granted == [1])
    finally:
        client.disconnect()
        client.loop_stop()
