"""Who has a shared link looks at the pages and is offered nothing to change."""

import pytest
from playwright.sync_api import Browser, expect

from hilum.domain.access import Scope
from hilum.keeping.access import give
from hilum.web.app import create_app
from web.guarded import small_place
from web.server import running
from web.small_world import NOW_MS


@pytest.mark.browser
def test_a_shared_link_shows_the_pages_without_anything_to_change(browser: Browser) -> None:
    """Values and lots are there; no button, no form, no page that would be refused."""
    parts = small_place()
    _, key = give(parts.store, Scope.SHARE, "neighbour", NOW_MS)
    with running(create_app(parts), parts.live) as address:
        page = browser.new_page(viewport={"width": 390, "height": 800})
        page.goto(f"{address}/shared/{key}")
        page.goto(f"{address}/boxes/drawer")
        expect(page.locator(".keeping-band")).to_be_visible()
        expect(page.locator("table.lots a").first).to_be_visible()
        for url in ("/", "/boxes/drawer", "/lots", "/lots/L-0001", "/journal"):
            page.goto(address + url)
            for hidden in ("form[method=post]", "a.do", "a.take-back", "input[type=checkbox]"):
                for found in page.locator(hidden).all():
                    expect(found).to_be_hidden()
            names = page.get_by_role("navigation", name="Pages").get_by_role("link")
            expect(names).to_have_text(["Boxes", "Lots", "Journal"])
        page.close()
