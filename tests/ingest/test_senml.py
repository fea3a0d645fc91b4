"""SenML packs to readings: what RFC 8428 says, and whatever else may arrive."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hilum.domain.model import Reading, RejectReason
from hilum.ingest.screen import Decoded
from hilum.ingest.senml import decode_senml

NOW = 1_764_061_200_000  # 2025-11-25T09:00Z
NOW_S = NOW // 1000
EXAMPLES = Path(__file__).resolve().parents[2] / "firmware_notes" / "examples"


def decode(pack: object, arrival_ms: int = NOW) -> Decoded:
    """Decode a pack given as Python values or as text."""
    text = pack if isinstance(pack, str) else json.dumps(pack)
    return decode_senml(text.encode(), "home/tub", arrival_ms, origin="hilum/home/tub/readings")


def only(decoded: Decoded) -> Reading:
    """Give the one reading of a message without rejects."""
    assert decoded.rejects == ()
    [reading] = decoded.readings
    return reading


def reason(decoded: Decoded) -> RejectReason:
    """Give the one reason for which a message without readings was refused."""
    assert decoded.readings == ()
    [reject] = decoded.rejects
    assert reject.detail.endswith(".")
    return reject.reason


def temperature(**fields: object) -> list[dict[str, Any]]:
    """One temperature record, with fields changed."""
    return [{"n": "temperature", "u": "Cel", "v": 20.5, **fields}]


# The first tests follow the RFC's own examples (numbers and sections from memory); names and units
# are ours where the RFC measures something that Hilum does not take.


def test_single_data_point() -> None:
    """RFC 8428 section 5.1.1: one record without a time is measured now."""
    reading = only(
        decode([{"n": "urn:dev:ow:10e2073a01080063:temperature", "u": "Cel", "v": 23.1}])
    )
    assert reading == Reading("home/tub", NOW, temp_c=23.1)


def test_multiple_data_points_share_base_fields() -> None:
    """RFC 8428 section 5.1.2: base name, time and unit hold for the records that follow."""
    pack = [
        {
            "bn": "urn:dev:ow:10e2073a01080063:",
            "bt": 1.276020076001e9,
            "bu": "Cel",
            "bver": 5,
            "n": "temperature",
            "v": 23.1,
        },
        {"n": "temperature", "t": -5, "v": 22.1},
        {"n": "temperature", "t": -4, "v": 22.2},
    ]
    readings = decode(pack).readings
    assert [r.time_ms for r in readings] == [1276020076001, 1276020071001, 1276020072001]
    assert [r.temp_c for r in readings] == [23.1, 22.1, 22.2]


def test_multiple_measurements_count_from_the_base_time() -> None:
    """RFC 8428 section 5.1.3: a series of humidities, each with its time after the base time."""
    pack = [
        {
            "bn": "urn:dev:ow:10e2073a01080063:",
            "bt": 1.320067464e9,
            "bu": "%RH",
            "n": "humidity",
            "v": 21.2,
        },
        {"n": "humidity", "t": 10, "v": 21.3},
        {"n": "humidity", "t": 20, "v": 21.4},
    ]
    decoded = decode(pack)
    assert [r.time_ms for r in decoded.readings] == [1320067464000, 1320067474000, 1320067484000]
    assert [r.rh_pct for r in decoded.readings] == [21.2, 21.3, 21.4]
    assert not decoded.by_arrival


def test_negative_times_count_back_from_now() -> None:
    """RFC 8428 section 4.5.3: without a base time, t -10 is ten seconds ago."""
    pack = [{"bu": "%RH", "n": "humidity", "v": 21.2, "t": -10}, {"n": "humidity", "v": 21.3}]
    decoded = decode(pack)
    assert [r.time_ms for r in decoded.readings] == [NOW - 10_000, NOW]
    assert decoded.by_arrival


def test_quantities_of_one_moment_make_one_reading() -> None:
    """RFC 8428 section 5.1.4 mixes temperature and humidity of one device under one base name."""
    pack = [
        {"bn": "2001:db8::2/", "bt": 1.320078429e9, "n": "temperature", "u": "Cel", "v": 25.2},
        {"n": "humidity", "u": "%RH", "v": 30},
    ]
    assert only(decode(pack)) == Reading("home/tub", 1320078429000, temp_c=25.2, rh_pct=30.0)


def test_base_value_is_added() -> None:
    """RFC 8428 section 4.1: the base value is added to each value."""
    assert only(decode(temperature(bv=20.0, v=0.5))).temp_c == 20.5


def test_units_of_a_record_win_over_the_base_unit() -> None:
    """RFC 8428 section 4.1: a record's own unit wins; kelvin is converted."""
    pack = [{"bu": "%RH", "n": "temperature", "u": "K", "v": 293.65}, {"n": "humidity", "v": 40}]
    assert only(decode(pack)) == Reading("home/tub", NOW, temp_c=20.5, rh_pct=40.0)


