"""The parts of the sensor, each under CPython and MicroPython."""

import json
import socket
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from firmware.conftest import Device
from hilum.domain.model import Reading
from hilum.ingest.senml import decode_senml

GOOD = [0xBE, 0xEF, 0x92, 0xBE, 0xEF, 0x92]
AT = 1_764_061_200  # 2025-11-25
READINGS = [[AT + 600 * i, 1980 - i, 2740 + i, None if i % 2 else 2900] for i in range(600)]


def test_checksum(device: Device) -> None:
    """CRC-8 of 0xBE 0xEF is 0x92 (data sheet of the SHT4x family)."""
    assert device("crc", data=[0xBE, 0xEF]) == 0x92


@pytest.mark.parametrize(
    ("temp", "humidity", "temp_c", "rh_pct"),
    [
        (0x6666, 0x6666, 25.0, 44.0),  # T = -45 + 175 t/65535, RH = -6 + 125 h/65535
        (0x0000, 0x0000, -45.0, 0.0),  # RH -6 is clipped
        (0xFFFF, 0xFFFF, 130.0, 100.0),  # RH 119 is clipped
    ],
)
def test_conversion(device: Device, temp: int, humidity: int, temp_c: float, rh_pct: float) -> None:
    """Words become °C and % as the data sheet of the SHT4x family says, clipped to 0 to 100 %."""
    found = device("measured", temp=temp, humidity=humidity)
    assert found["values"] == pytest.approx([temp_c, rh_pct], abs=1e-6)
    assert found["asked"] == [[0x44, [0xFD]]]


@pytest.mark.parametrize("flaw", [None, [0xBE, 0xEE, *GOOD[2:]], [*GOOD[:5], 0x93]])
def test_a_damaged_answer_is_asked_for_again(device: Device, flaw: list[int] | None) -> None:
    """No answer, or one whose checksum is wrong, is not believed; the next good one is."""
    assert device("read", answers=[flaw, GOOD])["values"] is not None
    lost = device("read", answers=[flaw])
    assert (lost["values"], len(lost["asked"])) == (None, 3)


def test_battery(device: Device) -> None:
    """The mean of the samples, times range and divider; no input, no voltage."""
    assert device("volts", samples=[32000, 33535], full_scale_v=3.3, divider=2) == pytest.approx(
        32767.5 / 65535 * 3.3 * 2
    )
    assert device("volts", samples=None, full_scale_v=3.3, divider=2) is None


def test_a_message_is_what_the_service_reads(device: Device) -> None:
    """The service reads every value and time of a message to the last digit."""
    arrival_ms = (AT + 600_000) * 1000
    payload = device("pack", readings=READINGS[:50]).encode()
    decoded = decode_senml(payload, "home/tub-1", arrival_ms)
    assert decoded.rejects == ()
    assert list(decoded.readings) == [as_reading(each) for each in READINGS[:50]]


def as_reading(kept: list[int | None]) -> Reading:
    """What the service should make of one."""
    time_s, temp, humidity, battery = kept
    assert time_s is not None
    assert temp is not None
    assert humidity is not None
    voltage = None if battery is None else battery / 1000
    return Reading("home/tub-1", time_s * 1000, temp / 100, humidity / 100, None, voltage)


def test_a_message_without_a_clock_has_no_time(device: Device) -> None:
    """A reading without a time carries neither bt nor t, and values around zero are right."""
    records = json.loads(device("pack", readings=[[None, -5, 7, None]]))
    assert records == [
        {"n": "temperature", "u": "Cel", "v": -0.05},
        {"n": "humidity", "u": "%RH", "v": 0.07},
    ]


def test_what_is_kept_outlives_a_power_cut(device: Device, tmp_path: Path) -> None:
    """Each start finds what was kept before, in order, across files; what was sent is gone."""
    folder = str(tmp_path / "kept")
    assert device("keep", folder=folder, readings=READINGS[:250]) == 250
    assert device("keep", folder=folder, readings=READINGS[250:]) == 600
    assert device("waiting", folder=folder, most=300, mark=True) == READINGS[:300]
    assert device("waiting", folder=folder, most=1000) == READINGS[300:]
    assert [path.name for path in sorted((tmp_path / "kept").glob("*.dat"))] == [
        "00000001.dat",
        "00000002.dat",
    ]


