"""Pages seen at twice their size, and gone through by keyboard alone."""

import pytest
from playwright.sync_api import Browser, expect

from web.test_browser import PAGES, settle, tab

pytestmark = pytest.mark.browser

MOST_STOPS = 400
WORKED = ("/", "/boxes/drawer", "/lots", "/lots/L-0001", "/season/new", "/sensors", "/rules")

SEEN = """() => [...document.querySelectorAll(
  'a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex="0"]')]
  .filter((e) => e.checkVisibility({ visibilityProperty: true }) && !e.disabled)
  .filter((e) => e.type !== 'radio' || e.checked
    || !document.querySelector(`input[name="${e.name}"]:checked`))
  .map((e, k) => { e.dataset.stop = k; return e.type === 'radio' ? `radio ${e.name}` : `${k}`; })"""
HERE = """() => { const e = document.activeElement;
  if (!e || e === document.body) return '';
  return e.type === 'radio' ? `radio ${e.name}` : (e.dataset.stop ?? '?'); }"""


@pytest.mark.parametrize(("screen", "zoom"), [(1280, 2), (640, 2)])
def test_twice_as_large_nothing_lies_aside(
    browser: Browser, address: str, screen: int, zoom: int
) -> None:
    """Zoomed in, a page is laid out for half the width; only tables scroll, in their own frame."""
    with tab(browser, screen // zoom) as (page, _):
        for url in PAGES:
            page.goto(address + url)
            settle(page, url)
            assert page.evaluate("document.documentElement.scrollWidth") <= screen // zoom, url


@pytest.mark.parametrize("url", WORKED)
def test_the_keyboard_reaches_all_there_is(browser: Browser, address: str, url: str) -> None:
    """Tab comes by every link, button and field, each seen to have the focus, and ends."""
    with tab(browser, 1280) as (page, _):
        page.goto(address + url)
        settle(page, url)
        wanted = set(page.evaluate(SEEN))
        page.get_by_role("link", name="Skip to the page").focus()  # forms begin at their field
        came_by: list[str] = [page.evaluate(HERE)]
        for _ in range(MOST_STOPS):
            page.keyboard.press("Tab")
            here = page.evaluate(HERE)
            if not here or here == came_by[0]:
                break
            came_by.append(here)
        assert wanted - set(came_by) == set()
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Shift+Tab")
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline != "none"


def test_a_test_is_entered_by_keyboard_alone(browser: Browser, address: str) -> None:
    """From the page of a lot: Enter on its button, figures, Enter; what was done is told."""
    with tab(browser, 1280) as (page, complaints):
        page.goto(f"{address}/lots/L-0001")
        page.get_by_role("link", name="Germination test").press("Enter")
        expect(page.locator("h1")).to_contain_text("Germination test")
        page.get_by_label("Seeds sown").press("ControlOrMeta+a")
        page.keyboard.type("50")
        page.keyboard.press("Tab")
        page.keyboard.type("41")
        page.keyboard.press("Enter")
        expect(page.get_by_role("status")).to_contain_text("41 of 50")
        assert complaints == []