@pytest.mark.parametrize(
    ("seconds", "time_ms"),
    [
        (2**28 - 1, None),  # relative, and that far in the future nothing is measured
        (NOW_S, NOW),
        (0, NOW),
        (-(2**20), NOW - 2**20 * 1000),
    ],
)
def test_two_to_the_28_divides_relative_from_absolute(seconds: int, time_ms: int | None) -> None:
    """RFC 8428 section 4.5.3: from 2^28 on a time is absolute, below it counts from now."""
    decoded = decode(temperature(t=seconds))
    if time_ms is None:
        assert reason(decoded) is RejectReason.TIME
    else:
        assert only(decoded).time_ms == time_ms


def test_the_first_absolute_second_is_1978() -> None:
    """RFC 8428 section 4.5.3: 2^28 itself is absolute, so it is a clock that was never set."""
    decoded = decode(temperature(t=2**28))
    assert reason(decoded) is RejectReason.TIME
    assert "1978-07-04" in decoded.rejects[0].detail


def test_fields_that_must_be_understood_refuse_the_pack() -> None:
    """RFC 8428 section 4.4: an unknown field ending in _ is an error, any other is passed over."""
    assert only(decode(temperature(foo=1))).temp_c == 20.5
    pack = [*temperature(), {"n": "humidity", "u": "%RH", "v": 40, "foo_": 1}]
    assert reason(decode(pack)) is RejectReason.SHAPE


def test_a_newer_version_is_not_used() -> None:
    """RFC 8428 section 4.4: a version above 10 must not be used."""
    assert only(decode(temperature(bver=10))).temp_c == 20.5
    assert reason(decode(temperature(bver=11))) is RejectReason.SHAPE


def test_battery_in_both_units() -> None:
    """Charge and voltage of a battery stand beside the reading of their moment."""
    battery = [{"n": "battery", "u": "%EL", "v": 80}, {"n": "battery", "u": "V", "v": 3.1}]
    reading = only(decode(temperature() + battery))
    assert (reading.battery_pct, reading.battery_v) == (80.0, 3.1)


def test_ratio_is_a_humidity() -> None:
    """The registered unit / is a ratio: 0.4 is 40 %."""
    assert only(decode([{"n": "humidity", "u": "/", "v": 0.4}])).rh_pct == 40.0


