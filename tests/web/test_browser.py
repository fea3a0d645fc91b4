"""The pages in a real browser, on a phone and on a desk, by day and by night."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from hilum.domain.model import Reading
from hilum.web.parts import WebParts
from web.browser import SCHEMES, WIDTHS
from web.small_world import NOW_MS

pytestmark = pytest.mark.browser

PAGES = (
    "/",
    "/boxes/drawer?did=2",
    "/boxes/new",
    "/boxes/tub/edit",
    "/boxes/tub/swap",
    "/lots",
    "/lots/L-0001?did=3",
    "/lots/L-0001/test",
    "/lots/new?did=3&lot=L-0001",
    "/lots/move?lot=L-0002&lot=L-0003",
    "/lots?order=use-first",
    "/lots/L-0001/compare",
    "/boxes/tub/compare",
    "/boxes/drawer/review",
    "/season",
    "/season/new",
    "/settings",
    "/journal",
    "/sensors",
    "/sensors/claim?sensor=lane/spare",
    "/strike?did=1&box=tub",
    "/sure",
    "/nowhere",
)
Scheme = Literal["light", "dark"]


@contextmanager
def tab(
    browser: Browser, width: int, scheme: Scheme = "light", *, script: bool = True
) -> Iterator[tuple[Page, list[str]]]:
    """Open a tab that collects what the console complains about."""
    context = browser.new_context(
        viewport={"width": width, "height": 800},
        color_scheme=scheme,
        java_script_enabled=script,
        has_touch=width < 500,
    )
    page = context.new_page()
    complaints: list[str] = []
    page.on(
        "console",
        lambda message: (
            complaints.append(message.text) if message.type in {"error", "warning"} else None
        ),
    )
    page.on("pageerror", lambda error: complaints.append(str(error)))
    try:
        yield page, complaints
    finally:
        context.close()


def settle(page: Page, url: str) -> None:
    """Wait until a page has done what it does at first."""
    if page.locator("[data-chart]").count():
        expect(page.locator(".plot canvas")).to_have_count(3)
    if url == "/":
        expect(page.locator("[data-live=status]")).to_have_text("Values move as readings arrive.")


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_every_page_is_clean_fits_and_can_be_read_by_all(
    browser: Browser, address: str, width: int, scheme: Scheme
) -> None:
    """No complaint in the console, nothing wider than the screen, no finding of axe."""
    with tab(browser, width, scheme) as (page, complaints):
        for url in PAGES:
            page.goto(address + url)
            settle(page, url)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, url
            found = Axe().run(page)
            assert found.violations_count == 0, f"{url}: {found.generate_report()}"
        missing = [text for text in complaints if "404" in text]
        assert complaints == missing
        assert len(missing) == 1  # /nowhere itself


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_pages_work_without_javascript(browser: Browser, address: str, width: int) -> None:
    """Values, the drawn history, its spans and its table are there all the same."""
    with tab(browser, width, script=False) as (page, complaints):
        page.goto(address)
        expect(page.locator("article.packet")).to_have_count(4)
        page.get_by_role("link", name="Card-index drawer").click()
        expect(page.locator(".panel-svg")).to_have_count(3)
        expect(page.locator(".panel-svg").first).to_be_visible()
        page.get_by_role("link", name="Month").click()
        expect(page.locator(".ranges [aria-current]")).to_have_text("Month")
        page.get_by_text("The same as a table").first.click()
        expect(page.locator("details").get_by_role("row")).to_have_count(1 + 31)
        page.goto(f"{address}/lots")
        page.get_by_label("Find a lot").fill("pea")
        page.get_by_role("button", name="Find").click()
        expect(page.locator("tbody tr")).to_have_count(1)
        assert complaints == []


def test_a_new_reading_moves_the_value_on_an_open_page(
    browser: Browser, address: str, parts: WebParts
) -> None:
    """The figure, the marker, its words and the age follow, without a reload."""
    with tab(browser, 390) as (page, complaints):
        page.goto(address)
        settle(page, "/")
        tub = page.locator("[data-box=tub]")
        expect(tub.locator("[data-live=age]")).to_have_text("10\xa0min ago")
        parts.store.add([Reading("lane/b2", NOW_MS, 21.5, 44.0)], NOW_MS)
        parts.live.publish("tub")
        expect(tub.locator("[data-live=erh]")).to_have_text("44\xa0%\xa0eRH")
        expect(tub.locator("[data-live=temp]")).to_have_text("21.5\xa0°C")
        expect(tub.locator("[data-live=marker]")).to_have_attribute("x", "44%")
        expect(tub.locator("[data-live=age]")).to_have_text("just now")
        expect(tub.locator("[data-live=stamp]")).to_have_text("Above band")
        expect(tub.get_by_role("img", name="44 % now, above its band")).to_be_visible()
        assert complaints == []


def test_the_history_can_be_pointed_at_and_seen_closer(browser: Browser, address: str) -> None:
    """A place tells its date and values; dragging shows a part; a button goes back."""
    with tab(browser, 1280) as (page, complaints):
        page.goto(f"{address}/boxes/drawer")
        settle(page, "/boxes/drawer")
        expect(page.locator(".drawn")).to_be_hidden()
        plot = page.locator(".plot .u-over").first
        plot.scroll_into_view_if_needed()
        area = plot.bounding_box()
        assert area is not None
        page.mouse.move(area["x"] + 120, area["y"] + 60)
        readout = page.locator(".readout")
        expect(readout).to_contain_text("2025-11-1")
        for words in ("Humidity", "% eRH", "Temperature", "°C", "Seed moisture"):
            expect(readout).to_contain_text(words)
        back = page.get_by_role("button", name="Show the whole span again")
        expect(back).to_be_hidden()
        page.mouse.down()
        page.mouse.move(area["x"] + 320, area["y"] + 60)
        page.mouse.up()
        expect(back).to_be_visible()
        back.click()
        expect(back).to_be_hidden()
        assert complaints == []


def test_print_shows_the_drawn_history(browser: Browser, address: str) -> None:
    """On paper stand the panels of the server, in ink, and not the canvas."""
    with tab(browser, 1280, "dark") as (page, _):
        page.goto(f"{address}/boxes/drawer")
        settle(page, "/boxes/drawer")
        page.emulate_media(media="print")
        expect(page.locator(".panel-svg").first).to_be_visible()
        expect(page.locator(".plots")).to_be_hidden()
        colour = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert colour == "rgb(255, 255, 255)"


def test_the_keyboard_reaches_the_page_first(browser: Browser, address: str) -> None:
    """The first stop leads past the list of pages."""
    with tab(browser, 1280) as (page, _):
        page.goto(address)
        page.keyboard.press("Tab")
        expect(page.get_by_role("link", name="Skip to the page")).to_be_focused()
        page.keyboard.press("Enter")
        expect(page.locator("main")).to_be_focused()
