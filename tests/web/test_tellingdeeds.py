"""Quiet hours and the digest are set on the pages, say where they come from, and are put back."""

from dataclasses import replace
from datetime import time

import pytest
from starlette.testclient import TestClient

from hilum.domain.alerts import DigestTime, QuietTimes, Telling, TellingSetting
from hilum.web.app import create_app
from hilum.web.parts import SettingShown, SettingsShown, WebParts
from web.elements import Element, parse
from web.sending import filled_in, send
from web.small_world import NOW_MS
from web.test_deeds import said, wrong
from web.test_ruledeeds import row

QUIET, DIGEST = "/rules/quiet", "/rules/digest"


def texts(page: Element, title: str) -> list[str]:
    """Give what holds, and where it comes from."""
    return [each.text for each in row(page, title).all("p")[:2]]


def test_what_holds_is_shown_with_where_it_comes_from(client: TestClient) -> None:
    """Nothing is set: both are as usual, and a box has none of its own."""
    page = parse(client.get("/rules").text)
    holds, about = texts(page, "Quiet hours")
    assert holds == "From 22:00 to 07:00, local time."
    assert about.endswith("It is as usual.")
    assert texts(page, "Weekly digest")[0] == "Every Sunday at 09:00, local time."
    assert "Quiet hours" not in parse(client.get("/rules?box=tub").text).one("main").text


def test_quiet_hours_are_set_and_put_back(parts: WebParts, client: TestClient) -> None:
    """What is set is kept, journaled and shown in the form again; one tap takes it away."""
    page = send(client, QUIET, start="23.30", end="6")
    assert said(page) == "Setting: Quiet hours were set. From 23:30 to 06:00, local time."
    assert parts.store.telling() == TellingSetting(QuietTimes(time(23, 30), time(6)))
    assert texts(page, "Quiet hours")[1].endswith("It is set here.")
    again = filled_in(parse(client.get(QUIET).text).one(of="fill"))
    assert (again["start"], again["end"]) == (["23:30"], ["06:00"])

    button = row(page, "Quiet hours").one("form")
    after = parse(client.post(button.attrs["action"], data=filled_in(button)).text)
    assert said(after) == "Setting: The quiet hours are as in the settings again."
    assert parts.store.telling() == TellingSetting()
    assert not row(after, "Quiet hours").all("form")


def test_no_quiet_hours_at_all(client: TestClient) -> None:
    """Whatever hours are typed beside “no”, there are none; the form then begins without."""
    page = send(client, QUIET, on="off")
    assert texts(page, "Quiet hours")[0] == "No quiet hours: everything is told at once."
    form = filled_in(parse(client.get(QUIET).text).one(of="fill"))
    assert (form["on"], form["start"]) == (["off"], [""])


def test_the_digest_is_moved_switched_off_and_put_back(parts: WebParts, client: TestClient) -> None:
    """Day and hour are chosen; when they were is kept, so that none is made up for."""
    page = send(client, DIGEST, weekday="2", hour="18")
    assert said(page) == (
        "Setting: The weekly digest was set. Every Wednesday at 18:00, local time."
    )
    kept = parts.store.telling()
    assert kept == TellingSetting(digest=DigestTime(on=True, weekday=2, hour=18),
                                  digest_set_ms=NOW_MS)  # fmt: skip
    page = send(client, DIGEST, on="off")
    assert texts(page, "Weekly digest")[0] == "Switched off."
    button = row(page, "Weekly digest").one("form")
    client.post(button.attrs["action"], data=filled_in(button))
    assert parts.store.telling() == TellingSetting(digest_set_ms=NOW_MS)


@pytest.mark.parametrize("url", [QUIET, DIGEST])
def test_saving_what_holds_already_sets_nothing(
    parts: WebParts, client: TestClient, url: str
) -> None:
    """An untouched form changes nothing and writes no line."""
    before = len(parts.store.events())
    assert not send(client, url).all(of="said")
    assert parts.store.telling() == TellingSetting()
    assert len(parts.store.events()) == before


@pytest.mark.parametrize(
    ("url", "typed", "words"),
    [
        (QUIET, ("start", ""), "Say from when on."),
        (QUIET, ("end", ""), "Say until when."),
        (QUIET, ("start", "late"), "“late” is no time of day; write it like 22:30."),
        (QUIET, ("start", "24:00"), "is no time of day"),
        (QUIET, ("end", "22.00"), "choose “no”"),
        (QUIET, ("on", "perhaps"), "Choose one of these."),
        (DIGEST, ("weekday", "7"), "Choose one of these."),
        (DIGEST, ("hour", "24"), "Choose one of these."),
    ],
)
def test_what_cannot_be_is_refused(
    parts: WebParts, client: TestClient, url: str, typed: tuple[str, str], words: str
) -> None:
    """The words stand beside the field; what was typed stays; nothing is kept."""
    page = send(client, url, 422, **dict([typed]))
    assert words in wrong(page, typed[0])
    if typed[0] in {"start", "end"}:
        assert filled_in(page.one(of="fill"))[typed[0]] == [typed[1]]
    assert parts.store.telling() == TellingSetting()


def test_what_is_set_here_wins_over_the_file(parts: WebParts) -> None:
    """The file is named where it holds; what is set stands in its place, in the list too."""
    shown = SettingsShown(
        "/data/hilum.toml",
        (SettingShown("channels.quiet_from", "20:00:00", "hilum.toml", "from when on"),),
        (),
    )
    written = Telling(quiet=QuietTimes(time(20), time(7)))
    client = TestClient(
        create_app(replace(parts, shown=lambda: shown, telling=written)),
        base_url="http://localhost",
    )

    holds, about = texts(parse(client.get("/rules").text), "Quiet hours")
    assert holds == "From 20:00 to 07:00, local time."
    assert about.endswith("It is as in hilum.toml.")
    send(client, QUIET, start="21:00")
    page = parse(client.get("/settings").text)
    (line,) = page.one("table", of="settings").one("tbody").all("tr")
    assert [cell.text for cell in line.all("td")] == ["21:00:00", "the page of alerts"]
    facts = {each.one("dt").text: each.one("dd").text for each in parse(
        client.get(QUIET).text).one("dl").children}  # fmt: skip
    assert facts["In the settings"].startswith("From 20:00 to 07:00, local time.")
