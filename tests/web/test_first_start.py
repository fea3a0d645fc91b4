"""From an empty place to a first lot with its viability: the page of boxes leads the way."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
from playwright.sync_api import Browser, Page, expect
from starlette.testclient import TestClient

from hilum.domain.model import Reading
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.stores.memory import MemoryStore
from hilum.web.app import create_app
from hilum.web.parts import WebParts
from web.elements import parse
from web.sending import send
from web.server import running
from web.small_world import NOW_MS

MOST_INTERACTIONS = 12
GRAVE = {"error", "warning"}  # the browser also notes that a quick hand came before its autofocus


@pytest.fixture
def new_place(parts: WebParts) -> WebParts:
    """A place where nothing was entered and nothing was heard; it keeps its ledger by itself."""
    store = MemoryStore()
    keeper = LedgerKeeper(store)

    def keep() -> None:
        keeper.ensure_curves()
        keeper.update()

    return replace(parts, store=store, changed=keep)


@pytest.fixture
def new_client(new_place: WebParts) -> Iterator[TestClient]:
    """Ask the new place without a network."""
    with TestClient(create_app(new_place), "http://localhost") as asking:
        yield asking


def speak(parts: WebParts) -> None:
    """Let a first sensor be heard."""
    parts.store.add([Reading("saltmarsh-lane/tub-1", NOW_MS - 60_000, 18.4, 31.0)], NOW_MS)


def test_each_step_follows_the_one_before(new_place: WebParts, new_client: TestClient) -> None:
    """Box, sensor, lot; what is done is marked, and after the lot the path is gone."""

    def states() -> list[str]:
        steps = parse(new_client.get("/").text).all("li", of="step")
        return [step.attrs["class"].split("-")[-1] for step in steps]

    assert states() == ["now", "later", "later"]
    send(new_client, "/", action="/boxes/new", name="Blue tub")
    assert states() == ["done", "now", "later"]
    page = parse(new_client.get("/").text)
    assert "hilum/saltmarsh-lane/NAME/readings" in [code.text for code in page.all("code")]
    assert "Nothing has been heard yet." in page.one("main").text
    speak(new_place)
    part = parse(new_client.get("/sensors/heard").text)
    assert part.one("h3").text == "saltmarsh-lane/tub-1"
    assert "18.4 °C, 31 % RH" in part.text
    send(new_client, "/", action="/sensors/claim")
    assert states() == ["done", "done", "now"]
    lot = send(new_client, "/", action="/lots/new", kind="onion", label_pct="92")
    assert lot.one("h1").text == "Onion"
    assert states() == []


def test_a_fault_on_the_way_leads_back_to_it(new_client: TestClient) -> None:
    """What was typed stands on a page of its own, and once mended the path goes on."""
    page = send(new_client, "/", 422, "/boxes/new", name=" ")
    assert page.one("h1").text == "Add a box"
    after = send(new_client, "/boxes/new", name="Blue tub")
    assert after.one("li", aria_current="step").one("h2").text == "Its sensor"


def test_without_a_sensor_one_may_go_on(new_client: TestClient) -> None:
    """Lots can be entered first; the demo is explained all the while."""
    assert "hilum demo" in parse(new_client.get("/").text).one("main").text
    send(new_client, "/", action="/boxes/new", name="Blue tub")
    links = parse(new_client.get("/").text).one("li", aria_current="step").all("a", of="do")
    assert [link.attrs["href"] for link in links] == ["/", "/lots/new"]


class Hand:
    """Counts what a person does."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.done = 0

    def fill(self, label: str, text: str) -> None:
        """Type into a field."""
        self.done += 1
        self.page.get_by_label(label, exact=True).fill(text)

    def press(self, name: str) -> None:
        """Press a button."""
        self.done += 1
        self.page.get_by_role("button", name=name).click()


@pytest.mark.browser
@pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
def test_a_newcomer_sees_a_first_lot_s_life_in_twelve_steps(
    browser: Browser, new_place: WebParts, script: bool
) -> None:
    """On a phone, from the first page to a viability, in at most twelve interactions."""
    with running(create_app(new_place), new_place.live) as address:
        context = browser.new_context(
            viewport={"width": 390, "height": 800}, has_touch=True, java_script_enabled=script
        )
        page = context.new_page()
        complaints: list[str] = []
        page.on(
            "console",
            lambda message: complaints.append(message.text) if message.type in GRAVE else None,
        )
        hand = Hand(page)
        page.goto(address)
        hand.fill("Name", "Blue tub")
        hand.press("Add the box")
        expect(page.get_by_text("Nothing has been heard yet.")).to_be_visible()
        speak(new_place)
        if not script:
            hand.done += 1
            page.get_by_role("link", name="Look again").click()
        hand.press("It stands in Blue tub")
        hand.fill("Kind of seed", "onoin")
        hand.fill("Germination on the packet", "92")
        hand.fill("Tested on", "2025-03-01")
        hand.press("Save the lot")
        expect(page.locator("h1")).to_have_text("Onion")
        expect(page.locator("article .headline")).to_contain_text("About ")
        expect(page.locator("svg.keeping-band")).to_be_visible()
        assert hand.done <= MOST_INTERACTIONS
        assert complaints == []
        context.close()
