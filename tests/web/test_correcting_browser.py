"""A sensor is checked over two salts in a real browser, without JavaScript."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from hilum.web.parts import WebParts
from web.browser import WIDTHS
from web.test_browser import tab

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_a_sensor_is_checked_over_two_salts(
    browser: Browser, address: str, parts: WebParts, width: int
) -> None:
    """From the list of sensors to the saved correction and back; a slip is pointed to on the way.

    33.0 over MgCl2 and 80.0 over NaCl at 20 °C: gain 42.40 / 47.0 = 0.902, so 35 is 34.9.
    """
    with tab(browser, width, script=False) as (page, complaints):
        page.goto(f"{address}/sensors")
        page.get_by_role("link", name="Check and correct lane/b2").click()
        page.get_by_label("over two salts").check()
        page.get_by_role("button", name="Go on").click()
        page.get_by_label("How warm it is there").fill("20")
        page.get_by_role("button", name="Go on").click()
        page.get_by_label("It read over magnesium chloride").fill("33,0")
        page.get_by_label("It read over sodium chloride").fill("800")
        page.get_by_role("button", name="Work it out").click()
        expect(page.get_by_label("It read over sodium chloride")).to_be_focused()
        expect(page.get_by_label("It read over magnesium chloride")).to_have_value("33,0")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.get_by_label("It read over sodium chloride").fill("80.0")
        page.get_by_role("button", name="Work it out").click()
        expect(page.locator("dl")).to_contain_text("35 → 34.9")
        page.get_by_role("button", name="Save the correction").click()
        expect(page.get_by_role("status")).to_contain_text("computed again")
        page.get_by_role("link", name="Take back the correction of lane/b2").click()
        page.get_by_role("button", name="Take it back").click()
        expect(page.get_by_role("status")).to_contain_text("taken back")
        assert all("422" in text for text in complaints)
    assert not parts.store.corrections()


def test_every_step_can_be_read_by_all(browser: Browser, address: str) -> None:
    """Axe finds nothing on any step."""
    salts = "sensor=lane/b2&way=two&salt_low=MgCl2&salt_high=NaCl&temp=20"
    steps = (
        "?sensor=lane/b2",
        f"/salts?{salts}",
        f"/read?{salts}",
        "/offset?sensor=lane/b2&way=offset",
        f"/save?{salts}&read_low=33&read_high=80",
    )
    with tab(browser, 390) as (page, complaints):
        for step in steps:
            page.goto(f"{address}/sensors/correct{step}")
            assert Axe().run(page).violations_count == 0, step
            assert page.evaluate("document.documentElement.scrollWidth") <= 390, step
        assert complaints == []
