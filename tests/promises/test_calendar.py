"""Nights in which an hour comes twice or not at all, and a second too many."""

import json
import time
from collections.abc import Iterator

import pytest

from hilum.domain.model import Reading
from hilum.ingest.decode import Decoder, Message
from hilum.ingest.topics import Router
from hilum.stores.memory import MemoryStore
from promises.truth import FAR_MS, add_boxes, check_derived, derived

MINUTE_MS = 60_000
NIGHTS = {
    "an hour twice": 1_761_436_800_000,  # 2025-10-26 00:00 UTC; in Brussels 03:00 becomes 02:00
    "an hour missing": 1_743_292_800_000,  # 2025-03-30 00:00 UTC; 02:00 becomes 03:00
}
LEAP_S = 1_483_228_800  # 2017-01-01 00:00 UTC, before which 23:59:60 was (IERS Bulletin C 52)


@pytest.fixture(params=["UTC", "Europe/Brussels", "Australia/Lord_Howe"])
def zone(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Let this machine stand in a time zone."""
    monkeypatch.setenv("TZ", request.param)
    time.tzset()
    yield request.param
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize("night", NIGHTS)
def test_nights_of_changed_clocks(zone: str, night: str) -> None:
    """Every hour is there once, none is estimated, and the ledger is as in any other zone."""
    found = []
    for place in (zone, "UTC"):
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("TZ", place)
            time.tzset()
            store = MemoryStore()
            add_boxes(store, {"home/one": "tub"})
            start_ms = NIGHTS[night]
            decoder = Decoder(Router(()), lambda _: True)
            for minute in range(0, 360, 10):
                now_ms = start_ms + minute * MINUTE_MS
                pack = [{"n": "temperature", "u": "Cel", "v": 15 + minute / 100},
                        {"n": "humidity", "u": "%RH", "v": 40}]  # fmt: skip
                message = Message("hilum/home/one/readings", json.dumps(pack).encode(), now_ms)
                store.add(decoder.decode(message).readings, now_ms)
            check_derived(store)
            hours = store.hours("home/one", 0, FAR_MS)
            assert hours.start_ms.tolist() == [
                start_ms + hour * 60 * MINUTE_MS for hour in range(6)
            ]
            found.append(derived(store))
    assert found[0] == found[1]


def test_a_leap_second() -> None:
    """The second that a clock shows twice: no reading without a time is lost or turned around."""
    decoder = Decoder(Router(()), lambda _: True)
    readings: list[Reading] = []
    for turn, second in enumerate((-2, -1, -1, 0, 1)):  # as most machines count it
        pack = [{"n": "temperature", "u": "Cel", "v": 20 + turn}]
        arrival_ms = (LEAP_S + second) * 1000
        message = Message("hilum/home/one/readings", json.dumps(pack).encode(), arrival_ms)
        readings += decoder.decode(message).readings
    times = [reading.time_ms for reading in readings]
    assert len(times) == 5
    assert times == sorted(set(times))
    assert [reading.temp_c for reading in readings] == [20, 21, 22, 23, 24]
    store = MemoryStore()
    assert store.add(readings, LEAP_S * 1000).stored == 5
