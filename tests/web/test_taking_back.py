"""On the pages, what was done is said with a button that takes it back."""

import pytest
from starlette.testclient import TestClient

from hilum.domain.model import Box, BoxType, Lot, Stay, Wrap
from hilum.web.parts import WebParts
from web.elements import Element
from web.sending import filled_in, send


def take_back(client: TestClient, page: Element) -> Element:
    """Press the button beside what was just done."""
    form = page.one(of="said").one("form")
    answer = client.post(form.attrs["action"], data=filled_in(form))
    assert answer.status_code == 200, answer.text
    return page


@pytest.mark.parametrize(
    ("url", "typed"),
    [
        ("/boxes/tub/edit", {"name": "Red tub", "target_high_pct": "33"}),
        ("/lots/L-0001/split", {"seeds": "10", "new_code": "S/1"}),
        ("/lots/L-0001/edit", {"variety": "Other"}),
    ],
)
def test_changes_are_taken_back(
    parts: WebParts, client: TestClient, url: str, typed: dict[str, str]
) -> None:
    """A corrected box, a split, a corrected lot: one press, and all is as before."""
    before = parts.store.boxes(), [lot for lot in parts.store.lots() if not lot.archived]
    page = send(client, url, 200, "", **typed)
    assert (parts.store.boxes(), list(parts.store.lots())) != before
    take_back(client, page)
    after = parts.store.boxes(), [lot for lot in parts.store.lots() if not lot.archived]
    assert after == before


def test_a_new_lot_is_taken_back(parts: WebParts, client: TestClient) -> None:
    """It is archived, and its box holds it no longer."""
    take_back(client, send(client, "/lots/new", kind="onion", code="N/1", box="tub"))
    assert parts.store.lot("N/1").archived
    assert [s for s in parts.store.stays(lot="N/1") if s.to_ms != s.from_ms] == []


def test_a_box_is_archived_on_the_pages(parts: WebParts, client: TestClient) -> None:
    """An empty one leaves the list and comes back; a full one says what lies in it."""
    refused = send(client, "/boxes/tub/archive", 422)
    assert "Move them first" in refused.one("main").text
    parts.store.save_box(Box("spare", "Spare", BoxType.JAR))
    page = send(client, "/boxes/spare/archive")
    assert parts.store.box("spare").archived
    assert "/boxes/spare" not in client.get("/").text
    take_back(client, page)
    assert not parts.store.box("spare").archived


def test_refusals_tell_the_time_as_clocks_here_do(parts: WebParts, client: TestClient) -> None:
    """A move before the lot arrived: since when it lies there, in Brussels, an hour ahead."""
    parts.store.save_lots([Lot("late", "onion")])
    parts.store.add_stay(Stay(0, "late", "tub", Wrap.PAPER, 1_763_820_000_000))
    refused = send(
        client, "/lots/move?lot=late", 422, "/lots/move", to="drawer", at="2025-11-20T08:00"
    )
    words = refused.one("main").text
    assert "was in Gasketed tub since 2025-11-22 15:00; give a later time" in words
