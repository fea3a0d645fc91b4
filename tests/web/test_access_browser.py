"""Signing in and letting others in, in a real browser, as a person does it."""

import dataclasses
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from starlette.testclient import TestClient

from hilum.domain.access import Scope
from hilum.keeping.access import give
from hilum.web.app import create_app
from hilum.web.guard import accesscontexts
from hilum.web.parts import WebParts
from hilum.web.render import Renderer
from web.browser import SCHEMES, WIDTHS
from web.guarded import FIRST_KEY, HERE, PASSWORD, client_of, owner, small_place
from web.server import running
from web.small_world import NOW_MS
from web.test_browser import Scheme, tab
from web.test_contexts import Read, Spy


@pytest.fixture
def place() -> WebParts:
    """The small place with a password."""
    return small_place()


@pytest.fixture
def guarded_address(place: WebParts) -> Iterator[str]:
    """Its address in a real server."""
    with running(create_app(place), place.live) as url:
        yield url


def read_by_all(page: Page, width: int) -> None:
    """Fits the screen, and axe finds nothing."""
    assert page.evaluate("document.documentElement.scrollWidth") <= width, page.url
    found = Axe().run(page)
    assert found.violations_count == 0, f"{page.url}: {found.generate_report()}"


@pytest.mark.browser
@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_owner_signs_in_shares_a_link_and_signs_out(
    browser: Browser, guarded_address: str, width: int, scheme: Scheme
) -> None:
    """By keyboard, from a page that was asked for; the link opens in a browser of its own."""
    with tab(browser, width, scheme) as (page, complaints):
        page.goto(f"{guarded_address}/lots")
        read_by_all(page, width)
        expect(page.get_by_label("Password")).to_be_focused()
        page.keyboard.type(PASSWORD)
        page.keyboard.press("Enter")
        expect(page).to_have_url(f"{guarded_address}/lots")
        page.goto(f"{guarded_address}/access")
        page.get_by_label("A link: someone looks at the pages").check()
        page.get_by_label("Name").fill("Neighbour")
        page.get_by_role("button", name="Make it").click()
        link = page.locator("code").inner_text()
        expect(page.locator("li", has_text="Neighbour")).to_be_visible()
        read_by_all(page, width)
        with tab(browser, width, scheme) as (guest, worries):
            guest.goto(link)
            read_by_all(guest, width)
            guest.get_by_role("link", name="Look at the boxes").click()
            expect(guest.get_by_role("link", name="Card drawer")).to_be_visible()
            assert worries == []
        page.get_by_role("button", name="Sign out", exact=True).click()
        expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
        assert complaints == []


@pytest.mark.browser
def test_first_password_is_set_from_a_phone(browser: Browser) -> None:
    """The link of the console leads to a page that explains itself, and from it to the boxes."""
    place = small_place(password=False, local=False)
    with running(create_app(place), place.live) as url, tab(browser, 390) as (page, complaints):
        page.goto(f"{url}/first-password?key={FIRST_KEY}")
        read_by_all(page, 390)
        page.get_by_label("New password").fill(PASSWORD)
        page.get_by_label("Once more").fill(PASSWORD)
        page.get_by_role("button", name="Set it").click()
        expect(page.get_by_role("link", name="Card drawer")).to_be_visible()
        assert complaints == []


def test_pages_show_all_they_are_given(place: WebParts, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every field of these pages is used by its template, and every field has its help."""
    read: Read = set()
    plain = Renderer.html

    def html(
        self: Renderer, template: str, page: object, path: str, token: str, *, owner: bool = True
    ) -> str:
        return plain(self, template, Spy(page, read), path, token, owner=owner)

    monkeypatch.setattr(Renderer, "html", html)
    _, key = give(place.store, Scope.SHARE, "n", NOW_MS)
    fresh = small_place(password=False, local=False)
    with client_of(place) as client, TestClient(create_app(fresh), HERE) as other:
        client.get("/sign-in")
        client.get(f"/shared/{key}")
        client.cookies.set("hilum_session", owner(place).cookies["hilum_session"])
        client.get("/access")
        other.get(f"/first-password?key={FIRST_KEY}")
    pages = [each for each in vars(accesscontexts).values() if dataclasses.is_dataclass(each)]
    declared = {(p.__name__, f.name) for p in pages for f in dataclasses.fields(p)}  # type: ignore[union-attr]
    made = {("AccessPage", "made_words")}  # only beside what was just made
    assert declared - read - made == set()
