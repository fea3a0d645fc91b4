"""What stands on the pages, element by element, over the small place."""

import re
from dataclasses import replace
from itertools import repeat
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hilum.domain.errors import StoreError
from hilum.domain.model import Box, BoxType, Event, EventType, Lot, Reject, RejectReason
from hilum.science.surrogates import FACTORS, Level
from hilum.stores.memory import MemoryStore
from hilum.web.app import create_app
from hilum.web.parts import IngestStatus, WebParts
from web.elements import Element, parse
from web.small_world import NOW_MS

PAGES = (
    "/",
    "/boxes/drawer",
    "/boxes/shoebox",
    "/lots",
    "/lots/L-0001",
    "/journal",
    "/sensors",
    "/sure",
)


def page(client: TestClient, url: str, status: int = 200) -> Element:
    """Fetch and read a page."""
    answer = client.get(url)
    assert answer.status_code == status
    return parse(answer.text)


@pytest.mark.parametrize("url", PAGES)
def test_every_page_has_one_main_heading_and_a_title(client: TestClient, url: str) -> None:
    """A page says what it is, once, to the eye and to a screen reader."""
    found = page(client, url)
    assert len(found.all("h1")) == 1
    assert found.one("head").one("title").text.endswith("· Hilum")
    assert found.one("main").attrs["id"] == "main"


@pytest.mark.parametrize("url", PAGES)
def test_no_page_carries_script_or_style_of_its_own(client: TestClient, url: str) -> None:
    """The content security policy would refuse it, so there is none."""
    found = page(client, url)
    for element in found.walk():
        assert "style" not in element.attrs
        assert not any(name.startswith("on") for name in element.attrs)
        if element.tag == "script":
            assert element.attrs["src"].startswith("/static/")
    assert not found.all("style")


@pytest.mark.parametrize("url", PAGES)
def test_every_link_within_hilum_leads_somewhere(client: TestClient, url: str) -> None:
    """No page links to an address that is not there."""
    targets = {
        link.attrs["href"].split("#")[0]
        for link in page(client, url).all("a")
        if link.attrs["href"].startswith("/")
    }
    for target in sorted(targets):
        assert client.get(target).status_code == 200, target


def test_boxes_says_what_needs_doing_in_one_sentence(client: TestClient) -> None:
    """The damp box comes before the silent one, both before the others."""
    found = page(client, "/")
    assert found.one(of="headline").text == (
        "Today: Card-index drawer is damp and Jar in the fridge is silent."
    )
    names = [card.one("h2").text for card in found.all("article")]
    assert names == [
        "Card-index drawer",
        "Jar in the fridge",
        "Gasketed tub",
        "Shoebox of flowers",
    ]


def test_boxes_draws_the_keeping_band_with_words_for_it(client: TestClient) -> None:
    """The newest humidity, the target and the week stand where they belong on the scale."""
    drawer = page(client, "/").one("article", data_box="drawer")
    band = drawer.one("svg", of="keeping-band")
    assert band.attrs["role"] == "img"
    assert band.attrs["aria-label"].startswith("59\xa0% now, above its band; this week mostly ")
    assert band.attrs["aria-label"].endswith("target 15–35\xa0%")
    target = band.one("rect", of="kb-target")
    assert (target.attrs["x"], target.attrs["width"]) == ("15.0%", "20.0%")
    place = float(band.one(of="kb-now").attrs["x"].rstrip("%"))
    assert round(place) == 59
    wide, core = band.one(of="kb-wide"), band.one(of="kb-core")
    assert float(wide.attrs["x"][:-1]) < float(core.attrs["x"][:-1]) < place


def test_boxes_says_that_a_value_is_stale(client: TestClient) -> None:
    """A jar that has been silent for nine hours shows no value as now."""
    jar = page(client, "/").one("article", data_box="jar")
    assert "kb-stale" in jar.one(of="kb-now").attrs["class"].split()
    assert "when last heard" in jar.one("svg", of="keeping-band").attrs["aria-label"]
    assert jar.one("time").text == "silent, last heard 9\xa0h ago".replace("\xa0", " ")
    assert jar.one(of="stamp").text == "Silent"


