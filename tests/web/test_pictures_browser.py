"""The history under fingers and keys, in a real browser; the calendar without JavaScript."""

import pytest
from playwright.sync_api import Browser, CDPSession, Page, Route, expect

from web.browser import WIDTHS
from web.test_browser import settle, tab

pytestmark = pytest.mark.browser

URL = "/boxes/drawer?range=month"
Fingers = list[tuple[float, float]]


def spread(touch: CDPSession, start: Fingers, end: Fingers) -> None:
    """Lay fingers on the screen, move them in steps, and lift them."""

    def send(kind: str, points: Fingers) -> None:
        told = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(points)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": told})

    send("touchStart", start)
    for step in range(1, 9):
        send(
            "touchMove",
            [
                (a + (c - a) * step / 8, b + (d - b) * step / 8)
                for (a, b), (c, d) in zip(start, end, strict=True)
            ],
        )
    send("touchEnd", [])


def plot(page: Page) -> tuple[float, float, float]:
    """Left, middle height and width of the first plot on the screen."""
    first = page.locator(".plot .u-over").first
    first.scroll_into_view_if_needed()
    area = first.bounding_box()
    assert area is not None
    return area["x"], area["y"] + area["height"] / 2, area["width"]


def span_days(page: Page) -> tuple[float, float]:
    """First moment and length of the span that is told, in days."""
    from_to = page.locator(".history .span").inner_text().split(" to ")
    first, last = (
        page.evaluate("(words) => Date.parse(words.replace(' ', 'T') + 'Z') / 864e5", words)
        for words in from_to
    )
    return first, last - first


def length_becomes(page: Page, days: float, rel: float = 0.01) -> None:
    """Wait until a span of so many days is shown."""
    for _ in range(40):
        if span_days(page)[1] == pytest.approx(days, rel=rel):
            return
        page.wait_for_timeout(100)
    assert span_days(page)[1] == pytest.approx(days, rel=rel)


def test_fingers_move_and_widen_the_history(browser: Browser, address: str) -> None:
    """One finger drags it along, two pinch it closer, and the page's own scroll stays."""
    with tab(browser, 390) as (page, complaints):
        page.goto(address + URL)
        settle(page, URL)
        touch = page.context.new_cdp_session(page)
        first, length = span_days(page)
        assert length == pytest.approx(30, abs=0.1)
        left, middle, width = plot(page)
        spread(touch, [(left + width * 0.25, middle)], [(left + width * 0.75, middle)])
        back = page.get_by_role("button", name="Show the whole span again")
        expect(back).to_be_visible()
        moved, same = span_days(page)
        assert moved == pytest.approx(first - 15, abs=1.5)
        assert same == pytest.approx(length, abs=0.1)
        left, middle, width = plot(page)
        near, far = [0.4, 0.6], [0.2, 0.8]
        spread(
            touch,
            [(left + width * x, middle) for x in near],
            [(left + width * x, middle) for x in far],
        )
        length_becomes(page, length / 3, rel=0.15)
        back.click()
        expect(back).to_be_hidden()
        left, middle, _ = plot(page)
        before = page.evaluate("scrollY")
        spread(touch, [(left + 90, middle)], [(left + 92, middle - 120)])
        page.wait_for_timeout(300)
        assert page.evaluate("scrollY") > before
        expect(back).to_be_hidden()
        assert complaints == []


def test_keys_look_closer_wider_earlier_and_later(browser: Browser, address: str) -> None:
    """Every way of looking has a button; from two hours to ten years, no further."""
    with tab(browser, 1280) as (page, complaints):
        page.goto(address + URL)
        settle(page, URL)
        length = span_days(page)[1]
        for name, share in (("Closer", 0.5), ("Wider", 1.0), ("Wider", 2.0)):
            page.get_by_role("button", name=name).press("Enter")
            length_becomes(page, length * share)
        start = span_days(page)[0]
        page.get_by_role("button", name="Earlier").press("Enter")
        for _ in range(40):
            if span_days(page)[0] < start - length + 0.1:
                break
            page.wait_for_timeout(100)
        assert span_days(page)[0] == pytest.approx(start - length, abs=0.1)
        for times in (4, 8, 16, 32, 64):
            page.get_by_role("button", name="Wider").press("Enter")
            length_becomes(page, length * times)
        for _ in range(2):
            page.get_by_role("button", name="Wider").press("Enter")
            length_becomes(page, 3653)
        page.get_by_role("button", name="Show the whole span again").press("Enter")
        expect(page.get_by_role("button", name="Show the whole span again")).to_be_hidden()
        assert complaints == []


def test_an_answer_that_a_later_one_overtook_is_not_drawn(browser: Browser, address: str) -> None:
    """What was asked last is shown, though an earlier answer comes after it."""
    with tab(browser, 1280) as (page, complaints):
        page.goto(address + URL)
        settle(page, URL)
        back = page.get_by_role("button", name="Show the whole span again")
        held: list[Route] = []
        page.route("**/history?**", lambda route: held.append(route), times=1)  # noqa: PLW0108
        page.get_by_role("button", name="Closer").press("Enter")
        for name in ("Earlier", "Closer"):
            page.get_by_role("button", name=name).press("Enter")
            expect(back).to_be_visible()
        back.press("Enter")
        expect(back).to_be_hidden()
        with page.expect_response("**/history?**"):
            held[0].continue_()
        page.wait_for_timeout(200)
        expect(back).to_be_hidden()
        assert complaints == []


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_the_calendar_needs_no_javascript(browser: Browser, address: str, width: int) -> None:
    """A square a day, wide enough to see, and the months as a table."""
    with tab(browser, width, script=False) as (page, complaints):
        page.goto(address + URL)
        days = page.locator(".calendar .day")
        expect(days).to_have_count(365)
        area = days.nth(200).bounding_box()
        assert area is not None
        assert area["width"] >= 7
        calendar = page.locator("section", has=page.locator("#calendar-title"))
        calendar.get_by_text("The same as a table").click()
        expect(calendar.get_by_role("row")).to_have_count(1 + 13)
        assert complaints == []
