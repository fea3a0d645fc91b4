"""Labels on the pages: for ticked lots and for boxes, with codes that lead where a phone gets."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.domain.model import Changes, Lot
from hilum.web.app import create_app
from hilum.web.parts import Doors, WebParts, WebSettings
from web.elements import Element, parse

URL = "/lots/labels"


@pytest.fixture
def told(parts: WebParts) -> WebParts:
    """A place that writes spreadsheets and labels, reached under two names."""
    sheets = Sheets(parts.store, parts.clock, "UTC")
    return replace(
        parts, sheets=lambda: sheets, doors=Doors(hosts=frozenset({"localhost", "seedbox"}))
    )


def labels(told: WebParts, query: str, host: str = "localhost") -> Element:
    """The page of labels, asked for under a name."""
    with TestClient(create_app(told), f"http://{host}:8420") as asking:
        answer = asking.get(f"{URL}{query}")
    assert answer.status_code == 200
    return parse(answer.text)


@pytest.fixture
def desk(told: WebParts) -> Iterator[TestClient]:
    """Ask that place."""
    with TestClient(create_app(told), "http://localhost") as asking:
        yield asking


def test_labels_of_ticked_lots(told: WebParts, desk: TestClient) -> None:
    """The list has a button for them; each has kind, variety and code, and text stays text."""
    told.store.change(Changes(lots=(Lot("<b>/1", "onion", "<i>Red</i>"),)))
    buttons = parse(desk.get("/lots").text).all("button", formaction=URL)
    assert [button.text for button in buttons] == ["Print their labels"]
    page = labels(told, "?lot=L-0001&lot=%3Cb%3E%2F1")
    cards = page.all("article", of="sticker")
    assert [card.one(of="sticker-code").text for card in cards] == ["L-0001", "<b>/1"]
    assert "<i>Red</i>" in cards[1].text
    assert len(labels(told, "").all("article")) == len(told.store.lots())


def test_the_code_leads_where_the_setting_says(told: WebParts) -> None:
    """With public_url the QR code holds it, under whatever name the page was asked for."""
    given = replace(told, settings=WebSettings(public_url="https://seeds.example"))
    page = labels(given, "?lot=L-0001&box=tub")
    codes = [card.one("svg").attrs["aria-label"] for card in page.all("article")]
    assert codes == [
        "QR code: https://seeds.example/lots/L-0001",
        "QR code: https://seeds.example/boxes/tub",
    ]


def test_without_the_setting(told: WebParts) -> None:
    """Asked for from elsewhere, that address serves; on this machine alone there is no code."""
    far = labels(told, "?lot=L-0001", "seedbox").one("article").one("svg")
    assert far.attrs["aria-label"] == "QR code: http://seedbox:8420/lots/L-0001"
    near = labels(told, "?lot=L-0001")
    assert not near.one("article").all("svg")
    assert near.one("article").one(of="sticker-code").text == "L-0001"
    assert "set public_url in the settings" in near.one("main").text


@pytest.mark.parametrize(("query", "status"), [("?lot=nope", 404), ("?box=nope", 404)])
def test_labels_of_nothing_there_is(desk: TestClient, query: str, status: int) -> None:
    """A lot or box that is not there is named as missing."""
    assert desk.get(f"{URL}{query}").status_code == status


def test_where_nobody_writes_labels(parts: WebParts) -> None:
    """There is no such page."""
    with TestClient(create_app(replace(parts, sheets=None)), "http://localhost") as client:
        assert client.get(URL).status_code == 404
