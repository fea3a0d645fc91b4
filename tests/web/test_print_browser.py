"""Pages on paper: nothing is cut off, nothing is there to press, and no row is torn apart."""

from datetime import date

import pytest
from playwright.sync_api import Browser

from hilum.domain.model import PlanLine, SeasonPlan
from hilum.web.parts import WebParts
from web.test_browser import tab

pytestmark = pytest.mark.browser

PAPERS = {"A4": 210.0, "Letter": 215.9}
"""Widths of paper [mm] (ISO 216; ANSI Y14.1)."""

MARGIN_MM, MM = 14.0, 96 / 25.4

PATHS = (
    "/",
    "/boxes/drawer",
    "/boxes/drawer/review",
    "/boxes/drawer/compare",
    "/lots",
    "/lots/L-0001",
    "/lots/L-0001/compare",
    "/lots/labels?lot=L-0001&lot=L-0002&box=drawer",
    "/journal",
    "/season/1",
    "/rules",
)

TOO_WIDE = """width => [...document.querySelectorAll("body *")]
    .filter(e => e.checkVisibility() && e.getBoundingClientRect().right > width + 0.5)
    .filter(e => !e.closest("svg, .kb"))
    .map(e => e.tagName + "." + e.className)"""

TO_PRESS = """() => [...document.querySelectorAll(
    "nav, button, input:not([type=hidden]), select, textarea, summary, a.do, a.back, a.skip")]
    .filter(e => e.checkVisibility()).map(e => e.outerHTML.slice(0, 80))"""

TORN = """() => [...document.querySelectorAll("tr, li, dl > div, .day, article, .sheet, .label")]
    .filter(e => e.checkVisibility() && getComputedStyle(e).breakInside !== "avoid")
    .map(e => e.tagName + "." + e.className)"""

GROUND = """() => getComputedStyle(document.body).backgroundColor"""


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("path", PATHS)
def test_a_page_fits_on_paper(
    browser: Browser, address: str, parts: WebParts, path: str, paper: str
) -> None:
    """Between the margins of the sheet, on white even where the screen is dark, without buttons."""
    wanted = [PlanLine("onion", 40), PlanLine("celery", 12)]
    parts.store.save_plan(SeasonPlan(0, "Spring 2026", date(2026, 3, 20)), wanted)
    width = int((PAPERS[paper] - 2 * MARGIN_MM) * MM)
    with tab(browser, width) as (page, complaints):
        page.emulate_media(media="print", color_scheme="dark")
        page.goto(address + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(TOO_WIDE, width) == []
        assert page.evaluate(TO_PRESS) == []
        assert page.evaluate(TORN) == []
        assert page.evaluate(GROUND) == "rgb(255, 255, 255)"
        assert complaints == []


def test_labels_lie_in_a_grid_of_three(browser: Browser, address: str) -> None:
    """Three in a row on the narrower sheet, each as large as its cell, in columns that line up."""
    path = "/lots/labels?" + "&".join([*(f"lot=L-000{n}" for n in range(1, 6)), "box=tub"])
    with tab(browser, int((PAPERS["A4"] - 2 * 9.0) * MM)) as (page, _):
        page.emulate_media(media="print")
        page.goto(address + path)
        boxes = [each.bounding_box() for each in page.locator(".sticker").all()]
    found = [box for box in boxes if box is not None]
    assert len(found) == 6
    assert [round(box["x"], 1) for box in found[:3]] == [round(box["x"], 1) for box in found[3:]]
    assert len({round(box["y"], 1) for box in found[:3]}) == 1
    for box in found:
        assert box["width"] == pytest.approx(62.0 * MM, abs=0.5)
        assert box["height"] == pytest.approx(32.0 * MM, abs=0.5)
