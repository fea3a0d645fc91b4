"""Rules are set for a box or for all, refused beside their field, and put back in one tap."""

import pytest
from starlette.testclient import TestClient

from hilum.domain.alerts import RuleSetting
from hilum.web.parts import WebParts
from web.elements import Element, parse
from web.sending import filled_in, send
from web.test_deeds import said, wrong

DAMP_TUB = "/rules/set?rule=damp&box=tub"


def row(page: Element, title: str) -> Element:
    """Give the part of the page about one rule."""
    items = page.all("li", of="sensor")
    (found,) = (each for each in items if each.children[0].text == title)
    return found


def test_every_rule_is_listed_with_what_holds(client: TestClient) -> None:
    """A box shows its own target as limit; what concerns all boxes is not offered there."""
    page = parse(client.get("/rules?box=tub").text)
    assert row(page, "Damp").all("p")[0].text == (
        "Told above 30 %, once it has lasted 3 hours. Over at 27 %. Reminder after 7 days."
    )
    assert "It is as usual." in row(page, "Damp").text
    titles = [each.text for each in page.all("h2")]
    assert "Most sensors silent" not in titles
    everywhere = [each.text for each in parse(client.get("/rules").text).all("h3")]
    assert {*everywhere} - {*titles} == {"Most sensors silent", "Quiet hours", "Weekly digest"}
    drawer = parse(client.get("/rules?box=drawer").text)
    assert row(drawer, "Damp").all("p")[0].text == "Switched off."


def test_pages_lead_there(client: TestClient) -> None:
    """The page of a box leads to its rules, the settings to those of all boxes."""
    for url, wanted in (("/boxes/tub", "/rules?box=tub"), ("/settings", "/rules")):
        links = [a.attrs["href"] for a in parse(client.get(url).text).all("a")]
        assert wanted in links


def test_the_usual_figures_and_their_source_are_shown(client: TestClient) -> None:
    """Nothing is set at first: the fields are empty and say what is usual, with its source."""
    page = parse(client.get("/rules/set?rule=mould&box=tub").text)
    assert "Meronuk" in page.text
    assert "Status: read" in page.text
    form = filled_in(page.one(of="fill"))
    assert [form[name] for name in ("limit", "release", "dwell_s", "repeat_s")] == [[""]] * 4
    assert form["on"] == ["on"]
    assert page.one(id="dwell_s-about").text == "Usually 24 hours. 0: told at once."
    assert page.one(id="limit-about").text.endswith("; from 40 to 95.")


def test_a_rule_is_set_and_put_back(parts: WebParts, client: TestClient) -> None:
    """What is set is kept, journaled and shown in the form again; one tap takes it away."""
    page = send(client, DAMP_TUB, limit="28,5", release="25", dwell_s="0,5", repeat_s="0")
    words = "limit 28.5 %, over at 25 %, must last 30 minutes, no reminders"
    assert said(page) == f"Setting: The rule “Damp” was set in Gasketed tub: {words}."
    assert parts.store.rule_settings() == [RuleSetting("damp", "tub", 28.5, 25.0, 1800, 0)]
    assert "set for this box" in row(page, "Damp").text
    again = filled_in(parse(client.get(DAMP_TUB).text).one(of="fill"))
    assert (again["limit"], again["dwell_s"]) == (["28.5"], ["0.5"])

    button = row(page, "Damp").one("form")
    after = parse(client.post(button.attrs["action"], data=filled_in(button)).text)
    assert said(after) == "Setting: The rule “Damp” is as usual again in Gasketed tub."
    assert not parts.store.rule_settings()
    assert not row(after, "Damp").all("form")


def test_a_rule_for_all_boxes_and_one_switched_off(parts: WebParts, client: TestClient) -> None:
    """A box without a setting of its own shows what is set for all."""
    send(client, "/rules/set?rule=warm&box=", limit="22")
    page = send(client, "/rules/set?rule=battery&box=tub", on="off")
    assert row(page, "Battery low").all("p")[0].text == "Switched off."
    assert "Told above 22 °C" in row(page, "Too warm").text
    assert "set for all boxes" in row(page, "Too warm").text
    assert "Usually 22 °C" in client.get("/rules/set?rule=warm&box=tub").text
    assert len(parts.store.rule_settings()) == 2


def test_saving_what_is_usual_sets_nothing(parts: WebParts, client: TestClient) -> None:
    """An untouched form changes nothing and writes no line, also where a rule is off by nature."""
    before = len(parts.store.events())
    for box in ("tub", "drawer"):
        page = send(client, f"/rules/set?rule=damp&box={box}")
        assert not page.all(of="said")
    assert not parts.store.rule_settings()
    assert len(parts.store.events()) == before


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"limit": "300"}, "limit", "must lie between 5 and 95 %, not 300"),
        ({"limit": "4.9"}, "limit", "must lie between 5 and 95 %"),
        ({"limit": "dry"}, "limit", "“dry” is not a number."),
        ({"limit": "70.5"}, "limit", "damp is the earlier word of the two"),
        ({"limit": "40", "release": "41"}, "release", "may not lie above the limit"),
        ({"release": "31"}, "release", "may not lie above the limit (30 %)"),
        ({"dwell_s": "-1"}, "dwell_s", "between 0 and 30 days"),
        ({"dwell_s": "721"}, "dwell_s", "between 0 and 30 days"),
        ({"repeat_s": "0.5"}, "repeat_s", "at most every hour"),
        ({"repeat_s": "1e9"}, "repeat_s", "at least every year"),
        ({"on": "perhaps"}, "on", "Choose one of these."),
    ],
)
def test_what_cannot_work_is_refused(
    parts: WebParts, client: TestClient, typed: dict[str, str], field: str, words: str
) -> None:
    """The words stand beside the field; what was typed stays; nothing is kept."""
    page = send(client, DAMP_TUB, 422, **typed)
    assert words in wrong(page, field)
    if field != "on":
        assert filled_in(page.one(of="fill"))[field] == [typed[field]]
    assert not parts.store.rule_settings()


def test_unknown_rules_and_boxes(client: TestClient) -> None:
    """What is not there is said, and is no page."""
    for url in ("/rules?box=attic", "/rules/set?rule=wet", "/rules/set?rule=damp&box=attic"):
        assert client.get(url).status_code == 404
    page = client.get("/rules/reset?rule=damp&box=tub")
    assert page.status_code == 200