def test_boxes_without_a_sensor_shows_no_value(client: TestClient) -> None:
    """Nothing is known, and that is what it says."""
    box = page(client, "/").one("article", data_box="shoebox")
    assert not box.all(of="kb-now")
    assert [dd.text for dd in box.all("dd")] == ["—", "—", "—"]
    assert not box.all("time")


def test_boxes_leads_to_sensors_that_belong_nowhere(client: TestClient) -> None:
    """One sensor is in no box."""
    link = page(client, "/").one(of="today").one("a")
    assert (link.text, link.attrs["href"]) == ("1 sensor belongs to no box yet.", "/sensors")


def test_boxes_of_an_empty_place_explain_what_a_box_is(parts: WebParts) -> None:
    """The first page of a new Hilum is no blank."""
    empty = WebParts(MemoryStore(), parts.clock, parts.live, parts.ingest_status)
    with TestClient(create_app(empty), "http://localhost") as client:
        found = page(client, "/")
        assert found.one(of="headline").text.startswith("Three steps to the first lot")
        assert "No lot has been entered yet" in page(client, "/lots").one("main").text


def test_boxes_can_be_all_well(parts: WebParts, client: TestClient) -> None:
    """With only the tub left nothing needs doing, and the page says so."""
    for box in parts.store.boxes():
        if box.slug != "tub":
            parts.store.save_box(Box(box.slug, box.name, box.type, archived=True))
    today = page(client, "/").one(of="today")
    assert today.one(of="headline").text == "Nothing needs doing today."
    assert "today-well" in today.attrs["class"].split()


def test_box_draws_three_panels_without_javascript(client: TestClient) -> None:
    """Humidity with its target, temperature and seed moisture are drawn on the server."""
    found = page(client, "/boxes/drawer")
    titles = [figure.one("figcaption").text for figure in found.all("figure", of="panel")]
    assert titles == [
        "Humidity, % eRH green: target",
        "Temperature, °C",
        "Moisture of seed in paper, %, from oily to starchy",
    ]
    humidity = found.all("svg", of="panel-svg")[0]
    assert humidity.attrs["role"] == "img"
    assert humidity.one("path", of="middle").attrs["d"].count("M") == 2  # broken at the gap


def test_box_says_its_history_in_words_and_as_a_table(client: TestClient) -> None:
    """Whoever does not see the chart reads the same."""
    found = page(client, "/boxes/drawer?range=month")
    assert "1 gap without readings" in found.one(of="summary").text
    rows = found.one("section", of="history").one("tbody").all("tr")
    assert len(rows) == 31
    assert rows[0].one("th").text == "2025-11-25"
    assert "%" in rows[0].all("td")[0].text


@pytest.mark.parametrize(
    ("name", "first"),
    [("day", "2025-11-25 10:00"), ("year", "2025-11"), ("all", "2025-11"), ("bogus", "2025-11-25")],
)
def test_box_offers_spans_of_history(client: TestClient, name: str, first: str) -> None:
    """Each span has a table of its own steps; an unknown one is the week."""
    found = page(client, f"/boxes/drawer?range={name}")
    current = found.one("nav", of="ranges").all("a", aria_current="true")
    assert [link.text.lower() for link in current] == [name if name != "bogus" else "week"]
    assert found.one("section", of="history").one("tbody").all("th")[0].text == first


def test_box_lists_its_lots_and_facts(client: TestClient) -> None:
    """The tub holds two lots, and its label says where its sensor is."""
    found = page(client, "/boxes/tub")
    rows = found.one("table", of="lots").one("tbody").all("tr")
    assert [row.one("th").text for row in rows] == ["Lettuce Grey Wing", "Pea Tall Harbour"]
    facts = {
        item.one("dt").text: item.one("dd").text for item in found.one("dl", of="facts").children
    }
    assert facts["Target"] == "15–30 % eRH"
    assert facts["Sensor inside"] == "lane/b2 since 2025-10-16"


def test_box_that_never_spoke_has_no_chart(client: TestClient) -> None:
    """It says so instead of drawing an empty one."""
    found = page(client, "/boxes/shoebox")
    assert found.one(of="summary").text == "Nothing was heard from this box in this time."
    assert not found.all("figure", of="panel")


