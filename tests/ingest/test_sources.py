"""Devices with messages of their own, told apart by settings; and the names of sensors."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hilum.domain.errors import SettingsError
from hilum.domain.model import Reading, RejectReason
from hilum.ingest.sources import Place, Source, pointer_tokens, resolve
from hilum.ingest.topics import Kind, Router, name_problem

NOW = 1_764_061_200_000
STATE = Source(
    "shed/+/{sensor}/state",
    "home",
    {
        "temperature": Place("degC", "/air/temp"),
        "humidity": Place("fraction", "/air/hum"),
        "battery": Place("V", "/power/0/volt"),
    },
    time_pointer="/at",
)
PLAIN = Source("garden/{sensor}/temperature", "home", {"temperature": Place("degF")})


def state(**changes: object) -> bytes:
    """A message of the JSON device."""
    air = {"temp": 20.5, "hum": 0.4}
    message = {"air": air, "power": [{"volt": 3.1}], "at": NOW // 1000, **changes}
    return json.dumps(message).encode()


# RFC 6901 section 5 lists this document and what each pointer evaluates to.
DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", DOCUMENT),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_json_pointers_of_the_rfc(pointer: str, value: object) -> None:
    """RFC 6901 section 5: every pointer of its table leads to its value."""
    assert resolve(DOCUMENT, pointer_tokens(pointer)) == value


@pytest.mark.parametrize("pointer", ["/foo/-", "/foo/00", "/foo/2", "/foo/x", "/nope", "/foo/0/0"])
def test_json_pointers_that_lead_nowhere(pointer: str) -> None:
    """RFC 6901 section 4: no index beyond the end, none with a leading zero, none past a value."""
    assert resolve(DOCUMENT, pointer_tokens(pointer)) is None


def test_escapes_are_undone_in_order() -> None:
    """RFC 6901 section 4: ~01 is ~1, not a slash."""
    assert pointer_tokens("/~01") == ("~1",)


def test_json_message() -> None:
    """Values are found by their pointers and converted."""
    decoded = STATE.decode(state(), "home/a", NOW, origin="t")
    assert decoded.readings == (Reading("home/a", NOW, 20.5, 40.0, battery_v=3.1),)
    assert not decoded.by_arrival


@pytest.mark.parametrize(
    ("at", "time_ms"),
    [
        (NOW, NOW),
        (NOW / 1000, NOW),
        (str(NOW), NOW),
        ("2025-11-25T09:00:00Z", NOW),
        ("2025-11-25T10:00:00.250+01:00", NOW + 250),
    ],
)
def test_times_of_any_usual_kind(at: object, time_ms: int) -> None:
    """Seconds, milliseconds and ISO 8601 with an offset are told apart."""
    [reading] = STATE.decode(state(at=at), "home/a", NOW, origin="t").readings
    assert reading.time_ms == time_ms


@pytest.mark.parametrize("at", ["2025-11-25T09:00:00", "yesterday", True, [1], 0, "1e999"])
def test_times_that_say_nothing(at: object) -> None:
    """A time without a zone, or none at all, is refused rather than guessed."""
    decoded = STATE.decode(state(at=at), "home/a", NOW, origin="t")
    assert decoded.readings == ()
    assert {r.reason for r in decoded.rejects} == {RejectReason.TIME}


def test_a_message_without_its_time_is_dated_by_arrival() -> None:
    """Where the time is missing, arrival stands in; not for what the broker kept from before."""
    message = state(at=None)
    assert STATE.decode(message, "home/a", NOW, origin="t").by_arrival
    kept = STATE.decode(message, "home/a", NOW, origin="t", retained=True)
    assert [r.reason for r in kept.rejects] == [RejectReason.TIME]


@pytest.mark.parametrize(
    ("payload", "temp_c"), [(b"68.9", 20.5), (b" 32\n", 0.0), (b"-4.", -20.0), (b"+5e1", 10.0)]
)
def test_plain_numbers(payload: bytes, temp_c: float) -> None:
    """A payload that is nothing but a number; Fahrenheit is converted."""
    [reading] = PLAIN.decode(payload, "home/a", NOW, origin="t").readings
    assert reading == Reading("home/a", NOW, temp_c=temp_c)


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", RejectReason.SHAPE),
        (b"68,9", RejectReason.SHAPE),
        (b"true", RejectReason.SHAPE),
        (b"0x10", RejectReason.SHAPE),
        (b"1_0", RejectReason.SHAPE),
        (b"\xff", RejectReason.SHAPE),
        ("٣".encode(), RejectReason.SHAPE),
        (b"nan", RejectReason.NOT_A_NUMBER),
        (b"-Infinity", RejectReason.NOT_A_NUMBER),
        (b"1e999", RejectReason.NOT_A_NUMBER),
        (b"185", RejectReason.FAULT),
        (b"500", RejectReason.RANGE),
        (b" " * 262_145, RejectReason.TOO_LARGE),
    ],
)
def test_plain_numbers_that_are_none(payload: bytes, reason: RejectReason) -> None:
    """Anything else has its reason; 185 °F is the 85 °C of a probe that was just switched on."""
    decoded = PLAIN.decode(payload, "home/a", NOW, origin="t")
    assert decoded.readings == ()
    assert [r.reason for r in decoded.rejects] == [reason]


def test_one_bad_value_of_a_json_message_does_not_cost_the_others() -> None:
    """A humidity that is no number leaves the temperature."""
    message = state(air={"temp": "20.5", "hum": True})
    decoded = STATE.decode(message, "home/a", NOW, origin="t")
    assert decoded.readings == (Reading("home/a", NOW, 20.5, battery_v=3.1),)
    assert [r.reason for r in decoded.rejects] == [RejectReason.SHAPE]


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=60) | st.dictionaries(st.text(), st.floats()).map(json.dumps))
def test_any_payload_gives_readings_or_rejects(payload: bytes | str) -> None:
    """Whatever arrives, nothing is raised and something is said."""
    data = payload.encode() if isinstance(payload, str) else payload
    for source in (STATE, PLAIN):
        decoded = source.decode(data, "home/a", NOW, origin="t")
        assert decoded.readings or decoded.rejects


@pytest.mark.parametrize(
    ("topic", "places", "time_pointer"),
    [
        ("a/+/b", {"temperature": Place("degC")}, None),
        ("a/{sensor}/{sensor}", {"temperature": Place("degC")}, None),
        ("a/{sensor}/#", {"temperature": Place("degC")}, None),
        ("a/x{sensor}", {"temperature": Place("degC")}, None),
        ("a/{sensor}", {"battery": Place("V")}, None),
        ("a/{sensor}", {"temperature": Place("C")}, None),
        ("a/{sensor}", {"temperature": Place("degC"), "humidity": Place("%")}, None),
        ("a/{sensor}", {"temperature": Place("degC")}, "/t"),
        ("a/{sensor}", {"temperature": Place("degC", "t")}, None),
        ("a/{sensor}", {"temperature": Place("degC", "/~2")}, None),
    ],
)
def test_sources_that_cannot_work(
    topic: str, places: dict[str, Place], time_pointer: str | None
) -> None:
    """A setting that cannot work is refused at the start, naming what is wrong."""
    with pytest.raises(SettingsError, match=r"\{sensor\}|no temperature|known units|Pointer"):
        Source(topic, "home", places, time_pointer)


def test_topics_find_their_meaning() -> None:
    """Own topics name site and sensor; a source's level names the sensor of its site."""
    router = Router([STATE, PLAIN])
    assert router.filters() == (
        "hilum/+/+/readings",
        "hilum/+/+/status",
        "shed/+/+/state",
        "garden/+/temperature",
    )
    assert router.route("hilum/home/tub/readings").sensor == "home/tub"
    assert router.route("hilum/home/tub/status").kind is Kind.STATUS
    assert router.route("shed/north/tub/state").source is STATE
    assert router.route("garden/Cellar 2/temperature").sensor == "home/Cellar 2"
    assert router.route("garden/tub/humidity").problem


@pytest.mark.parametrize("name", ["tub-1", "Küche 2", "0a:1b.c_d", "ក្រុង", "x" * 64])
def test_names_that_are_taken(name: str) -> None:
    """Letters and digits of any script, spaces and a few signs."""
    assert name_problem(name) == ""


@pytest.mark.parametrize("name", ["", "..", "-a", "a ", "a\x07", "a<b", "a\u202eb", "x" * 65])
def test_names_that_are_refused(name: str) -> None:
    """Nothing that could mislead an address, a file name or a page."""
    assert name_problem(name).endswith(".")
    assert Router([]).route(f"hilum/home/{name}/readings").problem == name_problem(name)