@pytest.mark.parametrize("left", [1, 6, 11])
def test_a_record_that_was_cut_short(device: Device, tmp_path: Path, left: int) -> None:
    """A power cut inside a record costs that record alone, wherever it cuts."""
    folder = tmp_path / "kept"
    device("keep", folder=str(folder), readings=READINGS[:5])
    path = folder / "00000000.dat"
    path.write_bytes(path.read_bytes()[: 4 * 12 + left])
    device("keep", folder=str(folder), readings=READINGS[5:7])
    assert device("waiting", folder=str(folder), most=99) == READINGS[:4] + READINGS[5:7]


def test_a_damaged_record_is_known(device: Device, tmp_path: Path) -> None:
    """A record with a bit turned is left out, at the end of a file or inside it."""
    folder = tmp_path / "kept"
    device("keep", folder=str(folder), readings=READINGS[:5])
    path = folder / "00000000.dat"
    data = bytearray(path.read_bytes())
    data[1 * 12 + 4] ^= 1
    data[4 * 12 + 6] ^= 8
    path.write_bytes(data)
    device("keep", folder=str(folder), readings=READINGS[5:6])
    rest = [READINGS[0], *READINGS[2:4], READINGS[5]]
    assert device("waiting", folder=str(folder), most=99, mark=True) == rest
    assert device("waiting", folder=str(folder), most=99) == []


@pytest.mark.parametrize("note", [b"", b"\x05\x00\x00", b"\x05\x00\x00\x00\x00\x00"])
def test_a_lost_note_of_what_was_sent(device: Device, tmp_path: Path, note: bytes) -> None:
    """Without a sound note everything still there is sent again, which changes nothing."""
    folder = tmp_path / "kept"
    device("keep", folder=str(folder), readings=READINGS[:9])
    device("waiting", folder=str(folder), most=5, mark=True)
    assert device("waiting", folder=str(folder), most=99) == READINGS[5:9]
    (folder / "sent").write_bytes(note)
    assert device("waiting", folder=str(folder), most=99) == READINGS[:9]


@pytest.mark.parametrize("junk", [0, 5])
def test_a_write_that_fails_costs_nothing_else(device: Device, tmp_path: Path, junk: int) -> None:
    """After an error of the flash a running sensor finds what it kept before and after it."""
    folder = str(tmp_path / "kept")
    device("keep", folder=folder, readings=READINGS[:2])
    assert device("stumble", folder=folder, readings=READINGS[2:5], junk=junk) == [READINGS[:5], 0]
    assert device("waiting", folder=folder, most=99) == []


def test_a_note_that_is_ahead_hides_nothing(device: Device, tmp_path: Path) -> None:
    """When flash lost records that had been sent, those that take their place are still sent."""
    folder = tmp_path / "kept"
    device("keep", folder=str(folder), readings=READINGS[:5])
    device("waiting", folder=str(folder), most=99, mark=True)
    path = folder / "00000000.dat"
    path.write_bytes(path.read_bytes()[: 3 * 12])
    device("keep", folder=str(folder), readings=READINGS[5:6])
    assert device("waiting", folder=str(folder), most=99) == READINGS[5:6]


def test_a_file_that_is_gone_ends_nothing(device: Device, tmp_path: Path) -> None:
    """A sensor that stays awake goes on when the file it writes to cannot be read."""
    assert device("unreadable", folder=str(tmp_path / "kept"), readings=READINGS[:3]) == 0


