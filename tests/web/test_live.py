"""Live values: the hub, and the stream as a page gets it."""

import asyncio
import json
import threading
from collections.abc import Iterator

import httpx
import pytest

from hilum.domain.model import Reading
from hilum.web import live
from hilum.web.live import MAX_LISTENERS, MOST_OF_A_LINK, Listener, LiveHub, stream
from hilum.web.parts import WebParts
from web.small_world import NOW_MS


async def shout(box: str) -> str | None:
    """Describe a box; there is nothing to say of the quiet one."""
    return None if box == "quiet" else box.upper()


def test_a_stream_ends_so_that_its_page_asks_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """After a while the page has to show again that it may see values."""
    monkeypatch.setattr(live, "MOST_S", 0.0)

    async def listen() -> list[str]:
        hub, listener = LiveHub(), Listener(["drawer"])
        assert hub.add(listener)
        return [text async for text in stream(hub, listener, shout)]

    assert asyncio.run(listen()) == ["retry: 3000\n\n"]


def test_boxes_published_from_other_threads_arrive_once() -> None:
    """A burst over one box becomes one message, whoever sends it."""

    async def scene() -> list[str]:
        hub = LiveHub()
        listener = Listener(["first", "quiet"])
        assert hub.add(listener)
        events = stream(hub, listener, shout)
        got = [await anext(events) for _ in range(2)]
        threads = [threading.Thread(target=hub.publish, args=("tub",)) for _ in range(50)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        got.append(await anext(events))
        hub.close()
        return got + [event async for event in events]

    assert asyncio.run(scene()) == [
        "retry: 3000\n\n",
        "event: box\ndata: FIRST\n\n",
        "event: box\ndata: TUB\n\n",
    ]


def test_a_page_of_one_box_hears_of_no_other() -> None:
    """Other boxes neither wake it nor reach it."""

    async def scene() -> list[str]:
        hub = LiveHub()
        listener = Listener([], ["tub"])
        hub.add(listener)
        hub.publish("jar")
        nothing = await listener.changed(0.05)
        hub.publish("jar")
        hub.publish("tub")
        return nothing + await listener.changed(5)

    assert asyncio.run(scene()) == ["tub"]


def test_a_closed_hub_takes_nobody_in() -> None:
    """A server that stops would wait for a page that came late."""

    async def scene() -> bool:
        hub = LiveHub()
        hub.close()
        return hub.add(Listener([]))

    assert asyncio.run(scene()) is False


def test_a_page_that_leaves_is_forgotten() -> None:
    """Room is made for others, and publishing to nobody is no error."""

    async def scene() -> int:
        hub = LiveHub()
        listener = Listener([])
        hub.add(listener)
        events = stream(hub, listener, shout)
        await anext(events)
        await events.aclose()  # type: ignore[attr-defined]
        hub.publish("tub")
        return sum(hub.add(Listener([])) for _ in range(MAX_LISTENERS + 5))

    assert asyncio.run(scene()) == MAX_LISTENERS


def test_a_shared_link_leaves_room_for_the_owner() -> None:
    """However many pages are opened by one link, others and the owner still get values."""

    async def scene() -> list[int]:
        hub = LiveHub()
        return [
            sum(hub.add(Listener([], link=link)) for _ in range(count))
            for link, count in ((1, 300), (2, 5), (None, 100))
        ]

    assert asyncio.run(scene()) == [MOST_OF_A_LINK, 5, 100]


def test_a_quiet_stream_says_that_it_is_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """Something is sent now and then, so that a dead connection is noticed."""
    monkeypatch.setattr("hilum.web.live.KEEP_ALIVE_S", 0.01)

    async def scene() -> str:
        hub = LiveHub()
        events = stream(hub, Listener([]), shout)
        await anext(events)
        return await anext(events)

    assert asyncio.run(scene()) == ": still here\n\n"


def messages(lines: Iterator[str]) -> Iterator[dict[str, object]]:
    """Read the JSON of each message."""
    for line in lines:
        if line.startswith("data: "):
            yield json.loads(line.removeprefix("data: "))


def test_a_new_page_gets_all_values_and_then_the_changes(address: str, parts: WebParts) -> None:
    """Over a real connection: first every box that has a value, then the one that changed."""
    with httpx.stream("GET", f"{address}/live", timeout=20) as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        assert "content-encoding" not in answer.headers
        found = messages(answer.iter_lines())
        first = {str(message["box"]) for message in (next(found), next(found), next(found))}
        assert first == {"drawer", "tub", "jar"}
        parts.store.add([Reading("lane/b2", NOW_MS - 1000, 21.5, 28.4)], NOW_MS)
        parts.live.publish("tub")
        changed = next(found)
    assert changed["box"] == "tub"
    assert (changed["temp_c"], changed["erh_pct"], changed["time_ms"]) == (
        21.5,
        28.4,
        NOW_MS - 1000,
    )
    assert changed["erh_words"] == "28\xa0% eRH".replace(" ", "\xa0")
    assert str(changed["words"]).startswith("28\xa0% now, in its band")


def test_a_stream_can_be_of_one_box(address: str) -> None:
    """Named boxes only are sent."""
    with httpx.stream("GET", f"{address}/live?box=tub", timeout=20) as answer:
        lines = answer.iter_lines()
        heard = [next(lines) for _ in range(4)]
    assert heard[:3] == ["retry: 3000", "", "event: box"]
    assert json.loads(heard[3].removeprefix("data: "))["box"] == "tub"


def test_a_box_that_is_gone_ends_no_stream(address: str, parts: WebParts) -> None:
    """A name nobody knows is passed over."""
    with httpx.stream("GET", f"{address}/live", timeout=20) as answer:
        found = messages(answer.iter_lines())
        for _ in range(3):
            next(found)
        parts.live.publish("vanished")
        parts.live.publish("drawer")
        assert next(found)["box"] == "drawer"