def test_what_hilum_does_not_measure_is_passed_over() -> None:
    """Other quantities of a device, also text and switches, are no error."""
    others = [{"n": "pressure", "u": "Pa", "v": 101325}, {"n": "door", "vb": True}]
    assert only(decode([*temperature(), *others, {"n": "label", "vs": "x"}])).temp_c == 20.5


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", RejectReason.NOT_JSON),
        ("{", RejectReason.NOT_JSON),
        ("[" * 100_000, RejectReason.NOT_JSON),
        ('[{"n":"temperature","u":"Cel","v":' + "9" * 5000 + "}]", RejectReason.NOT_JSON),
        ("21.5", RejectReason.SHAPE),
        ("{}", RejectReason.SHAPE),
        ("null", RejectReason.SHAPE),
        ("[1]", RejectReason.SHAPE),
        ("[]", RejectReason.NO_VALUE),
        ("[{}]", RejectReason.NO_VALUE),
        ('[{"n":"temperature","u":"Cel","v":20,"v":21}]', RejectReason.SHAPE),
        ('[{"n":"temperature","u":"Cel","v":NaN}]', RejectReason.NOT_A_NUMBER),
        ('[{"n":"temperature","u":"Cel","v":-Infinity}]', RejectReason.NOT_A_NUMBER),
        ('[{"n":"temperature","u":"Cel","v":1e999}]', RejectReason.NOT_A_NUMBER),
        ('[{"n":"temperature","u":"Cel","v":1' + "0" * 400 + "}]", RejectReason.NOT_A_NUMBER),
        ('[{"n":"temperature","u":"Cel","v":1e308,"bv":1e308}]', RejectReason.NOT_A_NUMBER),
        ('[{"n":"temperature","u":"Cel","v":20,"t":NaN}]', RejectReason.NOT_A_NUMBER),
    ],
)
def test_broken_messages(text: str, expected: RejectReason) -> None:
    """What is no pack of numbers is refused with the reason."""
    assert reason(decode(text)) is expected


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"v": True}, RejectReason.SHAPE),
        ({"v": "20.5"}, RejectReason.SHAPE),
        ({"v": None}, RejectReason.SHAPE),
        ({"vs": "x"}, RejectReason.SHAPE),
        ({"n": 1}, RejectReason.SHAPE),
        ({"bn": 1}, RejectReason.SHAPE),
        ({"t": False}, RejectReason.SHAPE),
        ({"bt": "now"}, RejectReason.SHAPE),
        ({"bver": "10"}, RejectReason.SHAPE),
        ({"u": "F"}, RejectReason.UNIT),
        ({"u": "cel"}, RejectReason.UNIT),
        ({"u": None}, RejectReason.UNIT),
        ({"u": ["Cel"]}, RejectReason.UNIT),
        ({"u": "\ud800"}, RejectReason.UNIT),
        ({"v": 85}, RejectReason.FAULT),
        ({"v": 85.0}, RejectReason.FAULT),
        ({"v": 127.94}, RejectReason.FAULT),
        ({"v": -127}, RejectReason.FAULT),
        ({"v": 85.1}, RejectReason.RANGE),
        ({"v": -40.1}, RejectReason.RANGE),
        ({"t": 300}, RejectReason.TIME),
        ({"t": 946684800}, RejectReason.TIME),
        ({"t": 4070908800}, RejectReason.TIME),
        ({"t": NOW_S + 3601}, RejectReason.TIME),
        ({"t": 1e300}, RejectReason.TIME),
        ({"t": -1e300}, RejectReason.TIME),
    ],
)
def test_bad_fields(fields: dict[str, Any], expected: RejectReason) -> None:
    """Each wrong type, unit, value and time has its reason, and can be stored and shown."""
    decoded = decode(temperature(**fields))
    assert reason(decoded) is expected
    assert decoded.rejects[0].detail.encode()


def test_a_missing_unit_is_refused() -> None:
    """A temperature without a unit could be anything."""
    assert reason(decode([{"n": "temperature", "v": 20}])) is RejectReason.UNIT


def test_a_bad_value_does_not_cost_the_rest() -> None:
    """One bad record of a pack is refused; the humidity beside it and other moments are kept."""
    pack = [
        {"bt": NOW_S, "n": "temperature", "u": "Cel", "v": 85.0},
        {"n": "humidity", "u": "%RH", "v": 40},
        {"n": "temperature", "u": "Cel", "v": 20, "t": -60},
    ]
    decoded = decode(pack)
    assert decoded.readings == (
        Reading("home/tub", NOW, rh_pct=40.0),
        Reading("home/tub", NOW - 60_000, temp_c=20.0),
    )
    assert [r.reason for r in decoded.rejects] == [RejectReason.FAULT]