def test_lots_are_found_by_any_word(client: TestClient) -> None:
    """Kind, variety, year, code and box are looked through."""
    found = page(client, "/lots?q=tub+PEA")
    assert [row.one("th").text for row in found.one("tbody").all("tr")] == ["Pea Tall Harbour"]
    assert found.one("input", name="q").attrs["value"] == "tub PEA"
    none = page(client, "/lots?q=%3Cscript%3E")
    assert none.one("input", name="q").attrs["value"] == "<script>"
    assert "0 lots of 5" in none.one("main").text


def test_long_list_of_lots_comes_in_parts(parts: WebParts, client: TestClient) -> None:
    """Fifty lots at a time, in every order; each part leads to the next, and none repeats a lot."""
    parts.store.save_lots([Lot(f"N-{n:03}", "pea", f"Row {n:03}") for n in range(70)])
    for order in ("name", "weakest", "use-first"):
        url, seen, parts_seen = f"/lots?q=row&order={order}", [], 0
        while url:
            found = page(client, url)
            rows = found.one("table", of="lots").one("tbody").all("tr")
            seen += [row.one("td", of="code").text for row in rows]
            parts_seen += 1
            url = next((a.attrs["href"] for a in found.all("a", rel="next")), "")
        assert parts_seen == 2
        assert sorted(seen) == [f"N-{n:03}" for n in range(70)]
    last = page(client, "/lots?q=row&part=99")
    assert "70 lots of 75: 51 to 70" in last.one("main").text
    assert last.one("a", rel="prev").attrs["href"] == "/lots?q=row&order=name"
    assert "5 lots of 75" in page(client, "/lots?q=L-0&part=0").one("main").text


def test_lots_can_be_put_weakest_first(client: TestClient) -> None:
    """Those of which nothing can be said come last; what was looked for is kept."""
    found = page(client, "/lots?order=weakest&q=l-00")
    rows = [row.all("td")[0].text for row in found.one("tbody").all("tr")]
    figures = [int(words.split()[1]) for words in rows[:-1]]
    assert figures == sorted(figures)
    assert rows[-1] == "not worked out"
    links = {link.text: link for link in found.one("nav", of="ranges").all("a")}
    assert links["Weakest first"].attrs["aria-current"] == "true"
    assert links["By name"].attrs["href"] == "/lots?q=l-00&order=name"


def test_lot_says_viability_with_its_band_and_how_it_was_made(client: TestClient) -> None:
    """The sentence, the two pictures and the list of grounds are there."""
    found = page(client, "/lots/L-0001")
    words = found.one(of="headline").text
    assert re.fullmatch(r"About \d+ % now \(\d+–\d+ %\)\.", words), words
    scale = found.one("svg", of="keeping-band")
    assert scale.attrs["aria-label"].endswith("minimum 70\xa0%")
    assert "spent" in found.one("svg", of="budget").attrs["aria-label"]
    tested, grounds = found.all("dl", of="facts")[:2]
    assert "counted after 6 and 10 days" in tested.text  # the laboratory rule for onion
    made = {item.one("dt").text: item.one("dd").text for item in grounds.children}
    assert made["Constants"].startswith("its own constants, published")
    assert made["Minimum"] == "70 % looked up where it was published"
    published = found.all("dl", of="facts")[2].text
    assert "Ellis & Roberts" in published
    assert "US Federal Seed Act" in published
    assert "7 CFR 201.58" in published
    assert made["Wet hours"] == "none"
    assert made["Measured"] == "38 days 1 day bridged"  # the gap of 0.7 days


def test_lot_draws_its_life_with_its_tests(client: TestClient) -> None:
    """A band, a middle, the minimum, now, one dot a test; and a table of the same."""
    life = page(client, "/lots/L-0001").one("section", aria_labelledby="life-title")
    assert life.one("path", of="middle").attrs["d"].startswith("M0.0 ")
    drawn = life.one("svg", of="panel-svg")
    assert len(drawn.all("circle", of="test-dot")) == 1
    assert drawn.one("line", of="vb-minimum").attrs["y1"] == "30.0%"
    assert len(drawn.all("line", of="test-reach")) == 1
    rows = [row.text for row in life.one("tbody").all("tr")]
    assert len(rows) == 10
    assert rows[-1].startswith("Test 2025-09-20: 43 of 50, 86")


