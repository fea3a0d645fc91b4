"""The contract with sensors: every message and setting it shows does what its text says."""

import json
import os
import re
import shlex
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

from cli.conftest import Run, hilum
from docs.test_docs import pages
from hilum.bootstrap.broker_rules import Grant, allowed, grants_of
from hilum.bootstrap.service import source_of
from hilum.config import settings_from
from hilum.domain.model import Reading, RejectReason
from hilum.ingest.decode import Decoder, Kept, Message
from hilum.ingest.screen import MAX_PAYLOAD
from hilum.ingest.senml import UNITS
from hilum.ingest.topics import Kind, Router

__all__ = ["hilum"]

NOTES = Path(__file__).resolve().parents[2] / "firmware_notes"
BROKER = NOTES.parent / "service" / "broker"
CONTRACT = (NOTES / "README.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
BLOCKS = BLOCK.findall(CONTRACT)
SHELL = [text for language, text in BLOCKS if language == "sh"]
AT_MS = 1_764_061_200_000  # the moment of the examples
NOW = AT_MS + 2_000
TUB = "home/tub-1"

EXAMPLES = {
    "one-moment.json": [Reading(TUB, AT_MS, 19.8, 27.4, 83.0)],
    "no-clock.json": [Reading(TUB, NOW, 19.8, 27.4, None, 2.91)],
    "after-an-outage.json": [
        Reading(TUB, AT_MS, 19.8, 27.4),
        Reading(TUB, AT_MS - 600_000, 19.7, 27.5),
        Reading(TUB, AT_MS - 1_200_000, 19.7, 27.6),
    ],
}
SHED = {"air": {"temp": 19.8, "hum": 0.274}, "power": [{"volt": 2.91}], "at": 1_764_061_200}
"""A message of a device with messages of its own."""


def router() -> Router:
    """Router with every source the contract shows."""
    shown = [tomllib.loads(text) for language, text in BLOCKS if language == "toml"]
    sources = [source for block in shown for source in block["sources"]]
    settings = settings_from({"sources": sources}, NOTES)
    return Router([source_of(source, "home") for source in settings.sources])


def said(topic: str, payload: bytes, now: int = NOW, decoder: Decoder | None = None) -> Kept:
    """What one message comes to."""
    return (decoder or Decoder(router(), lambda _: True)).decode(Message(topic, payload, now))


def own(payload: bytes) -> Kept:
    """What a message in Hilum's own form comes to."""
    return said(f"hilum/{TUB}/readings", payload)


def test_every_example_is_known_here() -> None:
    """Each file of examples has its meaning above, and the text links to it."""
    files = {path.name for path in (NOTES / "examples").iterdir()}
    assert files == EXAMPLES.keys()
    assert all(f"(examples/{name})" in CONTRACT for name in files)


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples(name: str) -> None:
    """An example gives the readings its paragraph promises, and none is refused."""
    kept = own((NOTES / "examples" / name).read_bytes())
    assert list(kept.readings) == EXAMPLES[name]
    assert kept.rejects == ()


def test_blocks_of_the_text() -> None:
    """Every JSON block is one of the examples; the languages of all blocks are tested here."""
    known = [json.loads((NOTES / "examples" / name).read_text("utf-8")) for name in EXAMPLES]
    shown = [json.loads(text) for language, text in BLOCKS if language == "json"]
    assert shown
    assert [block for block in shown if block not in known] == [SHED]
    assert {language for language, _ in BLOCKS} == {"json", "toml", "sh"}


def test_the_readme_shows_a_message_that_is_read() -> None:
    """The message on the first page of the project is read as well."""
    text = (NOTES.parent / "README.md").read_text(encoding="utf-8")
    [block] = [text for language, text in BLOCK.findall(text) if language == "json"]
    assert own(block.encode()).readings == (Reading(TUB, NOW, 19.8, 27.4),)


def test_sending_without_a_broker(hilum: Run, tmp_path: Path) -> None:
    """The command of the text sends its example by HTTP and gets the answer of the table."""
    if shutil.which("curl") is None:
        pytest.skip("curl is not installed (Debian package curl)")
    [command] = [text for text in SHELL if text.startswith("curl")]
    [make] = re.findall(r"`hilum (tokens add .+?)`", CONTRACT.replace("\n", " "))
    token = re.findall(r"\b[\w-]{20,}", hilum(*shlex.split(make)).out)[0]
    [promised] = re.findall(r"^\| 200 \| .*?`(\{.*?\})`", CONTRACT, re.MULTILINE)
    with pages(tmp_path / "data") as address:
        done = subprocess.run(
            ["sh", "-c", re.sub(r"http://[\d.]+:\d+", address, command)],
            cwd=NOTES,
            env={**os.environ, "TOKEN": token},
            check=True,
            capture_output=True,
        )
    assert json.loads(done.stdout) == json.loads(promised)


def test_rights_of_a_device_that_is_not_ours() -> None:
    """The rules that the text adds let the device speak and its owner listen, and no more."""
    [line] = re.findall(r"^(printf .+?) \|", "\n".join(SHELL), re.MULTILINE)
    rules = subprocess.run(["sh", "-c", line], check=True, capture_output=True, text=True).stdout
    device, owner = (list(grants_of(rules, user, "")) for user in ("bed", "me"))
    speak, listen = Grant("write", "garden/bed/temperature"), Grant("read", "shed/+/+/state")
    assert (allowed(device, speak), allowed(device, listen)) == (True, False)
    assert (allowed(owner, speak), allowed(owner, listen)) == (False, True)


def test_plain_numbers() -> None:
    """°F and % in two topics of one sensor become one reading in °C and %."""
    decoder = Decoder(router(), lambda _: True)
    first = said("garden/tub-1/temperature", b"67.64", decoder=decoder)
    second = said("garden/tub-1/humidity", b"27.4", NOW + 500, decoder)
    assert [*first.readings, *second.readings] == [
        Reading(TUB, NOW, pytest.approx(19.8), None),  # type: ignore[arg-type]
        Reading(TUB, NOW, None, 27.4),
    ]


def test_json_by_pointers() -> None:
    """Each value is found by its pointer, a fraction becomes %, and the time is taken."""
    kept = said("shed/north/tub-1/state", json.dumps(SHED).encode())
    assert kept.readings == (Reading(TUB, AT_MS, 19.8, 27.4, None, 2.91),)


def test_every_source_shown_is_reached() -> None:
    """The topics above reach every source of the text, and the filters name the sensor by +."""
    found = router()
    topics = ("garden/tub-1/temperature", "garden/tub-1/humidity", "shed/north/tub-1/state")
    assert [found.route(topic).source for topic in topics] == list(found.sources)
    assert found.filters() == (
        *("hilum/+/+/readings", "hilum/+/+/status"),
        *("garden/+/temperature", "garden/+/humidity", "shed/+/+/state"),
    )


def test_topics() -> None:
    """The topics of the text are those that are listened to, and name the sensor."""
    for last, kind in (("readings", Kind.READINGS), ("status", Kind.STATUS)):
        assert f"`hilum/<site>/<sensor>/{last}`" in CONTRACT
        route = router().route(f"hilum/home/tub-1/{last}")
        assert (route.kind, route.sensor, route.problem) == (kind, TUB, "")
    assert router().route("hilum/home/tub-1/other").problem


@pytest.mark.parametrize("word", ["online", "offline"])
def test_presence(word: str) -> None:
    """Both words of the text are understood."""
    assert f"`{word}`" in CONTRACT
    presence = said(f"hilum/{TUB}/status", word.encode()).presence
    assert presence is not None
    assert (presence.sensor, presence.online) == (TUB, word == "online")


def test_units_of_the_table() -> None:
    """The table of names and units is the one the ingest reads by."""
    rows = re.findall(r"^\| `(\w+)` \| (.*?) \|", CONTRACT, re.MULTILINE)
    told = {(name, unit) for name, units in rows for unit in re.findall(r"`(.+?)`", units)}
    assert told == set(UNITS)


def test_size_of_a_message() -> None:
    """The size the text allows is the size that is read; one byte more is refused."""
    assert "at most 256 KiB" in CONTRACT
    assert MAX_PAYLOAD == 256 * 1024
    pack = (NOTES / "examples" / "no-clock.json").read_bytes()
    assert own(pack.ljust(MAX_PAYLOAD)).readings
    assert [r.reason for r in own(pack.ljust(MAX_PAYLOAD + 1)).rejects] == [RejectReason.TOO_LARGE]


def test_names_with_a_prefix() -> None:
    """The last part of a name counts, as in the prefix the text shows."""
    [name] = re.findall(r"`(urn:\S+)`", CONTRACT)
    record = {"n": name, "u": "Cel", "v": 19.8}
    assert own(json.dumps([record]).encode()).readings == (Reading(TUB, NOW, 19.8, None),)


@pytest.mark.parametrize(
    ("seconds", "time_ms"), [(-600, NOW - 600_000), (0, NOW), (1_764_061_200, AT_MS)]
)
def test_times(seconds: int, time_ms: int) -> None:
    """Below 2^28 a time is relative to the arrival, from there on seconds since 1970 UTC."""
    record = {"n": "temperature", "u": "Cel", "v": 19.8, "t": seconds}
    assert own(json.dumps([record]).encode()).readings == (Reading(TUB, time_ms, 19.8, None),)


@pytest.mark.parametrize("seconds", [1, 946_684_800, NOW // 1000 + 3_700])
def test_clocks_that_are_wrong(seconds: int) -> None:
    """A clock that counts from its start, stands at 2000 or runs ahead is refused, with words."""
    record = {"n": "temperature", "u": "Cel", "v": 19.8, "t": seconds}
    kept = own(json.dumps([record]).encode())
    assert kept.readings == ()
    assert [reject.reason for reject in kept.rejects] == [RejectReason.TIME]
    assert "clock" in kept.rejects[0].detail


def test_the_broker_lets_the_contract_through() -> None:
    """The example of access rules names exactly the topics of the contract."""
    rules = (BROKER / "acl.example").read_text(encoding="utf-8").splitlines()
    given = [rule.split()[1:] for rule in rules if rule.startswith("topic ")]
    assert ["read", "hilum/+/+/readings"] in given
    assert ["read", "hilum/+/+/status"] in given
    assert ["write", "hilum/home/tub-1/readings"] in given
    assert ["write", "hilum/home/tub-1/status"] in given
