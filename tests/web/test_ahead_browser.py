"""A season is planned and a list imported on a phone without JavaScript; both print and fit."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from hilum.bootstrap.sheet_reader import Sheets
from hilum.web.app import create_app
from hilum.web.parts import WebParts
from web.server import running
from web.test_browser import tab

pytestmark = pytest.mark.browser

LIST = b"Crop,Variety,Year,Germ %,Box\nOnion,Long Keeper,2024,91,Gasketed tub\nQwertz,,,,\n"


@pytest.fixture
def desk(parts: WebParts) -> Iterator[str]:
    """Address of the small place, where spreadsheets are read."""
    told = replace(parts, sheets=lambda: Sheets(parts.store, parts.clock, "Europe/Brussels"))
    with running(create_app(told), parts.live) as url:
        yield url


def test_a_season_is_planned_with_a_thumb(browser: Browser, desk: str) -> None:
    """Name, date, two things wanted; then the answers and what to order, also on paper."""
    with tab(browser, 390, script=False) as (page, complaints):
        page.goto(f"{desk}/season")
        page.get_by_role("link", name="Plan a season").click()
        page.get_by_label("Name").fill("Spring 2026")
        page.get_by_label("Sown on").fill("2026-03-01")
        page.get_by_role("button", name="Make the plan").click()
        for kind, plants in (("onion", "200"), ("leek", "100")):
            page.get_by_label("Kind of seed").fill(kind)
            page.get_by_label("Plants wanted").fill(plants)
            page.get_by_role("button", name="Add it").click()
        expect(page.locator(".headline")).to_contain_text("1 of 2 from your own seed, 1 to order")
        expect(page.locator(".label")).to_contain_text("Leek")
        page.emulate_media(media="print")
        expect(page.get_by_role("button", name="Add it")).to_be_hidden()
        expect(page.locator(".wanted").first).to_be_visible()
        assert complaints == []


@pytest.mark.parametrize("width", [390, 1280])
def test_a_plan_can_be_read_by_all(browser: Browser, desk: str, width: int) -> None:
    """Answers, order and import page fit the screen and axe finds nothing."""
    with tab(browser, width) as (page, complaints):
        page.goto(f"{desk}/season/new")
        page.get_by_label("Name").fill("Spring 2026")
        page.get_by_label("Sown on").fill("2026-03-01")
        page.get_by_text("More to say").click()
        page.get_by_label("A table of what is wanted").fill(
            "kind;variety;plants\nonion;;200\nlettuce;Grey Wing;60"
        )
        page.get_by_role("button", name="Make the plan").click()
        expect(page.locator(".wanted")).to_have_count(2)
        for url in ("", f"{desk}/season", f"{desk}/lots/import"):
            if url:
                page.goto(url)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            assert Axe().run(page).violations_count == 0, url
        assert complaints == []


@pytest.mark.parametrize("script", [False, True])
def test_a_list_is_imported_with_a_thumb(
    browser: Browser, desk: str, parts: WebParts, *, script: bool
) -> None:
    """Choose the file, look at what was understood, import; with scripts and without."""
    with tab(browser, 390, script=script) as (page, complaints):
        page.goto(f"{desk}/lots")
        page.get_by_role("link", name="Import a list").click()
        page.get_by_label("File").set_input_files(
            {"name": "seeds.csv", "mimeType": "text/csv", "buffer": LIST}
        )
        page.get_by_role("button", name="Read the file").click()
        expect(page.get_by_text("1 new lot")).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        if script:  # axe waits for timers, which never fire where scripts are off
            assert Axe().run(page).violations_count == 0
        page.get_by_role("button", name="Import this").click()
        expect(page.locator("h1")).to_have_text("Imported")
        page.get_by_role("link", name="Back to Lots").click()
        expect(page.get_by_role("link", name="Onion Long Keeper")).to_be_visible()
        assert complaints == []
    assert len(parts.store.lots()) == 6
