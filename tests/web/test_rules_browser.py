"""Rules are set in a real browser, without JavaScript."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from hilum.domain.alerts import RuleSetting
from hilum.web.parts import WebParts
from web.browser import WIDTHS
from web.test_browser import tab

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_a_limit_is_set_and_put_back_with_one_tap(
    browser: Browser, address: str, parts: WebParts, width: int
) -> None:
    """From the box to its rules, a slip pointed to, the limit saved, and back to the usual."""
    with tab(browser, width, script=False) as (page, complaints):
        page.goto(f"{address}/boxes/tub")
        page.get_by_role("link", name="Alerts of this box").click()
        page.get_by_role("link", name="Change Damp").click()
        page.get_by_label("Over again at").fill("29")
        page.get_by_label("Limit").fill("28")
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_label("Over again at")).to_be_focused()
        expect(page.get_by_label("Limit")).to_have_value("28")
        page.get_by_label("Over again at").fill("25")
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_role("status")).to_contain_text("limit 28 %, over at 25 %")
        assert parts.store.rule_settings() == [RuleSetting("damp", "tub", 28.0, 25.0)]
        page.get_by_role("button", name="As in all boxes").click()
        expect(page.get_by_role("status")).to_contain_text("as usual again")
        assert all("422" in text for text in complaints)
    assert not parts.store.rule_settings()


def test_rules_can_be_read_by_all(browser: Browser, address: str) -> None:
    """Axe finds nothing, and nothing is wider than a phone."""
    with tab(browser, 390) as (page, complaints):
        for path in ("/rules", "/rules?box=tub", "/rules/set?rule=mould&box=tub"):
            page.goto(address + path)
            assert Axe().run(page).violations_count == 0, path
            assert page.evaluate("document.documentElement.scrollWidth") <= 390, path
        assert complaints == []
