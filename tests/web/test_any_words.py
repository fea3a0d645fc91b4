"""Anything typed into any field of any form: an answer in words, never a failure of ours."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.domain.access import Scope
from hilum.domain.corrections import Correction
from hilum.domain.model import (
    Event,
    EventType,
    GerminationTest,
    PlanLine,
    Reading,
    Reject,
    RejectReason,
    SeasonPlan,
)
from hilum.domain.ports import Store
from hilum.keeping.access import give
from hilum.stores.sqlite import SqliteStore
from web import small_world
from web.elements import Element, parse
from web.guarded import client_of, small_place
from web.sending import filled_in
from web.small_world import NOW_MS, FixedClock
from web.test_attacks import DAY, MARKUP

WORDS = (
    *("", " ", "x", "-1", "0", "1e308", "-1e308", "nan", "inf", "9" * 25, "9" * 5000, "1e-300"),
    *("\x00", "\ufffd", "٣", "²", "½", "<b>", "../..", "a" * 30_000, "%", "%00", "\r\nX: y", "🌱"),
    *("0001-01-01", "9999-12-31", "2025-02-30", "0001-01-01T00:00", "9999-12-31T23:59"),
    *("2025-13-01T25:61", "1-1", "1/0", "-9223372036854775809", "9223372036854775808"),
    *("true", "[]", "{}", "foil", "none", "L-0001", "drawer", "//elsewhere.example"),
)
MOST_PAGES = 60
LEAST_FORMS = 20


@dataclass(frozen=True)
class Kind:
    """A form, the same on every page of its sort."""

    method: str
    action: str
    values: dict[str, list[str]]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A real database with a small place in it."""
    made = SqliteStore(tmp_path / "hilum.sqlite3")
    fill(made)
    yield made
    made.close()


@pytest.fixture
def owner(store: Store) -> Iterator[TestClient]:
    """Its pages, open to this machine."""
    clock = FixedClock()
    sheets = Sheets(store, clock, "Europe/Brussels")
    place = replace(small_place(password=False), store=store, clock=clock, sheets=lambda: sheets)
    with client_of(place) as client:
        yield client


def fill(store: Store) -> None:
    """Boxes, lots, sensors, one of them in no box, and lines in the journal."""
    for sensor in ("lane/a1", "lane/b2", "lane/c3"):
        store.add([Reading(sensor, NOW_MS - k * 600_000, 18.0, 40.0) for k in range(300)], NOW_MS)
    store.add([Reading("lane/spare", NOW_MS, 18.0, 40.0)], NOW_MS)
    small_world.add_boxes(store)
    small_world.add_lots(store)
    small_world.add_events(store)


def pages(client: TestClient) -> Iterator[tuple[str, Element]]:
    """Every sort of page that links lead to."""
    waiting: list[str] = ["/"]
    seen: set[str] = set()
    while waiting and len(seen) < MOST_PAGES:
        url = waiting.pop(0)
        sort = re.sub(r"(?<=/)(L-\d+|drawer|tub|jar|shoebox|\d+)\b|=[^&]*", "*", url)
        if sort in seen or url.startswith("/live"):
            continue
        seen.add(sort)
        answer = client.get(url)
        assert answer.status_code < 500, url
        if "html" not in answer.headers.get("content-type", ""):
            continue
        page = parse(answer.text)
        links = [a.attrs.get("href", "").split("#")[0] for a in page.all("a")]
        waiting += [link for link in links if link.startswith("/")]
        yield url, page


def forms(client: TestClient) -> list[Kind]:
    """Every sort of form on them; those that end the visit left out."""
    found: dict[tuple[str, ...], Kind] = {}
    for url, page in pages(client):
        for form in page.all("form"):
            values = filled_in(form)
            action = form.attrs.get("action", url)
            key = (
                form.attrs.get("method", "get"),
                re.sub(r"\b(L-\d+|drawer|tub|jar)\b", "*", action),
            )
            if "sign-out" not in action and "password" not in action:
                found.setdefault((*key, *sorted(values)), Kind(key[0], action, values))
    return list(found.values())


def submit(client: TestClient, form: Kind, name: str, word: str) -> None:
    """Send a form with one field changed, and go where it leads."""
    values = {**form.values, name: [word]}
    if form.method == "get":
        answer = client.get(form.action, params={k: v[-1][:9000] for k, v in values.items()})
    else:
        answer = client.post(form.action, data=values)
    what = (form.action, name, word[:40])
    assert answer.status_code < 500, what
    if answer.status_code == 303:
        target = answer.headers["location"]
        assert re.match(r"/(?![/\\])", target), what
        assert client.get(target).status_code < 500, what


def go_through(client: TestClient, words: Sequence[str], every: int) -> int:
    """Put words into the fields of all forms, each field its share; give how many were sent."""
    found = forms(client)
    assert len(found) >= LEAST_FORMS
    sent = turn = 0
    for form in found:
        for name in form.values:
            if name == "form_token":
                continue
            for word in words[turn % every :: every]:
                submit(client, form, name, word)
                sent += 1
            turn += 1
    return sent


def plant(store: Store) -> None:
    """Put markup into every text that somebody, or some device, can give."""
    for box in store.boxes():
        store.save_box(replace(box, name=f"{box.slug} {MARKUP}", note=MARKUP))
    for lot in store.lots():
        store.save_lot(replace(lot, variety=MARKUP, source=MARKUP, note=MARKUP))
        store.add_test(GerminationTest(0, lot.code, DAY, 50, 40, method=MARKUP, note=MARKUP))
        store.add_event(Event(0, NOW_MS, EventType.NOTE, "drawer", lot.code, text=MARKUP))
    for sensor in store.sensors():
        store.save_sensor(replace(sensor, note=MARKUP))
        store.add_correction(Correction(0, sensor.name, NOW_MS - 9, how=MARKUP))
    store.add_rejects([Reject(NOW_MS, MARKUP, RejectReason.TOPIC, MARKUP, MARKUP.encode(), MARKUP)])
    line = PlanLine("onion", 10, variety=MARKUP, note=MARKUP)
    store.save_plan(SeasonPlan(0, MARKUP, DAY, note=MARKUP), [line])
    give(store, Scope.READ, MARKUP[:80], NOW_MS)


def test_markup_stays_text_wherever_links_lead(store: Store, owner: TestClient) -> None:
    """On no page does any of it become an element, an attribute or a template."""
    plant(store)
    shown = 0
    for url, page in pages(owner):
        shown += "<script>alert(1)" in page.text
        assert [each for each in page.all("script") if "src" not in each.attrs] == [], url
        assert page.all("img", src="x") == [], url
        names = {name for each in page.walk() for name in each.attrs}
        assert not {name for name in names if name.startswith("on") or "<" in name}, url
    assert shown > 15


def test_some_words_in_every_field(owner: TestClient) -> None:
    """Each field gets a few of the words, each word comes to a few fields."""
    assert go_through(owner, WORDS, every=len(WORDS) // 2) > 150


@pytest.mark.slow
def test_every_word_in_every_field(owner: TestClient) -> None:
    """Each field gets them all."""
    assert go_through(owner, WORDS, every=1) > 3000
