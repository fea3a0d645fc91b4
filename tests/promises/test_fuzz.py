"""Whatever arrives at an edge, the answer is a record or a sentence: a few cases, or very many.

The few are the same at every run; the many are others each time.
"""

import csv
import io
import json
import tomllib
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hilum.config import Settings, load_settings, settings_from
from hilum.domain.errors import SettingsError
from hilum.ingest.decode import Decoder, Message
from hilum.ingest.senml import decode_senml
from hilum.ingest.sources import Place, Source
from hilum.ingest.topics import Router
from ingest.test_senml import JSON, NEAR, NOW, holds
from sheets.messy import CASES
from sheets.test_anything import CELLS, HEADINGS, answered

FEW, MANY = 150, 100_000
SOURCES = (
    Source("garden/{sensor}/temperature", "home", {"temperature": Place("degF")}),
    Source("shed/{sensor}", "home", {"humidity": Place("%", "/a/0"), "battery": Place("V", "/b")}),
    Source("timed/{sensor}", "home", {"temperature": Place("K", "/t")}, time_pointer="/at"),
)
TOPICS = st.sampled_from(
    [
        *("hilum/home/tub/readings", "hilum/home/tub/status", "hilum/home/arrived"),
        *("garden/tub/temperature", "shed/tub", "timed/tub", "hilum/home//readings", "", "/"),
    ]
) | st.text(max_size=30)
PAYLOADS = (
    st.binary(max_size=300)
    | (st.lists(NEAR | JSON, max_size=5) | JSON).map(lambda each: json.dumps(each).encode())
    | st.fixed_dictionaries({}, optional=dict.fromkeys(("a", "b", "t", "at", "since"), JSON)).map(
        lambda each: json.dumps(each).encode()
    )
    | (st.floats() | st.integers()).map(lambda each: str(each).encode())
    | st.sampled_from([b"online", b"OFFLINE ", b"nan", b"1e999", b"0x10", b"\xff"])
)
MESSAGES = st.builds(
    Message,
    topic=TOPICS | st.none(),
    payload=PAYLOADS,
    received_ms=st.integers(NOW - 10**9, NOW),
    retained=st.booleans(),
    raw_topic=st.binary(max_size=9),
)


def decoded(messages: list[Message]) -> None:
    """One after the other, as a decoder sees them; what comes out can be stored."""
    decoder = Decoder(Router(SOURCES), lambda _: True)
    for message in messages:
        kept = decoder.decode(message)
        for reading in kept.readings:
            assert "/" in reading.sensor
            assert 0 < reading.time_ms <= NOW + 3_700_000
        for reject in kept.rejects:
            assert reject.detail.encode()
            assert reject.topic.isprintable()
            assert len(reject.payload) <= 2000


def senml(pack: object) -> None:
    """Readings in range, and rejects."""
    data = pack if isinstance(pack, bytes) else json.dumps(pack).encode()
    holds(decode_senml(data, "home/tub", NOW))


def _table(headings: list[str], rows: list[list[str]], delimiter: str) -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter).writerows([["Kind", *headings], *rows])
    return text.getvalue().encode("utf-8", "replace")


def _damaged(name: str, at: int, byte: int, *, cut: bool) -> bytes:
    data = CASES[name].data
    place = at % len(data)
    return data[:place] if cut else data[:place] + bytes([byte]) + data[place + 1 :]


SHEETS = (
    st.binary(max_size=400)
    | st.builds(
        _table,
        st.lists(st.sampled_from(HEADINGS), min_size=2, max_size=8),
        st.lists(st.lists(CELLS, max_size=9), max_size=6),
        st.sampled_from(",;\t"),
    )
    | st.builds(
        _damaged,
        st.sampled_from(sorted(CASES)),
        st.integers(0, 10_000),
        st.integers(0, 255),
        cut=st.booleans(),
    )
)
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=12)
    | st.sampled_from(["127.0.0.1", "UTC", "http://[", "https://a", "C", "5", "+/#", "home"])
    | st.datetimes(),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["topic", "temperature", "unit", "pointer", "mail_to", "quiet_from"])
            | st.text(max_size=5),
            inner,
            max_size=3,
        )
    ),
    max_leaves=5,
)
NAMES = sorted(set(Settings.model_fields) - {"data_dir"})
FILES = st.dictionaries(st.sampled_from(NAMES) | st.text(max_size=6), VALUES, max_size=4)
LINES = st.lists(
    st.tuples(st.sampled_from(NAMES), st.text(max_size=20) | st.sampled_from(["1", '"x"', "[]"])),
    max_size=4,
).map(lambda pairs: "\n".join(f"{name} = {value}" for name, value in pairs).encode("utf-8"))


@pytest.fixture
def edges(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Any, Callable[..., None]]]:
    """What is given at each edge, and what must hold of the answer."""
    folder = tmp_path_factory.mktemp("settings")

    def table(values: dict[str, Any]) -> None:
        _settled(lambda: settings_from(values, folder))

    def file(data: bytes) -> None:
        (folder / "hilum.toml").write_bytes(data)
        _settled(lambda: load_settings(folder))

    return {
        "mqtt": (st.lists(MESSAGES, max_size=4), decoded),
        "senml": (st.lists(NEAR | JSON, max_size=5) | JSON | st.binary(max_size=200), senml),
        "sheets": (SHEETS, answered),
        "settings": (FILES, table),
        "settings file": (st.binary(max_size=80) | LINES, file),
    }


def _settled(read: Callable[[], Settings]) -> None:
    try:
        found = read()
    except SettingsError as error:
        assert str(error).encode()  # noqa: PT017 - either answer will do
        assert "Traceback" not in str(error)  # noqa: PT017 - idem
        return
    assert tomllib.loads(f"site = {json.dumps(found.site)}")["site"] == found.site


def go_through(edge: tuple[Any, Callable[..., None]], cases: int) -> None:
    """Give so many cases to an edge."""
    strategy, hold = edge

    @settings(
        max_examples=cases,
        derandomize=cases == FEW,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(case=strategy)
    def run(case: object) -> None:
        hold(case)

    run()


EDGES = ("mqtt", "senml", "sheets", "settings", "settings file")


@pytest.mark.parametrize("name", EDGES)
def test_some_cases(name: str, edges: dict[str, tuple[Any, Callable[..., None]]]) -> None:
    """Nothing is raised but errors in words."""
    go_through(edges[name], FEW)


@pytest.mark.slow
@pytest.mark.parametrize("name", EDGES)
def test_a_hundred_thousand_cases(
    name: str, edges: dict[str, tuple[Any, Callable[..., None]]]
) -> None:
    """The same, a hundred thousand times."""
    go_through(edges[name], MANY)
