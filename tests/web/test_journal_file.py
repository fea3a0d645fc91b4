"""The journal as a file: all of it, or what is looked at, safe for spreadsheet programs."""

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.domain.model import Event, EventType
from hilum.web.app import create_app
from hilum.web.parts import WebParts
from web.elements import parse
from web.small_world import NOW_MS


@pytest.fixture
def client(parts: WebParts) -> Iterator[TestClient]:
    """Ask an application that can write tables."""
    sheets = Sheets(parts.store, parts.clock, "Europe/Brussels")
    with TestClient(
        create_app(replace(parts, sheets=lambda: sheets)), "http://localhost"
    ) as asking:
        yield asking


def lines(client: TestClient, query: str = "") -> list[dict[str, str]]:
    """Read the file as a spreadsheet program would."""
    answer = client.get(f"/journal/export.csv{query}")
    assert answer.status_code == 200
    assert "journal.csv" in answer.headers["content-disposition"]
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))


def test_every_line_stands_in_it(parts: WebParts, client: TestClient) -> None:
    """More lines than any page shows, oldest first, each with all that is kept about it."""
    for minute in range(1_300):
        parts.store.add_event(Event(0, NOW_MS - minute * 60_000, EventType.OPENED, "tub"))
    struck = parts.store.add_event(
        Event(
            0, NOW_MS, EventType.SWAP, "tub", "L-0002", "lane/b2", "=1+1, “gel”\nand more",
            (("grams", 200.0), ("desiccant", "silica-gel")),
        )
    )  # fmt: skip
    parts.store.strike_event(struck.id)
    found = lines(client)
    kept = parts.store.events(limit=10_000)
    assert [int(line["Number"]) for line in found] == [event.id for event in reversed(kept)]
    (last,) = (line for line in found if line["Number"] == str(struck.id))
    assert last["Time"] == "2025-11-25T10:12:00+01:00"
    assert (last["What"], last["Box"], last["Lot"]) == ("swap", "tub", "L-0002")
    assert (last["Sensor"], last["Taken back"]) == ("lane/b2", "yes")
    assert last["Words"] == "'=1+1, “gel”\nand more"  # text to every program, not a formula
    assert json.loads(last["Figures"]) == {"grams": 200.0, "desiccant": "silica-gel"}


def test_it_holds_what_is_looked_at(parts: WebParts, client: TestClient) -> None:
    """The page offers the file of its own choice of box, lot and kind."""
    parts.store.add_event(Event(0, NOW_MS, EventType.NOTE, "tub", text="by the door"))
    page = parse(client.get("/journal?box=tub&type=note").text)
    (url,) = [a.attrs["href"] for a in page.all("a") if "export.csv" in a.attrs["href"]]
    assert [line["Words"] for line in lines(client, url.partition("export.csv")[2])] == [
        "by the door"
    ]
    assert {line["Lot"] for line in lines(client, "?lot=L-0001")} == {"L-0001"}
