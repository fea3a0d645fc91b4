"""Readings over HTTP, with the whole of Hilum behind: what is answered is in the database."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from hilum.bootstrap import SystemClock, http_intake, open_store
from hilum.bootstrap.service import Service
from hilum.config import settings_from
from hilum.domain.access import Scope
from hilum.domain.errors import StoreError
from hilum.domain.ports import Store
from hilum.ingest.pace import PER_MINUTE
from hilum.keeping.access import give
from hilum.web.intake import BURST, SENML

EXAMPLES = Path(__file__).resolve().parents[2] / "firmware_notes" / "examples"
SENSOR = "home/tub-1"
PACK = [
    {"bt": 1764061200, "n": "temperature", "u": "Cel", "v": 19.8},
    {"n": "humidity", "u": "%RH", "v": 27.4},
]


@dataclass
class Device:
    """A device with a token."""

    client: TestClient
    store: Store
    key: str

    def send(
        self, pack: object, key: str | None = None, sent_type: str = SENML, **headers: str
    ) -> Response:
        """Send a pack, or bytes as they are."""
        body = pack if isinstance(pack, bytes) else json.dumps(pack).encode()
        told = {"authorization": f"Bearer {key or self.key}", "content-type": sent_type, **headers}
        return self.client.post("/api/readings", content=body, headers=told)

    def kept(self) -> int:
        """How many readings there are."""
        extent = self.store.extent(SENSOR)
        return extent[0] if extent else 0


@pytest.fixture
def device(tmp_path: Path) -> Iterator[Device]:
    """A device beside a service that listens to no broker."""
    settings = settings_from({"mqtt": False}, tmp_path)
    with open_store(settings, exclusive=True) as store:
        _, key = give(store, Scope.INGEST, "tub", 0, sensor=SENSOR)
        with TestClient(
            Service(settings, store).app, "http://localhost", raise_server_exceptions=False
        ) as client:
            yield Device(client, store, key)


def refusal(answer: Response, status: int) -> dict[str, Any]:
    """Give an error, which has the one shape."""
    assert answer.status_code == status, answer.text
    [(name, error)] = answer.json().items()
    assert name == "error"
    assert set(error) == {"code", "message", "field"}
    found: dict[str, Any] = error
    return found


def test_readings_are_kept_before_the_answer(device: Device) -> None:
    """What the answer counts is in the database; sending it again changes nothing."""
    first = device.send(PACK)
    assert first.json() == {"stored": 1, "duplicates": 0, "rejected": []}
    newest = device.store.newest(SENSOR)
    assert newest is not None
    assert (newest.time_ms, newest.temp_c, newest.rh_pct) == (1764061200000, 19.8, 27.4)
    assert device.send(PACK).json() == {"stored": 0, "duplicates": 1, "rejected": []}
    assert device.kept() == 1


@pytest.mark.parametrize("name", ["one-moment", "after-an-outage", "no-clock"])
def test_messages_of_the_contract_are_taken(device: Device, name: str) -> None:
    """The examples for MQTT are taken over HTTP as they are."""
    answer = device.send((EXAMPLES / f"{name}.json").read_bytes())
    assert answer.status_code == 200
    assert answer.json()["stored"] == device.kept() >= 1
    assert answer.json()["rejected"] == []


def test_a_sensor_without_a_clock_loses_nothing_in_a_burst(device: Device) -> None:
    """Readings without a time get that of their arrival, no two the same."""
    pack = [{"n": "temperature", "u": "Cel", "v": 20.0}]
    for number in range(20):
        pack[0]["v"] = 20.0 + number
        assert device.send(pack).json()["stored"] == 1
    assert device.kept() == 20


def test_what_is_not_kept_is_told_with_its_reason(device: Device) -> None:
    """A fault beside a good value costs the good one nothing, and is on the Sensors page too."""
    answer = device.send([*PACK, {"bt": 1764061260, "n": "temperature", "u": "Cel", "v": -127}])
    [rejected] = answer.json()["rejected"]
    assert rejected["reason"] == "fault"
    assert "not connected" in rejected["detail"]
    [kept] = device.store.rejects()
    assert (kept.sensor, kept.topic) == (SENSOR, "POST /api/readings")


def test_another_value_for_a_kept_moment_is_told(device: Device) -> None:
    """The first value stays."""
    device.send(PACK)
    error = refusal(device.send([{**PACK[0], "v": 25.0}]), 422)
    assert "the first ones stay" in error["message"]
    newest = device.store.newest(SENSOR)
    assert newest is not None
    assert newest.temp_c == 19.8


@pytest.mark.parametrize("payload", [b"", b"no json", b"[]", b"{}", b"\xff\xfe", b"[" * 9000])
def test_a_message_of_no_use_is_refused_in_words(device: Device, payload: bytes) -> None:
    """422 with the reason; the message is kept as a reject."""
    assert refusal(device.send(payload), 422)["message"].endswith(".")
    assert device.kept() == 0
    assert len(device.store.rejects()) == 1


def test_only_its_own_sensor(device: Device) -> None:
    """Whatever names stand in the message, the token says whose readings they are."""
    pack = [{**PACK[0], "bn": "home/other/"}, PACK[1]]
    assert device.send(pack).status_code == 200
    assert [sensor.name for sensor in device.store.sensors()] == [SENSOR]


def test_tokens_that_do_not_hold_keep_nothing(device: Device) -> None:
    """Made up, withdrawn, of another kind: refused before the body counts."""
    grant, gone = give(device.store, Scope.INGEST, "gone", 0, sensor=SENSOR)
    device.store.withdraw_grant(grant.id, 1)
    _, ended = give(device.store, Scope.INGEST, "ended", 0, sensor=SENSOR, days=1)
    _, reads = give(device.store, Scope.READ, "reads", 0)
    for key in ("made up", gone, ended):
        answer = device.send(PACK, key)
        refusal(answer, 401)
        assert answer.headers["www-authenticate"].startswith("Bearer")
    refusal(device.send(PACK, reads), 403)
    refusal(device.send(PACK, authorization=f"Basic {device.key}"), 401)
    assert device.kept() == 0


def test_another_type_is_refused(device: Device) -> None:
    """Only SenML, as the address says; a form of a page is none."""
    for sent_type in ("application/json", "application/x-www-form-urlencoded", ""):
        assert SENML in refusal(device.send(PACK, sent_type=sent_type), 415)["message"]
    assert device.send(PACK, sent_type=f"{SENML}; charset=utf-8").status_code == 200


def test_a_device_that_sends_without_end_is_slowed(device: Device) -> None:
    """Sixty at once are taken, then the device is told to wait."""
    statuses = [device.send(PACK).status_code for _ in range(BURST + 10)]
    assert statuses[:BURST] == [200] * BURST
    assert 429 in statuses[BURST:]
    assert device.send(PACK).headers["retry-after"] == "10"


def test_a_clock_that_is_put_back_dates_by_the_new_time(
    device: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What came before keeps its time; what comes later is not held at it."""
    pack = [{"n": "temperature", "u": "Cel", "v": 20.0}]
    for now_ms in (1_764_000_000_000, 1_764_000_000_000 - 7_200_000):
        monkeypatch.setattr(SystemClock, "now_ms", lambda _, at=now_ms: at)
        device.send(pack)
    times = device.store.series(SENSOR, 0, 2**53).time_ms.tolist()
    assert times == [1_764_000_000_000 - 7_200_000, 1_764_000_000_000]


