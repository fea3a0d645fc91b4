"""Alerts, water, season, comparison, review and settings, element by element."""

import csv
from dataclasses import replace
from datetime import date
from io import BytesIO, StringIO

import pytest
from openpyxl import load_workbook
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.domain.alerts import Alert, AlertChange, AlertState, Notice, NoticeState
from hilum.domain.errors import ConflictError
from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, Event, EventType, PlanLine, SeasonPlan
from hilum.keeping.lots.ahead import RECENT
from hilum.keeping.lots.compare import Choice
from hilum.science.posterior import Band
from hilum.web.app import create_app
from hilum.web.compares import lasts_words
from hilum.web.parts import SettingShown, SettingsShown, WebParts
from hilum.web.views.format import NBSP
from web.elements import Element, parse
from web.sending import filled_in, send
from web.small_world import NOW_MS

SENTENCE = "The air is damp: 59 % for 7 hours."


def page(client: TestClient, url: str, status: int = 200) -> Element:
    """Fetch and read a page."""
    answer = client.get(url)
    assert answer.status_code == status, answer.text
    return parse(answer.text)


@pytest.fixture
def alert(parts: WebParts) -> Alert:
    """An alert about the tub, raised an hour ago."""
    made = Alert(
        "damp-tub-1", "damp", AlertState.RAISED, NOW_MS - 7 * MS_PER_HOUR, SENTENCE,
        "Swap the desiccant.", box="tub", raised_ms=NOW_MS - MS_PER_HOUR,
    )  # fmt: skip
    parts.store.change_alerts([AlertChange(made, None)])
    return made


@pytest.mark.usefixtures("alert")
def test_an_alert_is_shown_and_taken_note_of(parts: WebParts, client: TestClient) -> None:
    """It stands on the page of boxes until it is seen, then on that of its box until it is over."""
    home = page(client, "/")
    item = home.one("li", of="alert")
    assert SENTENCE in item.text
    assert "Since 2025-11-25 03:12." in item.text
    assert item.one("a").attrs["href"] == "/boxes/tub"
    answer = client.post("/alerts/damp-tub-1/seen", data=filled_in(item.one("form")))
    assert answer.url.path == "/"
    assert not parse(answer.text).all("li", of="alert")
    assert parts.store.alert("damp-tub-1").state is AlertState.SEEN
    there = page(client, "/boxes/tub").one("li", of="alert")
    assert there.text.endswith("Seen.")
    assert not there.all("form")


def test_an_alert_that_is_over_cannot_be_seen(
    parts: WebParts, client: TestClient, alert: Alert
) -> None:
    """It says so; one that is only waiting is not shown at all."""
    over = replace(alert, state=AlertState.CLEARED, cleared_ms=NOW_MS)
    parts.store.change_alerts([AlertChange(over, AlertState.RAISED)])
    waiting = replace(alert, id="w", rule="warm", state=AlertState.WAITING, raised_ms=None)
    parts.store.change_alerts([AlertChange(waiting, None)])
    refused = send(client, "/alerts/damp-tub-1/seen", 422)
    assert "is not raised" in refused.one(role="alert").text
    assert not page(client, "/").all("li", of="alert")
    assert client.get("/alerts/none/seen").status_code == 404


def test_taking_note_is_handed_to_the_watch_where_there_is_one(
    parts: WebParts, alert: Alert
) -> None:
    """So that machines hear of it too."""
    noted: list[str] = []
    with TestClient(create_app(replace(parts, see=noted.append)), "http://localhost") as client:
        send(client, f"/alerts/{alert.id}/seen")
    assert noted == [alert.id]


def test_a_box_says_when_its_desiccant_is_due(parts: WebParts, client: TestClient) -> None:
    """Or what is missing to tell it."""
    assert "No desiccant is noted" in page(client, "/boxes/drawer").one(of="water").text
    data = (("desiccant", "silica-gel"), ("grams", 200.0))
    at_ms = NOW_MS - 35 * MS_PER_DAY
    parts.store.add_event(Event(0, at_ms, EventType.SWAP, "tub", data=data))
    assert "Fresh desiccant is due in" in page(client, "/boxes/tub").one(of="water").text