def test_lot_without_a_life_model_says_why(client: TestClient) -> None:
    """Garlic is no seed: no figure, no picture, but the reason."""
    found = page(client, "/lots/L-0005")
    assert found.one(of="headline").text == "How much of it is alive cannot be worked out."
    assert "storage organ" in found.one(of="finding").text
    assert not found.all("svg", of="keeping-band")
    assert not found.all("svg", of="panel-svg")


def test_lot_shows_label_tests_and_stays(client: TestClient) -> None:
    """What was entered about a lot stands on its page."""
    found = page(client, "/lots/L-0001")
    assert found.one("h1").text == "Onion Marsh Amber"
    assert found.one(of="kind").text == "Allium cepa"
    text = found.one("main").text
    assert "43 of 50 came up (86 %)" in text
    assert "92 % on 2024-10-01 200 seeds" in text
    assert "2025-10-17 to now" in text


def test_journal_shows_days_and_escapes_what_was_written(client: TestClient) -> None:
    """Text of users stands as they wrote it and is never markup."""
    found = page(client, "/journal")
    assert [day.one("h2").text for day in found.all(of="day")] == [
        "2025-11-24",
        "2025-11-20",
        "2025-11-17",
    ]
    assert not found.all("small")
    assert "Note : Seed looks <small> & pale" in found.all(of="day")[0].text


def test_journal_keeps_struck_lines_marked(parts: WebParts, client: TestClient) -> None:
    """A corrected line is struck through and says so."""
    parts.store.strike_event(parts.store.events(box="tub")[0].id)
    struck = page(client, "/journal").one("li", of="struck")
    assert struck.one("s").text.startswith("Fresh desiccant")
    assert "(struck out)" in struck.text


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("raised", "Alert"),
        ("reminder", "Alert again"),
        ("seen", "Alert seen"),
        ("cleared", "Alert over"),
    ],
)
def test_journal_tells_the_steps_of_an_alert_apart(
    parts: WebParts, client: TestClient, step: str, words: str
) -> None:
    """The same sentence was first told, told again, seen, or over: the line begins with which."""
    line = Event(0, NOW_MS, EventType.ALERT, box="tub", text="Damp.", data=(("step", step),))
    parts.store.add_event(line)
    assert page(client, "/journal").all(of="day")[0].all("strong")[0].text == words


def test_sensors_tells_apart_claimed_and_unclaimed(client: TestClient) -> None:
    """Each sensor has its state in a word, its last reading and its place."""
    found = page(client, "/sensors")
    by_name = {item.one("h3").text: item for item in found.all("li", of="sensor")}
    assert [item.one(of="stamp").text for item in by_name.values()] == [
        "Heard",
        "Heard",
        "Heard",
        "Silent",
    ]
    spare = by_name["lane/spare"].one("a", of="do")
    assert spare.text == "Say where it stands"
    assert spare.attrs["href"] == "/sensors/claim?sensor=lane%2Fspare"
    assert [link.text for link in by_name["lane/b2"].all("a")] == [
        "Gasketed tub",
        "stands there no longer",
        "Check and correct",
    ]
    assert "17.2 °C, 25 % RH, battery 81 %" in by_name["lane/b2"].text


def test_sensors_gives_the_reason_of_each_refusal(client: TestClient) -> None:
    """The reason stands in words, with what exactly was wrong."""
    text = page(client, "/sensors").one("main").text
    assert "A probe’s fault value , from lane/a1: temperature 85.0 °C is what a probe" in text