@pytest.mark.parametrize(
    ("takes", "answer"),
    [([3, 3, 1], ["seven b", True]), ([3, None], ["sev", False]), ([3, 0], ["sev", False])],
)
def test_a_line_that_takes_a_part(
    device: Device, takes: list[int | None], answer: list[object]
) -> None:
    """The rest is written too; a line that takes nothing is an error, not a success."""
    assert device("written", data="seven b", takes=takes) == answer


def test_no_two_sensors_are_one_client(device: Device, tmp_path: Path) -> None:
    """Two clients of one name cut each other's line (MQTT 3.1.1, 3.1.4-2)."""
    names = {
        device("client_id", site=site, sensor=sensor, folder=str(tmp_path / "kept"))
        for site, sensor in (("home-tub", "1"), ("home", "tub-1"))
    }
    assert len(names) == 2


HOUR, WEEK = 3600, 604_800


@pytest.mark.parametrize(
    ("wrong", "true", "times"),
    [
        (AT + 101 * HOUR, AT + 100 * HOUR, [AT, AT + 50 * HOUR, AT + 100 * HOUR]),  # 1 % fast
        (AT + 101 * HOUR, AT + 101 * HOUR + 300, None),  # as good as right
        (AT + 101 * HOUR, AT + 202 * HOUR, [AT, AT + 101 * HOUR, AT + 202 * HOUR]),  # half as fast
        (AT + 101 * HOUR, AT - WEEK, None),  # it was wrong from the start: all move alike
    ],
)
def test_a_clock_that_ran_by_itself_for_days(
    device: Device, tmp_path: Path, wrong: int, true: int, times: list[int] | None
) -> None:
    """Readings kept through an outage are dated by the true time, none in the future."""
    kept = [AT, AT + 101 * HOUR // 2, AT + 101 * HOUR]
    found = device("drifted", folder=str(tmp_path / "kept"), times=kept, wrong=wrong, true=true)
    shift = true - wrong if true < AT else 0
    assert found == {"times": times or [one + shift for one in kept], "clock": true}


def test_a_full_flash_gives_up_the_oldest(device: Device, tmp_path: Path) -> None:
    """With room for two files the oldest file goes when a third is begun."""
    folder = str(tmp_path / "kept")
    device("keep", folder=folder, readings=READINGS, files=2)
    assert device("waiting", folder=folder, most=999, files=2) == READINGS[256:]


@pytest.mark.parametrize("seconds", [0, 946_684_800, 1_609_459_200])
def test_a_board_that_was_never_set_knows_no_time(device: Device, seconds: int) -> None:
    """The starts of 1970, 2000 and 2021, where boards begin to count, are no times."""
    assert device("now", seconds=seconds) is None
    assert device("now", seconds=AT + 0.9) == AT


@contextmanager
def time_server(answer: bytes) -> Iterator[int]:
    """Answer one question about the time; gives the port."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        line.bind(("127.0.0.1", 0))
        line.settimeout(20)

        def serve() -> None:
            question, caller = line.recvfrom(100)
            if len(question) == 48 and question[0] == 0x23:
                line.sendto(answer, caller)

        thread = threading.Thread(target=serve)
        thread.start()
        yield line.getsockname()[1]
        thread.join()


def ntp(seconds: int, first: int = 0x24, stratum: int = 2) -> bytes:
    """An answer of RFC 5905: seconds since 1900 in octets 40 to 43."""
    return bytes([first, stratum]) + bytes(38) + struct.pack(">I", seconds % 2**32) + bytes(4)


@pytest.mark.parametrize("true", [AT, 2_085_978_497, 2_100_000_000])
def test_time_from_the_network(device: Device, true: int) -> None:
    """The clock is set by an answer, also past 2036-02-07 06:28:16, when NTP begins again."""
    with time_server(ntp(true + 2_208_988_800)) as port:
        assert device("ask", port=port) == [None, True, true]


@pytest.mark.parametrize(
    "answer",
    [
        b"",
        ntp(AT + 2_208_988_800)[:47],
        ntp(AT + 2_208_988_800, first=0x23),  # a question, no answer
        ntp(AT + 2_208_988_800, first=0xE4),  # a server that is not set itself
        ntp(AT + 2_208_988_800, stratum=0),  # a refusal
        ntp(0),
        ntp(2_208_988_800),  # 1970
    ],
)
def test_a_bad_answer_leaves_the_clock_unset(device: Device, answer: bytes) -> None:
    """Answers that are cut short, refuse, or come from a server without a time, set nothing."""
    with time_server(answer) as port:
        assert device("ask", port=port) == [None, False, None]


BOARD = {
    "site": "home",
    "sensor": "tub-1",
    "network": "shed",
    "network_password": "hush",
    "time_server": "127.0.0.1",
    "broker": "127.0.0.1",
    "port": 9,  # where nobody listens
    "scl": 22,
    "sda": 21,
    "battery_pin": 35,
    "every_s": 600,
    "send_every": 1,
    "tries": 1,
}
PARTS = [["I2C", 0, "pin 22", "pin 21"], ["ADC", "pin 35"]]
SLEEP = ["sleep", 600_000]


def boot(device: Device, folder: Path, *, joins: bool = True, **changes: object) -> dict[str, Any]:
    """Start a board with these settings; gives what its parts were told, and what waits."""
    answers = changes.pop("answers", [GOOD])
    (folder / "config.json").write_text(json.dumps({**BOARD, **changes}), encoding="utf-8")
    told: dict[str, Any] = device("boot", folder=str(folder), answers=answers, joins=joins)
    return told


def test_a_turn_of_a_board(device: Device, tmp_path: Path) -> None:
    """A board measures, keeps, sets its clock once it is online, and sleeps until the next turn."""
    true = datetime.now(UTC).replace(microsecond=0) + timedelta(seconds=60)
    with time_server(ntp(int(true.timestamp()) + 2_208_988_800)) as port:
        found = boot(device, tmp_path, time_port=port)
    when = true.timetuple()  # boards count weekdays from Monday, 0
    board = [*when[:3], when.tm_wday, *when[3:6], 0]
    assert found["told"] == [*PARTS, ["clock", board], SLEEP]
    assert found["waits"] == 1
    [[_, temp, humidity, battery]] = device("waiting", folder=str(tmp_path / "kept"), most=9)
    word = 0xBEEF / 65535
    assert (temp, humidity) == (round(100 * (175 * word - 45)), round(100 * (125 * word - 6)))
    assert battery == round(1000 * 40000 / 65535 * 3.3)


def test_a_board_without_a_network(device: Device, tmp_path: Path) -> None:
    """Without a network each turn keeps one reading more, and sleeps."""
    for turn in (1, 2):
        found = boot(device, tmp_path, joins=False, join_s=0)
        assert (found["told"], found["waits"]) == ([*PARTS, SLEEP], turn)


@pytest.mark.parametrize("changes", [{}, {"address": 0x45}])
def test_the_address_of_the_sensor(device: Device, tmp_path: Path, changes: dict[str, int]) -> None:
    """The family comes with several addresses, 0x44 being the usual one (data sheet)."""
    found = boot(device, tmp_path, joins=False, join_s=0, **changes)
    assert found["asked"] == [[changes.get("address", 0x44), [0xFD]]]


@pytest.mark.parametrize("fault", [{"answers": [None]}, {"ca_file": "none.der"}])
def test_a_board_that_fails_still_sleeps(
    device: Device, tmp_path: Path, fault: dict[str, Any]
) -> None:
    """A dead sensor or a wrong setting leaves a gap; the board sleeps, and its battery lasts."""
    found = boot(device, tmp_path, **fault)
    assert found["told"][-1] == SLEEP
    assert found["waits"] == 0


def test_pauses_grow_and_are_bounded(device: Device) -> None:
    """Pauses double up to their bound; chance takes up to a half of each away."""
    assert device("pauses", count=5, first_s=1, most_s=5, draw=1) == [1, 2, 4, 5, 5]
    assert device("pauses", count=3, first_s=1, most_s=5, draw=0) == [0.5, 1, 2]
