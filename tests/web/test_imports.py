"""A list of seed goes from a spreadsheet into the store, looked at before it is confirmed."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.domain.errors import InvalidInputError
from hilum.domain.model import MS_PER_HOUR
from hilum.web.app import create_app
from hilum.web.guard.multipart import read_parts
from hilum.web.imports import MOST_FILES, Shelf
from hilum.web.parts import WebParts
from sheets.messy import saved, workbook
from web.elements import Element, parse
from web.sending import filled_in
from web.small_world import NOW_MS, FixedClock

URL = "/lots/import"
LIST = "Crop;Variety;Year;Germ %;Box\nOnion;Long <Keeper>;2024;91;Gasketed tub\nQwertz;;2020;;\n"
UNSURE = "Crop;Variety;Tested;Germ %\nOnion;Long Keeper;3/4/2024;91\nLeek;Blue;5/4/2024;88\n"


@pytest.fixture
def desk(parts: WebParts) -> Iterator[TestClient]:
    """Ask a place that reads spreadsheets."""
    told = replace(parts, sheets=lambda: Sheets(parts.store, parts.clock, "Europe/Brussels"))
    with TestClient(create_app(told), "http://localhost") as asking:
        yield asking


def upload(client: TestClient, text: str | bytes, name: str = "seeds.csv") -> tuple[str, Element]:
    """Hand a file in and give the address and the page that answer."""
    form = parse(client.get(URL).text).one("form", action=URL)
    assert form.attrs["enctype"] == "multipart/form-data"
    data = text.encode() if isinstance(text, str) else text
    answer = client.post(URL, data=filled_in(form), files={"file": (name, data, "text/csv")})
    return str(answer.url.path), parse(answer.text)


def button(page: Element) -> Element:
    """The form that imports, and not the one that says how the file is read."""
    return page.one(id="import").one("form")


def reading(page: Element) -> Element:
    """The form that says how the file is read."""
    return page.one("form", of="reading")


def test_a_list_is_shown_before_anything_is_written(parts: WebParts, desk: TestClient) -> None:
    """What is new, what is not taken and how columns were read; then one button writes it."""
    url, page = upload(desk, LIST)
    assert url != URL
    assert "1 new lot" in page.one(of="slip").text
    assert "Long <Keeper>" in page.one("main").text
    assert any("Qwertz" in item.text for item in page.all("li"))
    assert len(parts.store.lots()) == 5
    after = desk.post(url, data=filled_in(button(page)))
    assert after.url.path == url
    done = parse(after.text)
    assert {fact.one("dt").text: fact.one("dd").text for fact in done.one("dl").all("div")} == {
        "New lots": "1",
        "Changed": "0",
        "As they were": "0",
        "New boxes": "0",
        "Rows not taken": "1",
    }
    assert not done.all("form", method="post")
    left = desk.get(done.one("a", href=f"{url}/rejected.csv").attrs["href"])
    assert "rows-not-taken.csv" in left.headers["content-disposition"]
    assert '"Qwertz","","2020","","","3"' in left.text
    assert desk.post(url, data=filled_in(button(page))).url.path == url  # pressed twice
    assert len(parts.store.lots()) == 6
    newest = parts.store.lots()[-1]
    assert (newest.kind, newest.variety, newest.label_pct) == ("onion", "Long <Keeper>", 91.0)
    assert parts.store.stays(lot=newest.code)[-1].box == "tub"


def test_the_same_list_again_changes_nothing(desk: TestClient) -> None:
    """It says so and offers nothing to confirm."""
    url, page = upload(desk, LIST)
    desk.post(url, data=filled_in(button(page)))
    _, again = upload(desk, LIST)
    assert "is here already" in again.one(of="slip").text
    assert not again.all(id="import")


def test_what_only_the_grower_knows_is_asked(parts: WebParts, desk: TestClient) -> None:
    """Days that can be read in two ways: the answer is kept, and only then can it be confirmed."""
    url, page = upload(desk, UNSURE)
    form = reading(page)
    assert not page.all(id="import")
    assert [e.attrs["value"] for e in form.all("input", name="dates")] == [
        "day-first",
        "month-first",
    ]
    unanswered = desk.post(url, data=filled_in(form))
    assert "dates" in unanswered.text
    answered = desk.post(url, data={**filled_in(form), "dates": "month-first"})
    confirm = button(parse(answered.text))
    assert filled_in(confirm)["dates"] == ["month-first"]
    assert len(parts.store.lots()) == 5
    desk.post(url, data=filled_in(confirm))
    assert {str(lot.label_date) for lot in parts.store.lots()[-2:]} == {"2024-03-04", "2024-05-04"}


def test_columns_are_shown_and_corrected(parts: WebParts, desk: TestClient) -> None:
    """What each column was taken for is chosen already; another choice is kept and written."""
    url, page = upload(desk, "Crop;Blip;Year;Germ %\nOnion;Long Keeper;2024;91\n")
    form = reading(page)
    assert filled_in(form)["column-0"] == ["kind"]
    assert filled_in(form)["column-1"] == ["ignore"]
    assert "Such as “Long Keeper”" in form.text
    read = desk.post(url, data={**filled_in(form), "column-1": "variety", "column-2": "ignore"})
    assert read.url.query.decode() == "column-1=variety&column-2=ignore"
    again = parse(read.text)
    assert filled_in(reading(again))["column-1"] == ["variety"]
    assert "Onion Long Keeper; 91 %" in again.one("main").text
    desk.post(url, data=filled_in(button(again)))
    newest = parts.store.lots()[-1]
    assert (newest.variety, newest.year) == ("Long Keeper", None)


def test_a_choice_that_cannot_be_keeps_the_file(desk: TestClient) -> None:
    """Two columns for one thing are refused in words, with what was chosen still there."""
    url, page = upload(desk, "Crop;Blip;Year\nOnion;Long Keeper;2024\n")
    answer = desk.post(
        url, data={**filled_in(reading(page)), "column-1": "kind", "column-0": "ignore"}
    )
    assert answer.status_code == 200  # the cells say nothing, the person does
    bad = desk.post(url, data={**filled_in(reading(page)), "column-1": "kind", "column-2": "kind"})
    assert bad.status_code == 422
    form = reading(parse(bad.text))
    assert "cannot both be “kind”" in form.one(role="alert").text
    assert filled_in(form)["column-2"] == ["kind"]


@pytest.mark.parametrize("text", ["Blip;Blop\nOnion 1;2024\nLeek 1;2023\n", "x1;Onion\nx2;Leek\n"])
def test_a_list_whose_columns_nobody_could_know(desk: TestClient, text: str) -> None:
    """Without a heading that says the kind, even without headings, the person says it."""
    url, page = upload(desk, text)
    form = reading(page)
    assert form.one(role="alert").text
    place = "0" if "Blip" in text else "1"
    told = desk.post(url, data={**filled_in(form), f"column-{place}": "kind"})
    assert "2 new lots" in parse(told.text).one(of="slip").text


def test_a_sheet_is_chosen(desk: TestClient) -> None:
    """The sheet most like a list is chosen already; with another one its columns are shown."""
    rows: list[list[object]] = [["Kind", "Variety", "Year"], ["Pea", "Tide", 2024]]
    book = workbook(("Notes", [["Kind"], ["Leek"]]), ("Stock", rows))
    url, page = upload(desk, saved(book), "x.xlsx")
    form = reading(page)
    assert filled_in(form)["sheet"] == ["Stock"]
    other = desk.post(url, data={**filled_in(form), "sheet": "Notes"})
    assert other.url.query.decode() == "sheet=Notes"
    assert "Leek" in parse(other.text).one("main").text
    assert filled_in(reading(parse(other.text)))["sheet"] == ["Notes"]


def test_since_when_lots_lie_in_their_boxes(parts: WebParts, desk: TestClient) -> None:
    """A day for the rows that do not say it; one that has not come is refused beside its field."""
    url, page = upload(desk, LIST)
    told = desk.post(url, data={**filled_in(reading(page)), "since": "2024-11-01"})
    desk.post(url, data=filled_in(button(parse(told.text))))
    stay = parts.store.stays(lot=parts.store.lots()[-1].code)[-1]
    assert stay.from_ms == 1_730_415_600_000  # 2024-11-01 in Brussels, UTC+1
    _, again = upload(desk, UNSURE)
    bad = desk.post(
        reading(again).attrs["action"], data={**filled_in(reading(again)), "since": "2999-01-01"}
    )
    assert "lies in the future" in parse(bad.text).one(of="wrong").text


def test_what_would_change_comes_first(parts: WebParts, desk: TestClient) -> None:
    """Differences to lots that are here, then rows that are not taken, then new ones."""
    url, page = upload(desk, LIST)
    desk.post(url, data=filled_in(button(page)))
    other = LIST.replace("91", "77") + "Leek;Blue;2024;80;\n"
    _, page = upload(desk, other)
    heads = [head.text for head in page.all("h2")]
    assert heads[1:4] == ["Changed lots: 1", "Rows that are not taken: 1", "New lots: 1"]
    assert "label pct: 91 becomes 77" in page.one("main").text
    assert len(parts.store.lots()) == 6


@pytest.mark.parametrize("data", [b"", b"\x00\x01\x02 no table", b"PK\x03\x04 broken"])
def test_what_is_no_list_is_refused_in_words(desk: TestClient, data: bytes) -> None:
    """On the same page, so that another file can be chosen."""
    url, page = upload(desk, data)
    assert url == URL
    assert page.one(role="alert").text
    assert page.one("input", type="file")


def test_another_site_cannot_hand_a_file_in(desk: TestClient) -> None:
    """The guard reads the token from a form with a file, too."""
    desk.get(URL)
    answer = desk.post(URL, data={"form_token": "x"}, files={"file": ("a.csv", b"x", "text/csv")})
    assert answer.status_code == 403


def test_all_lots_can_be_fetched(desk: TestClient) -> None:
    """As CSV and XLSX; other endings are not there."""
    for suffix in (".csv", ".xlsx"):
        answer = desk.get(f"/lots/export{suffix}")
        assert answer.status_code == 200
        assert f"hilum-lots{suffix}" in answer.headers["content-disposition"]
    assert desk.get("/lots/export.exe").status_code == 404


def test_where_nobody_reads_spreadsheets_nothing_is_offered(parts: WebParts) -> None:
    """Neither the link nor the page."""
    with TestClient(create_app(replace(parts, sheets=None)), "http://localhost") as client:
        assert client.get(URL).status_code == 404
        assert URL not in client.get("/lots").text


def test_a_few_files_are_held_for_an_hour() -> None:
    """The oldest is given up first, and each is found by a key nobody can guess."""
    shelf, clock = Shelf(), FixedClock()
    keys = [shelf.put(f"{n}.csv", b"x", clock.now_ms()) for n in range(MOST_FILES + 1)]
    assert len(set(keys)) == len(keys)
    assert all(len(key) >= 20 for key in keys)
    assert shelf.get(keys[1], NOW_MS).name == "1.csv"
    for key, now_ms in ((keys[0], NOW_MS), (keys[1], NOW_MS + MS_PER_HOUR)):
        with pytest.raises(Exception, match="held no longer"):
            shelf.get(key, now_ms)


BODY = (
    b'--b\r\nContent-Disposition: form-data; name="form_token"\r\n\r\nabc\r\n'
    b'--b\r\nContent-Disposition: form-data; name="file"; filename="s\xc3\xa4.csv"\r\n'
    b"Content-Type: text/csv\r\n\r\na,b\r\n--not a boundary\r\n1,2\r\n\r\n--b--\r\n"
)


def test_a_form_with_a_file_is_taken_apart() -> None:
    """Fields and file, byte for byte (the layout of RFC 7578, section 4)."""
    field, file = read_parts("multipart/form-data; boundary=b", BODY)
    assert (field.name, field.filename, field.data) == ("form_token", "", b"abc")
    assert (file.name, file.filename) == ("file", "sä.csv")
    assert file.data == b"a,b\r\n--not a boundary\r\n1,2\r\n"


@pytest.mark.parametrize(
    ("content_type", "body"),
    [
        ("multipart/form-data", BODY),
        ("multipart/form-data; boundary=c", BODY),
        ("multipart/form-data; boundary=b", BODY[:-8]),
        ("multipart/form-data; boundary=b", b"--b\r\n\r\nx\r\n--b--"),
        ("multipart/form-data; boundary=b", b"\r\n--b" * 200 + b"--"),
        ("multipart/form-data; boundary=b", b""),
    ],
)
def test_a_form_that_did_not_arrive_whole_is_refused(content_type: str, body: bytes) -> None:
    """Cut off, without its boundary, without names, or endless."""
    with pytest.raises(InvalidInputError, match="send it again"):
        read_parts(content_type, body)