def test_lots_can_be_put_in_the_order_of_use(client: TestClient) -> None:
    """Each says what to do with it; what nothing is known of comes last."""
    rows = page(client, "/lots?order=use-first").one("tbody").all("tr")
    advice = [row.one(of="advice").text for row in rows]
    assert advice == ["Use this season:", "Keep:", "Keep:", "Keep:", "Nothing known:"]
    assert "its minimum of 80 %" in rows[0].text


@pytest.fixture
def plan(parts: WebParts) -> SeasonPlan:
    """A plan for next spring."""
    lines = [
        PlanLine("onion", 200),
        PlanLine("lettuce", 60, "Grey Wing"),
        PlanLine("leek", 100, "=2+5"),
    ]
    return parts.store.save_plan(SeasonPlan(0, "Spring 2026", date(2026, 3, 1)), lines)


def test_a_season_says_what_to_sow_and_to_order(client: TestClient, plan: SeasonPlan) -> None:
    """Each line has its answer, its lots with a decision, and the order stands apart."""
    found = page(client, f"/season/{plan.id}")
    onion, lettuce, leek = found.all("article", of="wanted")
    assert onion.one("h2").text == "Onion 200 plants"
    assert onion.one(of="stamp").text == "Sow"
    assert "L-0001" in onion.one("a").text
    assert lettuce.one(of="stamp").text == "Test first"
    assert not leek.all(of="stamp")
    order = found.one(of="label").text
    assert "Lettuce Grey Wing" in order
    assert "Onion" not in order
    assert page(client, "/season").one("main").one("strong").text == "Spring 2026"


def test_the_order_is_a_table_no_spreadsheet_can_run(parts: WebParts, plan: SeasonPlan) -> None:
    """As CSV and XLSX, both on the page; a cell that begins like a formula is marked as text."""
    told = replace(parts, sheets=lambda: Sheets(parts.store, parts.clock, "UTC"))
    with TestClient(create_app(told), "http://localhost") as client:
        urls = [f"/season/{plan.id}/order{suffix}" for suffix in (".xlsx", ".csv")]
        links = page(client, f"/season/{plan.id}").one(of="label").all("a")
        assert [link.attrs["href"] for link in links] == urls
        book, table = (client.get(url) for url in urls)
    assert table.headers["content-type"] == "text/csv; charset=utf-8"
    rows = list(csv.reader(StringIO(table.text.lstrip("\ufeff"))))
    assert rows[0][:3] == ["Kind", "Variety", "Packets"]
    assert [row[:2] for row in rows[1:]] == [["Lettuce", "Grey Wing"], ["Leek", "'=2+5"]]
    sheet = load_workbook(BytesIO(book.content))["To order"]
    assert [row[1].value for row in sheet.iter_rows(min_row=2)] == ["Grey Wing", "'=2+5"]
    assert "order-" in book.headers["content-disposition"]


def test_without_spreadsheets_no_file_is_offered(parts: WebParts, plan: SeasonPlan) -> None:
    """Neither a link nor a file."""
    with TestClient(create_app(replace(parts, sheets=None)), "http://localhost") as client:
        assert "order.csv" not in client.get(f"/season/{plan.id}").text
        assert client.get(f"/season/{plan.id}/order.csv").status_code == 404


