"""The sensor and the service with a real broker between them, over TLS."""

import json
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firmware.conftest import Device, Launch
from firmware.shaky import shaky
from hilum.domain.model import Reading, RejectReason
from hilum.stores.sqlite import SqliteStore
from ingest.no_loss import count, serving
from plugins.mosquitto import USERS, Broker
from plugins.sensors import Sensors, wait_until

pytestmark = pytest.mark.mosquitto

START = 1_748_736_000  # 2025-06-01
UNSET = 946_684_800  # 2000-01-01
EVERY = 600
Config = dict[str, Any]


@pytest.fixture
def config(broker: Broker, tmp_path: Path) -> Config:
    """Settings of a sensor for the broker, which speaks TLS from now on."""
    broker.stop()
    pem = (broker.use_tls() / "ca.crt").read_text(encoding="ascii")
    broker.start()
    (tmp_path / "ca.der").write_bytes(ssl.PEM_cert_to_DER_cert(pem))
    return {
        "site": "home",
        "sensor": "tub-1",
        "broker": "localhost",
        "port": broker.tls_port,
        "ca_file": str(tmp_path / "ca.der"),
        "user": "tub-1",
        "password": USERS["tub-1"],
        "time_server": "127.0.0.1",
        "send_every": 10,
        "retry_first_s": 0.02,
        "retry_most_s": 0.1,
    }


def kept(database: Path, sensor: str = "home/tub-1") -> list[Reading]:
    """Every reading of a sensor."""
    store = SqliteStore.open_readonly(database)
    try:
        return [one for page in store.pages(sensor, 0, 2**53, 5000) for one in page]
    finally:
        store.close()


def refused(database: Path) -> list[tuple[RejectReason, str]]:
    """Why something was refused, newest first."""
    store = SqliteStore.open_readonly(database)
    try:
        return [(reject.reason, reject.detail) for reject in store.rejects()]
    finally:
        store.close()


def expected(index: int) -> Reading:
    """The reading of one turn of ``season`` in ``device.py``, by the formulas of the data sheet."""
    temp_c = -45 + 175 * (20000 + index) / 65535
    rh_pct = -6 + 125 * (30000 - index) / 65535
    return Reading("home/tub-1", (START + index * EVERY) * 1000, round(temp_c, 2), round(rh_pct, 2))


def test_a_thousand_readings_through_everything(
    broker: Broker, config: Config, launch: Launch, tmp_path: Path
) -> None:
    """Ten cut lines, a broker's restart and a power cut later each reading is there once."""
    database, note = tmp_path / "hilum.sqlite3", str(tmp_path / "note")
    with (
        serving(broker.port, database),
        shaky(broker.tls_port, cuts=10, seed=20_250_601) as line,
    ):
        config["port"] = line.port
        words = {"config": config, "folder": str(tmp_path / "kept"), "note": note}
        season = {**words, "days": [START, 1000, EVERY]}
        with launch("season", **season) as first:
            assert wait_until(lambda: count(database) >= 300, 60)
            broker.stop()
            broker.start()
            assert wait_until(lambda: count(database) >= 600, 60)
            first.kill()
        assert int(Path(note).read_text(encoding="ascii") or "0") < 1000
        with launch("season", **season) as second:
            assert second.stdout is not None
            said = second.stdout.read().decode()
        assert (second.returncode, said.splitlines()[-1]) == (0, '"done"'), said
        assert wait_until(lambda: count(database) >= 1000)
    assert line.cut == 10
    assert kept(database) == [expected(index) for index in range(1000)]
    assert refused(database) == []


def test_a_wrong_password_costs_nothing(
    broker: Broker, config: Config, device: Device, tmp_path: Path
) -> None:
    """Refused, the sensor keeps its readings, and sends them once the password is right."""
    database, folder = tmp_path / "hilum.sqlite3", str(tmp_path / "kept")
    with serving(broker.port, database):
        wrong = {**config, "send_every": 1, "password": "wrong"}
        assert device("turn", config=wrong, folder=folder, seconds=START) == 1
        assert device("turn", config=wrong, folder=folder, seconds=START + EVERY) == 2
        assert count(database) == 0
        right = {**config, "send_every": 1}
        assert device("turn", config=right, folder=folder, seconds=START + 2 * EVERY) == 0
        assert wait_until(lambda: count(database) == 3)
    times = [one.time_ms for one in kept(database)]
    assert times == [(START + turn * EVERY) * 1000 for turn in range(3)]


