"""Rules are set in a real browser, without JavaScript."""

from datetime import time

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from hilum.domain.alerts import QuietTimes, RuleSetting
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


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_quiet_hours_are_set_and_put_back(
    browser: Browser, address: str, parts: WebParts, width: int
) -> None:
    """From the settings to other hours, a slip pointed to, the digest moved, and both put back."""
    with tab(browser, width, script=False) as (page, complaints):
        page.goto(f"{address}/settings")
        page.get_by_role("link", name="What is told, and when").click()
        page.get_by_role("link", name="Change Quiet hours").click()
        expect(page.get_by_label("From")).to_have_value("22:00")
        page.get_by_label("From").fill("23:30")
        page.get_by_label("Until").fill("23:30")
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_label("Until")).to_be_focused()
        expect(page.get_by_label("From")).to_have_value("23:30")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.get_by_label("Until").fill("06:15")
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_role("status")).to_contain_text("From 23:30 to 06:15, local time.")
        page.get_by_role("link", name="Change Weekly digest").click()
        page.get_by_label("Day").select_option("Monday")
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_role("status")).to_contain_text("Every Monday at 09:00, local time.")
        assert parts.store.telling().quiet == QuietTimes(time(23, 30), time(6, 15))
        for _ in range(2):
            page.get_by_role("button", name="As in the settings").first.click()
            expect(page.get_by_role("status")).to_contain_text("as in the settings again")
        assert all("422" in text for text in complaints)
    assert parts.store.telling().quiet is None
    assert parts.store.telling().digest is None


def test_rules_can_be_read_by_all(browser: Browser, address: str) -> None:
    """Axe finds nothing, and nothing is wider than a phone."""
    with tab(browser, 390) as (page, complaints):
        paths = ("/rules", "/rules?box=tub", "/rules/set?rule=mould&box=tub", "/rules/quiet")
        for path in (*paths, "/rules/quiet/reset", "/rules/digest"):
            page.goto(address + path)
            assert Axe().run(page).violations_count == 0, path
            assert page.evaluate("document.documentElement.scrollWidth") <= 390, path
        assert complaints == []