def test_a_plan_is_made_line_by_line(parts: WebParts, client: TestClient) -> None:
    """Name and date first; then each thing, looked up like any kind; then one is taken off."""
    made = send(client, "/season/new", name="Early", sow_on="2026-02-01", storage="fridge")
    assert made.one("h1").text == "Early"
    url = "/season/1"
    refused = send(client, url, 422, f"{url}/add", kind="bean", plants="30", variety="Blue")
    assert "fits more than one" in refused.one(of="wrong").text
    form = filled_in(refused.one("form", action=f"{url}/add"))
    client.post(f"{url}/add", data={**form, "meant": "Runner bean"})
    after = send(client, url, 200, f"{url}/add", kind="onoin", plants="200", packet_seeds="250")
    assert [a.one("h2").text for a in after.all("article")] == [
        "Runner bean Blue 30 plants",
        "Onion 200 plants",
    ]
    off = after.all("article")[0].one("form")
    client.post(f"{url}/remove", data=filled_in(off))
    assert [line.kind for line in parts.store.plan_lines(1)] == ["onion"]
    again = client.post(f"{url}/remove", data=filled_in(off))
    assert again.status_code == 422  # that line is not there any more
    assert [line.kind for line in parts.store.plan_lines(1)] == ["onion"]


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"name": ""}, "name", "A plan needs a name."),
        ({"sow_on": ""}, "sow_on", "Say when you sow."),
        ({"table": "kind;plants\nqwertz;3"}, "table", "Line 2"),
    ],
)
def test_a_plan_that_cannot_be_is_refused(
    parts: WebParts, client: TestClient, typed: dict[str, str], field: str, words: str
) -> None:
    """The fault stands beside its field, the rest is kept, and nothing is saved."""
    given = {"name": "Early", "sow_on": "2026-02-01", "table": "kind;plants\nonion;3"}
    refused = send(client, "/season/new", 422, **{**given, **typed})
    assert words in refused.one(id=f"{field}-about").text
    assert not parts.store.season_plans()


def test_a_plan_is_changed_and_forgotten(
    parts: WebParts, client: TestClient, plan: SeasonPlan
) -> None:
    """Its lines stay when its date changes; when it is forgotten lots are not touched."""
    url = f"/season/{plan.id}"
    send(client, f"{url}/edit", name="Later", sow_on="2026-04-01")
    assert parts.store.season_plan(plan.id).sow_on == date(2026, 4, 1)
    assert len(parts.store.plan_lines(plan.id)) == 3
    send(client, f"{url}/drop")
    assert client.get(url).status_code == 404
    assert client.get("/season/x").status_code == 404
    assert len(parts.store.lots()) == 5


def test_a_lot_is_compared_in_small_multiples(client: TestClient) -> None:
    """Five ways with a picture in words each, the minimum in every one."""
    found = page(client, "/lots/L-0001/compare")
    figures = found.all("figure", of="multiple")
    assert [f.one("h2").text for f in figures] == [
        "As it is",
        "On a shelf",
        "In a fridge",
        "In a freezer",
        "With fresh gel",
    ]
    for figure in figures:
        (picture,) = figure.all("svg", role="img")
        assert "viability from about 83 to " in picture.attrs["aria-label"]
        assert picture.one("line", of="vb-minimum").attrs["y1"] == "30.0%"
    assert client.get("/lots/L-0005/compare").status_code in {200, 422}  # garlic is no seed


@pytest.mark.parametrize(
    ("left", "earliest", "words"),
    [
        (0.0, 0.0, "Under its minimum already."),
        (2.1, 0.3, "Above its minimum for about 2 years, perhaps only 4 months."),
        (0.9, 0.0, "Above its minimum for about 11 months, perhaps none at all."),
        (None, 24.0, "Above its minimum for more than 50 years, perhaps only 24 years."),
        (None, None, "Above its minimum for more than 50 years."),
    ],
)
def test_how_long_seed_lasts_is_told_with_its_early_end(
    left: float | None, earliest: float | None, words: str
) -> None:
    """Months below two years, then years; never a date that nobody knows."""
    choice = Choice(RECENT, Band(90.0, 80.0, 95.0), left, earliest)
    assert lasts_words(choice).replace("\xa0", " ") == words
    assert lasts_words(replace(choice, ruled_out="Too moist.")) == "Too moist."


def test_a_box_is_compared_as_a_table(client: TestClient) -> None:
    """So many lots above their minimum after so many years; each lot leads to its own."""
    found = page(client, "/boxes/tub/compare")
    rows = found.one("tbody").all("tr")
    assert len(rows) == 5
    assert [cell.text for cell in rows[0].all("td")] == ["1", "1", "0", "0"]
    assert [link.text for link in found.one("main").one("ul").all("a")] == [
        "Lettuce Grey Wing",
        "Pea Tall Harbour",
    ]


def test_a_season_of_a_box_is_reviewed(client: TestClient) -> None:
    """Hours by where they lay, and what it cost the seed; the days can be chosen."""
    found = page(client, "/boxes/drawer/review?from=2025-10-27&to=2025-11-25")
    facts = {item.one("dt").text: item.one("dd").text for item in found.one("dl").children}
    assert facts["Opened"].startswith("1 time")
    assert facts["Above its band"].endswith("% of what was read")
    assert "Onion in paper" in found.one("main").text
    empty = page(client, "/boxes/shoebox/review")
    assert "Nothing was heard" in empty.one(of="label").text


