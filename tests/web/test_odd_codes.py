"""Lots with any code have a page, and everything that can be done to them can be done."""

from collections.abc import Iterator
from dataclasses import replace
from urllib.parse import unquote, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Changes, Lot, Stay, Wrap
from hilum.keeping.care.register import check_code, in_address, out_of_address
from hilum.sheets.labels import lot_labels
from hilum.web.app import create_app
from hilum.web.parts import WebParts
from web.elements import Element, parse
from web.sending import filled_in, send

CODES = (
    *("A/1", "ä b", "?x=1", "../etc", "%2F", "new", "move", "import", "export.csv", "..", ".", "~"),
    *("A/edit", "A/test", "a#b", "a&b=c", "a+b", "種-1", "<b>", 'a"b', "L~2F1", "a\\b", "new/edit"),
)


@pytest.fixture
def client(parts: WebParts) -> Iterator[TestClient]:
    """Ask a place that also prints labels."""
    told = replace(parts, sheets=lambda: Sheets(parts.store, parts.clock, "UTC"))
    with TestClient(create_app(told), "http://localhost", raise_server_exceptions=False) as asking:
        yield asking


@pytest.mark.parametrize("code", CODES)
def test_every_code_has_its_pages(parts: WebParts, client: TestClient, code: str) -> None:
    """The lot's page, its forms, its journal, and the way there from lists and labels."""
    parts.store.change(
        Changes(
            lots=(Lot(code, "onion", "Odd", seeds=90.0),),
            stays=(Stay(0, code, "tub", Wrap.PAPER, 1),),
        )
    )
    links = [a.attrs["href"] for a in parse(client.get("/lots?q=Odd").text).all("a")]
    (url,) = [link for link in links if link == f"/lots/{in_address(code)}"]
    page = parse(client.get(url).text)
    assert page.one(of="stamp-code").text == code
    assert urlsplit(lot_labels(parts.store, [code], "http://h")[0].address).path == url
    for link in page.one(of="doing").all("a"):
        assert client.get(link.attrs["href"]).status_code == 200, link.attrs["href"]
    after = send(client, f"{url}/use", seeds="10")
    assert after.one(of="stamp-code").text == code
    assert parts.store.lot(code).seeds == 80.0
    client.post("/strike", data=filled_in(after.one(of="said").one("form")))
    assert parts.store.lot(code).seeds == 90.0
    journal = parse(client.get("/journal").text)
    assert [a for a in journal.all("a", href=url) if a.text == f"lot {code}"]
    send(client, f"{url}/note", text="seen")
    moved = send(client, "/lots/move?" + link_query(page.one(of="doing").all("a")), to="drawer")
    assert parts.store.stays(lot=code)[-1].box == "drawer"
    assert moved.one(of="stamp-code").text == code


def link_query(links: list[Element]) -> str:
    """What the link to the move of a lot asks with."""
    urls = [str(link.attrs["href"]) for link in links]
    return next(urlsplit(url).query for url in urls if url.startswith("/lots/move"))


@given(st.text(min_size=1, max_size=40))
def test_addresses_give_the_code_back(code: str) -> None:
    """One part of a path, whatever is in it, after the quoting is undone as servers do."""
    try:
        part = in_address(code)
    except UnicodeEncodeError:
        return  # half a letter: no store keeps it
    undone = unquote(part)
    assert out_of_address(undone) == code
    assert not {"/", "?", "#", "%", "\\"} & set(undone)
    assert undone.strip(".")
    assert undone not in {"new", "move", "import", "labels", "export.csv"}


@pytest.mark.parametrize("code", ["", " ", "x" * 41, "a\nb", "\x07"])
def test_codes_no_label_could_carry(parts: WebParts, client: TestClient, code: str) -> None:
    """They are refused beside their field where a lot is entered or split, like one in use."""
    with pytest.raises(InvalidInputError):
        check_code(code, [], "code")
    known = parts.store.lots()[0].code
    refused = send(client, "/lots/new", 422, kind="onion", code=known)
    assert "already" in refused.one(of="wrong").text


def test_a_code_with_a_slash_is_entered_and_split(parts: WebParts, client: TestClient) -> None:
    """Both on the pages."""
    send(client, "/lots/new", kind="onion", code="23/7", seeds="50")
    send(client, f"/lots/{in_address('23/7')}/split", seeds="20", new_code="23/7 b")
    assert replace(parts.store.lot("23/7 b"), code="") == replace(
        parts.store.lot("23/7"), code="", seeds=20.0
    )