def test_a_device_that_runs_wild_fills_no_disk(device: Device) -> None:
    """Of a hundred values a second two are kept; each answer says so, the list once."""
    wild = [
        {"bt": 1764061200, "n": "temperature", "u": "Cel", "v": 20, "t": k / 100}
        for k in range(1000)
    ]
    answer = device.send(wild).json()
    assert (answer["stored"], device.kept()) == (PER_MINUTE, PER_MINUTE)
    [told] = answer["rejected"]
    assert told["reason"] == "too-often"
    assert "880 readings" in told["detail"]
    [kept] = device.store.rejects()
    assert kept.sensor == SENSOR
    later = [{**each, "t": 10 + number / 100} for number, each in enumerate(wild)]
    assert "1,000 readings" in refusal(device.send(later), 422)["message"]
    assert len(device.store.rejects()) == 1


def test_nothing_is_answered_that_was_not_kept(
    device: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the database fails the device hears so, and keeps its readings."""

    def fail(*_: object) -> None:
        raise StoreError("The disk is full.")

    monkeypatch.setattr(type(device.store), "add", fail)
    assert refusal(device.send(PACK), 503)["message"] == "The disk is full."


@pytest.mark.parametrize(
    ("now_ms", "started_s"), [(12_000, 30.0), (12_000, 1e6), (1_764_000_000_000, 30.0)]
)
def test_a_machine_without_the_time_lets_devices_wait(
    device: Device, monkeypatch: pytest.MonkeyPatch, now_ms: int, started_s: float
) -> None:
    """In 1970, or with an old time just after its start, it dates and refuses nothing: 503."""
    monkeypatch.setattr(http_intake, "since_boot_s", lambda: started_s)
    monkeypatch.setattr(SystemClock, "now_ms", lambda _: now_ms)
    assert "does not know the time" in refusal(device.send(PACK), 503)["message"]
    assert device.kept() == 0
    assert device.store.rejects() == []


def test_the_interface_describes_readings(device: Device) -> None:
    """What is sent, by whom, and every answer."""
    found = device.client.get("/api/openapi.json").json()
    post = found["paths"]["/api/readings"]["post"]
    assert list(post["requestBody"]["content"]) == [SENML]
    assert post["security"] == [{"token": []}]
    assert {"200", "401", "403", "413", "415", "422", "429", "503"} <= set(post["responses"])