@pytest.mark.parametrize("flaw", ["other authority", "other name", "no TLS"])
def test_a_false_broker_gets_nothing(
    broker: Broker, config: Config, device: Device, tmp_path: Path, flaw: str
) -> None:
    """To a broker that cannot prove itself neither password nor reading is sent."""
    config["send_every"] = 1
    if flaw == "other authority":
        other = Broker(broker_folder(tmp_path), broker.program).use_tls()
        pem = (other / "ca.crt").read_text(encoding="ascii")
        Path(config["ca_file"]).write_bytes(ssl.PEM_cert_to_DER_cert(pem))
    elif flaw == "other name":
        config["broker"] = "127.0.0.1"
    else:
        config["port"] = broker.port
    folder = str(tmp_path / "kept")
    assert device("turn", config=config, folder=folder, seconds=START) == 1
    log = (broker.folder / "log").read_text(encoding="utf-8")
    assert "sensor.home.tub-1" not in log


def broker_folder(tmp_path: Path) -> Path:
    """A folder for the files of another broker."""
    folder = tmp_path / "other"
    folder.mkdir()
    return folder


def test_another_sensors_topic(
    broker: Broker, config: Config, device: Device, tmp_path: Path
) -> None:
    """A sensor cannot speak for another one: what it says there reaches nobody.

    By MQTT 3.1.1 the broker confirms such a message all the same.
    """
    database, folder = tmp_path / "hilum.sqlite3", str(tmp_path / "kept")
    with serving(broker.port, database):
        false = {**config, "send_every": 1, "sensor": "jar-1"}
        assert device("turn", config=false, folder=folder, seconds=START) == 0
        honest = {**config, "send_every": 1}
        device("turn", config=honest, folder=folder, seconds=START + EVERY)
        assert wait_until(lambda: count(database) == 1)
    assert kept(database, "home/jar-1") == []
    assert [one.time_ms for one in kept(database)] == [(START + EVERY) * 1000]


def test_a_clock_that_was_never_set(
    broker: Broker,
    config: Config,
    device: Device,
    tmp_path: Path,
) -> None:
    """A board that stands at 2000-01-01 sends no time; the service takes that of the arrival."""
    database, folder = tmp_path / "hilum.sqlite3", str(tmp_path / "kept")
    with serving(broker.port, database):
        assert device("turn", config=config, folder=folder, seconds=UNSET) == 0
        assert wait_until(lambda: count(database) == 1)
    [one] = kept(database)
    assert (one.temp_c, one.rh_pct) == (25.0, 44.0)
    assert one.time_ms > START * 1000
    assert refused(database) == []


def test_presence(broker: Broker, config: Config, launch: Launch, tmp_path: Path) -> None:
    """A sensor that stays awake says that it is there; when it dies, the broker says so."""
    database = tmp_path / "hilum.sqlite3"
    awake = {**config, "stay_awake": True, "network": "shed", "network_password": "hush"}
    text = json.dumps({**awake, "scl": 22, "sda": 21})
    (tmp_path / "config.json").write_text(text, encoding="utf-8")
    with serving(broker.port, database):
        answers = [[0xBE, 0xEF, 0x92] * 2]
        with launch("boot", folder=str(tmp_path), answers=answers, joins=True) as process:
            assert wait_until(lambda: presence(database) is True)
            assert wait_until(lambda: count(database) == 1)
            process.kill()
        assert wait_until(lambda: presence(database) is False)


def presence(database: Path) -> bool | None:
    """What is known of whether the sensor is there."""
    if not database.exists():
        return None
    store = SqliteStore.open_readonly(database)
    try:
        return next((sensor.online for sensor in store.sensors()), None)
    finally:
        store.close()


def message(change: Callable[[list[dict[str, object]]], object]) -> bytes:
    """One moment of a device that is not ours, with something changed."""
    records: list[dict[str, object]] = [
        {"bt": START, "n": "temperature", "u": "Cel", "v": 20.0},
        {"n": "humidity", "u": "%RH", "v": 30.0},
    ]
    change(records)
    return json.dumps(records).encode()


def test_devices_that_break_the_contract(broker: Broker, tmp_path: Path) -> None:
    """A time of 2000 and a missing unit are refused with their reason; the rest is kept."""
    database = tmp_path / "hilum.sqlite3"
    wrong_time = message(lambda records: records[0].update(bt=UNSET))
    no_unit = message(lambda records: records[1].pop("u"))
    with serving(broker.port, database), Sensors(broker.port, "tub-1") as sensors:
        sensors.send(("hilum/home/tub-1/readings", each) for each in (wrong_time, no_unit))
        assert wait_until(lambda: count(database) == 1 and len(refused(database)) == 2)
    assert kept(database) == [Reading("home/tub-1", START * 1000, 20.0, None)]
    assert set(refused(database)) == {
        (
            RejectReason.TIME,
            "The sensor's clock is wrong: it said 2000-01-01 00:00 UTC, which lies before 2010.",
        ),
        (
            RejectReason.UNIT,
            "The unit of the humidity is missing; it must be %RH or / (a ratio).",
        ),
    }