def test_refusals_of_one_kind_in_a_row_are_one_line(parts: WebParts, client: TestClient) -> None:
    """A sensor that repeats its fault does not push the others off the page."""
    parts.store.add_rejects(
        [
            Reject(NOW_MS + k, "hilum/lane/b2/readings", RejectReason.TIME, f"wrong {k}", b"", "b2")
            for k in range(40)
        ]
    )
    lines = [line.text for line in page(client, "/sensors").one("ul", of="lines").all("li")]
    assert len(lines) == 2
    assert "wrong 39" in lines[0]
    assert "39 more like it since 2025-11-25 10:12." in lines[0]


def test_sensors_says_when_nothing_can_arrive(parts: WebParts) -> None:
    """A lost broker, the built-in one and a switched-off one are told apart in plain words."""
    for status, words in (
        (IngestStatus(connected=False, broker="h:1", detail="refused"), "No connection to"),
        (IngestStatus(connected=True, broker="h:1", durable=False), "made for a first try"),
        (IngestStatus(connected=False, broker="off"), "does not listen to a broker"),
    ):
        told = replace(parts, ingest_status=repeat(status).__next__)
        with TestClient(create_app(told), "http://localhost") as client:
            assert words in page(client, "/sensors").one("main").text


def test_sure_agrees_with_the_factors_and_the_trials(client: TestClient) -> None:
    """The page's figures are those of the code and of the report on published trials."""
    text = page(client, "/sure").one("main").text
    own, family, carrot, group = (
        FACTORS[level] for level in (Level.OWN, Level.FAMILY, Level.CARROT_FAMILY, Level.CLASS)
    )
    assert f"a factor of {own:g} either way" in text
    assert f"{family:g} for a relative of the same family, {group:g} for a class" in text
    assert f"{carrot:g} for the carrot family" in text
    report = Path(__file__).parents[2] / "service" / "docs" / "how-sure.md"
    (row,) = re.findall(r"^\| all \| (\d+) \| (\d+ %) \|", report.read_text("utf-8"), re.MULTILINE)
    assert f"beside {row[0]} published storage trials, {row[1]} lay within" in text


def test_a_missing_page_and_a_missing_box_are_told_in_words(client: TestClient) -> None:
    """Both are 404; the box is named."""
    assert "No page has this address" in page(client, "/nowhere", 404).one("main").text
    assert page(client, "/boxes/nothing", 404).one("h1").text == "There is nothing here"
    assert client.get("/boxes/nothing").text.count("nothing") > 1


class BrokenStore(MemoryStore):
    """A store that fails as told."""

    error: Exception = StoreError("The database is locked by another program.")

    def boxes(self) -> list[Box]:
        """Fail."""
        raise self.error


def test_a_failing_store_is_told_in_words(parts: WebParts) -> None:
    """The sentence of the error stands on a page with status 503, and health is not well."""
    broken = WebParts(BrokenStore(), parts.clock, parts.live, parts.ingest_status)
    with TestClient(
        create_app(broken), "http://localhost", raise_server_exceptions=False
    ) as client:
        found = page(client, "/", 503)
        assert "The database is locked by another program." in found.one("main").text
        assert client.get("/healthz").status_code == 503


def test_an_unforeseen_error_shows_no_detail(parts: WebParts) -> None:
    """The page is ours, keeps the security headers and does not quote the error."""
    store = BrokenStore()
    store.error = RuntimeError("secret detail")
    broken = WebParts(store, parts.clock, parts.live, parts.ingest_status)
    with TestClient(
        create_app(broken), "http://localhost", raise_server_exceptions=False
    ) as client:
        answer = client.get("/")
    assert answer.status_code == 500
    assert "secret detail" not in answer.text
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert parse(answer.text).one("h1").text == "Something failed"


def test_fahrenheit_is_shown_where_it_is_set(parts: WebParts) -> None:
    """Values, axis and table follow the setting."""
    parts.store.save_box(Box("tub", "Tub", BoxType.TUB))
    settings = type(parts.settings)(temperature_unit="F")
    told = WebParts(parts.store, parts.clock, parts.live, parts.ingest_status, settings)
    with TestClient(create_app(told), "http://localhost") as client:
        found = page(client, "/boxes/tub")
    assert found.one(data_live="temp").text == "63.0 °F"  # 17.2 °C
    assert "Temperature, °F" in [f.one("figcaption").text for f in found.all("figure", of="panel")]