def test_one_moment_twice_in_a_pack() -> None:
    """The same value again changes nothing; another value for the moment is refused."""
    assert only(decode(temperature() + temperature())).temp_c == 20.5
    decoded = decode(temperature() + temperature(v=21))
    assert decoded.readings[0].temp_c == 20.5
    assert [r.reason for r in decoded.rejects] == [RejectReason.CONFLICT]


def test_one_message_speaks_for_one_device() -> None:
    """Two devices in one message would be mixed up, so the second is refused."""
    decoded = decode([*temperature(bn="a/"), {"bn": "b/", "n": "humidity", "u": "%RH", "v": 40}])
    assert decoded.readings == (Reading("home/tub", NOW, temp_c=20.5),)
    assert [r.reason for r in decoded.rejects] == [RejectReason.SHAPE]


def test_a_battery_alone_is_no_reading() -> None:
    """Without temperature and humidity nothing about the air is known."""
    assert reason(decode([{"n": "battery", "u": "V", "v": 3}])) is RejectReason.NO_VALUE


def test_many_bad_records_make_few_rejects() -> None:
    """A message cannot flood the list of rejects: the rest is counted in one line."""
    decoded = decode([temperature(v=1000 + k)[0] for k in range(500)])
    assert len(decoded.rejects) == 21
    assert decoded.rejects[-1].detail.startswith("480 further")


def test_too_large() -> None:
    """More than 256 KiB is not read, and little of it is kept."""
    decoded = decode(" " * 262_145)
    assert reason(decoded) is RejectReason.TOO_LARGE
    assert len(decoded.rejects[0].payload) == 2000


def test_a_kept_message_without_a_time_is_refused() -> None:
    """What the broker kept from before was measured at an unknown time, unless it says when."""
    for pack, kept in ((temperature(), 0), (temperature(t=NOW_S - 60), 1)):
        payload = json.dumps(pack).encode()
        decoded = decode_senml(payload, "home/tub", NOW, retained=True)
        assert len(decoded.readings) == kept


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.json")), ids=lambda path: path.stem)
def test_examples_of_the_contract(path: Path) -> None:
    """Every example message that is published with the contract is taken whole."""
    decoded = decode(path.read_text(encoding="utf-8"), arrival_ms=NOW + 86_400_000)
    assert decoded.rejects == ()
    assert decoded.readings


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=6,
)
NEAR = st.fixed_dictionaries(
    {},
    optional={
        "n": st.sampled_from(["temperature", "humidity", "battery", "x:temperature"]) | JSON,
        "u": st.sampled_from(["Cel", "K", "%RH", "/", "%EL", "V"]) | JSON,
        "v": st.floats() | st.integers() | JSON,
        "t": st.floats() | st.integers() | JSON,
        "bt": st.floats() | st.just(NOW_S) | JSON,
        "bn": st.text(max_size=4) | JSON,
        "bu": st.sampled_from(["Cel"]) | JSON,
        "bv": st.floats() | JSON,
        "bver": st.just(10) | JSON,
        "vs": JSON,
    },
)


def holds(decoded: Decoded) -> None:
    """Nothing but readings that air can have, and rejects that can be stored; never nothing."""
    assert decoded.readings or decoded.rejects
    for reading in decoded.readings:
        assert reading.temp_c is not None or reading.rh_pct is not None
        assert reading.temp_c is None or -40 <= reading.temp_c < 85
        assert reading.rh_pct is None or 0 <= reading.rh_pct <= 100
        assert 0 < reading.time_ms <= NOW + 3_600_000
    for reject in decoded.rejects:
        assert reject.detail.encode()
        assert len(reject.payload) <= 2000


@settings(max_examples=300, deadline=None)
@given(st.lists(NEAR | JSON, max_size=5) | JSON)
def test_any_json_gives_readings_or_rejects(pack: object) -> None:
    """Whatever JSON arrives, there are only readings in range and rejects."""
    holds(decode_senml(json.dumps(pack).encode(), "home/tub", NOW))


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_give_readings_or_rejects(payload: bytes) -> None:
    """Whatever bytes arrive, nothing is raised."""
    holds(decode_senml(payload, "home/tub", NOW))