def test_a_review_tells_what_was_noted_a_moment_ago(parts: WebParts, client: TestClient) -> None:
    """A line of the journal counts at once, though the figures of an hour are kept."""
    page(client, "/boxes/drawer/review")
    parts.store.add_event(Event(0, NOW_MS - 1, EventType.SWAP, box="drawer"))
    found = page(client, "/boxes/drawer/review")
    facts = {item.one("dt").text: item.one("dd").text for item in found.one("dl").children}
    assert facts["Fresh desiccant"] == "1 time"


@pytest.mark.parametrize(
    "query", ["from=spring", "from=2025-11-20&to=2025-11-01", "from=2031-01-01", "from=0001-01-01"]
)
def test_days_that_cannot_be_reviewed_are_told(client: TestClient, query: str) -> None:
    """The last half year is shown instead, and that is said."""
    found = page(client, f"/boxes/drawer/review?{query}")
    assert found.one(role="alert")
    assert found.one("input", name="to").attrs["value"] == "2025-11-25"


def test_settings_are_shown_with_their_source_and_channels_tried(parts: WebParts) -> None:
    """A channel that does not take the test says why."""
    shown = SettingsShown(
        "/data/hilum.toml",
        (SettingShown("site", "home", "default", "name of this place"),),
        ("webhook", "mail"),
    )

    def attempt(name: str) -> None:
        if name == "mail":
            raise ConflictError("The mail server did not answer.")

    told = replace(parts, shown=lambda: shown, try_channel=attempt)
    with TestClient(create_app(told), "http://localhost") as client:
        found = page(client, "/settings")
        assert [cell.text for cell in found.one("tbody").all("td")] == ["home", "default"]
        good, bad = found.all("form")
        after = client.post("/settings/test", data=filled_in(good))
        assert "The test was taken by webhook." in after.text
        refused = client.post("/settings/test", data=filled_in(bad))
        assert refused.status_code == 422
        assert "did not answer" in parse(refused.text).one(role="alert").text
        assert not page(client, "/settings?sent=<b>x").all(of="said")


def test_settings_say_what_became_of_each_channel(parts: WebParts) -> None:
    """Taken, held, failing with its reason and given up with its reason are told apart."""
    names = ("good", "held", "failing", "gone", "new")
    shown = SettingsShown("f", (), names)
    made = [Notice(f"n.{n}", n, "digest", NOW_MS, NOW_MS, "Week", "All well.") for n in names[:-1]]
    parts.store.add_notices(made)
    kept = {notice.channel: notice for notice in parts.store.notices()}
    for name, change in (
        ("good", {"state": NoticeState.SENT, "sent_ms": NOW_MS}),
        ("failing", {"error": "The mail server did not answer in time."}),
        ("gone", {"state": NoticeState.GIVEN_UP, "error": "No such host."}),
    ):
        parts.store.save_notice(replace(kept[name], **change))
    with TestClient(create_app(replace(parts, shown=lambda: shown)), "http://localhost") as client:
        rows = page(client, "/settings").all("li", of="sensor")
    told = [[p.text.replace(NBSP, " ") for p in row.all("p")] for row in rows]
    assert told == [
        ["Last taken on 2025-11-25 10:12."],
        ["1 message waiting until 2025-11-25 10:12."],
        ["1 message waiting. The last attempt failed: The mail server did not answer in time."],
        ["Given up on 2025-11-25 10:12: No such host."],
        [],
    ]


def test_without_channels_settings_say_so(client: TestClient) -> None:
    """Alerts are then shown on the pages only."""
    assert "On no channel" in page(client, "/settings").one("main").text
    assert send_refused(client)


def send_refused(client: TestClient) -> bool:
    """Tell whether a test on a channel that is not there is refused."""
    form = filled_in(parse(client.get("/settings/test?channel=x").text).one("form", method="post"))
    return client.post("/settings/test", data=form).status_code == 422
