"""Things are done in a real browser: with a thumb, without JavaScript, and by keyboard alone."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from hilum.domain.model import EventType
from hilum.web.parts import WebParts
from web.browser import WIDTHS
from web.test_browser import tab

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_opening_and_fresh_desiccant_take_two_taps(
    browser: Browser, address: str, parts: WebParts, width: int
) -> None:
    """Without JavaScript; each is told with the way back, which works."""
    with tab(browser, width, script=False) as (page, complaints):
        page.goto(f"{address}/boxes/tub")
        page.get_by_role("button", name="Opened just now").click()
        expect(page.get_by_role("status")).to_contain_text("Opened")
        page.get_by_role("link", name="Fresh desiccant").click()
        page.get_by_label("How much, dry").fill("200")
        page.get_by_role("button", name="Note it").click()
        expect(page.get_by_role("status")).to_contain_text("200 g of silica gel")
        page.get_by_role("button", name="Take it back").click()
        expect(page.get_by_role("status")).to_contain_text("Taken back")
        page.get_by_role("link", name="Fresh desiccant").click()
        page.get_by_label("How much, dry").fill("180")
        page.get_by_role("button", name="Note it").click()
        page.get_by_role("link", name="Fresh desiccant").click()  # the next time
        page.get_by_role("button", name="Note it").click()  # as it was
        expect(page.get_by_role("status")).to_contain_text("180 g of silica gel")
        assert complaints == []
    kinds = [(event.type, event.struck) for event in parts.store.events(box="tub")[:4]]
    assert sorted(kinds) == sorted(
        [
            (EventType.OPENED, False),
            (EventType.SWAP, True),
            (EventType.SWAP, False),
            (EventType.SWAP, False),
        ]
    )


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_a_refused_form_keeps_everything_and_points_to_the_fault(
    browser: Browser, address: str, width: int
) -> None:
    """The field that is wrong has the focus, its words belong to it, and axe finds nothing."""
    with tab(browser, width) as (page, complaints):
        page.goto(f"{address}/lots/new")
        page.get_by_label("Kind of seed").fill("bean")
        page.get_by_label("Variety").fill("Blue Post")
        page.get_by_label("Germination on the packet").fill("88")
        page.get_by_role("button", name="Save the lot").click()
        expect(page.get_by_label("Kind of seed")).to_be_focused()
        expect(page.get_by_label("Kind of seed")).to_have_accessible_description(
            "“bean” fits more than one kind of seed. "
            "Common or botanical name; small slips do no harm."
        )
        expect(page.get_by_label("Variety")).to_have_value("Blue Post")
        assert Axe().run(page).violations_count == 0
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.get_by_label("Runner bean").check()
        page.get_by_role("button", name="Save the lot").click()
        expect(page.locator("h1")).to_have_text("Runner bean Blue Post")
        assert all("422" in text for text in complaints)  # the browser tells of the refusal


def test_lots_are_ticked_and_moved_with_a_thumb(
    browser: Browser, address: str, parts: WebParts
) -> None:
    """Two lots of the tub go into the jar; every target is large enough to be hit."""
    with tab(browser, 390, script=False) as (page, complaints):
        page.goto(f"{address}/boxes/tub")
        for name in ("Lot L-0002", "Lot L-0003"):
            box = page.get_by_label(name).locator("xpath=..").bounding_box()
            assert box is not None
            assert min(box["width"], box["height"]) >= 44
            page.get_by_label(name).check()
        page.get_by_role("button", name="Move the ticked lots").click()
        page.get_by_label("Jar in the fridge").check()
        page.get_by_role("button", name="Move").click()
        expect(page.locator("h1")).to_have_text("Jar in the fridge")
        assert complaints == []
    assert sum(s.to_ms is None for s in parts.store.stays(box="jar")) == 3


def test_a_sensor_is_claimed_and_a_lot_entered_by_keyboard_alone(
    browser: Browser, address: str, parts: WebParts
) -> None:
    """Tab, arrows, letters and Enter are enough, and the form begins at its first field."""
    with tab(browser, 1280) as (page, complaints):
        page.goto(f"{address}/sensors/claim?sensor=lane/spare")
        expect(page.get_by_label("Card-index drawer")).to_be_focused()
        for _ in range(3):
            page.keyboard.press("ArrowDown")
        page.keyboard.press("Enter")
        expect(page.locator("h1")).to_have_text("Shoebox of flowers")
        page.goto(f"{address}/lots/new")
        expect(page.get_by_label("Kind of seed")).to_be_focused()
        page.keyboard.type("leek")
        page.keyboard.press("Tab")
        page.keyboard.type("Grey Post")
        page.keyboard.press("Tab")
        page.keyboard.type("91,5")
        page.keyboard.press("Enter")
        expect(page.locator("h1")).to_have_text("Leek Grey Post")
        assert complaints == []
    assert parts.store.lots()[-1].label_pct == 91.5


def test_several_lots_in_a_row_keep_their_box(
    browser: Browser, address: str, parts: WebParts
) -> None:
    """The button for the next one keeps box and source, and says what was saved."""
    with tab(browser, 390, script=False) as (page, complaints):
        page.goto(f"{address}/boxes/tub")
        page.get_by_role("link", name="Add a lot here").click()
        page.get_by_text("More to say").click()
        page.get_by_label("Where it came from").fill("swap")
        for kind in ("radish", "carrot"):
            page.get_by_label("Kind of seed").fill(kind)
            page.get_by_role("button", name="Save and add another").click()
            expect(page.get_by_role("status")).to_contain_text(kind.title())
        assert complaints == []
    newest = parts.store.lots()[-2:]
    assert [(lot.kind, lot.source) for lot in newest] == [("radish", "swap"), ("carrot", "swap")]
    assert [parts.store.stays(lot=lot.code)[0].box for lot in newest] == ["tub", "tub"]


def test_a_form_of_another_site_does_nothing(
    browser: Browser, address: str, parts: WebParts
) -> None:
    """A page elsewhere that sends the form of ours by itself is refused by a real browser."""
    before = len(parts.store.events(box="tub"))
    with tab(browser, 1280) as (page, _):
        page.goto(address)  # the cookie is there
        elsewhere = "http://elsewhere.example"
        page.route(
            f"{elsewhere}/",
            lambda route: route.fulfill(
                content_type="text/html",
                body=f'<form method="post" action="{address}/boxes/tub/opened">'
                "<button>A prize</button></form>",
            ),
        )
        page.goto(f"{elsewhere}/")
        page.get_by_role("button", name="A prize").click()
        expect(page.locator("h1")).to_have_text("Nothing was done")
    assert len(parts.store.events(box="tub")) == before
