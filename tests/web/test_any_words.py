"""Anything typed into any field of any form: an answer in words, never a failure of ours."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.domain.model import Reading
from hilum.domain.ports import Store
from hilum.stores.sqlite import SqliteStore
from web import small_world
from web.elements import parse
from web.guarded import client_of, small_place
from web.sending import filled_in
from web.small_world import NOW_MS, FixedClock

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
def owner(tmp_path: Path) -> Iterator[TestClient]:
    """The pages of a small place on a real database, open to this machine."""
    store = SqliteStore(tmp_path / "hilum.sqlite3")
    fill(store)
    clock = FixedClock()
    sheets = Sheets(store, clock, "Europe/Brussels")
    place = replace(small_place(password=False), store=store, clock=clock, sheets=sheets)
    with client_of(place) as client:
        yield client
    store.close()


def fill(store: Store) -> None:
    """Boxes, lots, sensors, one of them in no box, and lines in the journal."""
    for sensor in ("lane/a1", "lane/b2", "lane/c3"):
        store.add([Reading(sensor, NOW_MS - k * 600_000, 18.0, 40.0) for k in range(300)], NOW_MS)
    store.add([Reading("lane/spare", NOW_MS, 18.0, 40.0)], NOW_MS)
    small_world.add_boxes(store)
    small_world.add_lots(store)
    small_world.add_events(store)


def forms(client: TestClient) -> list[Kind]:
    """Every sort of form on the pages that can be reached; those that end the visit left out."""
    found: dict[tuple[str, ...], Kind] = {}
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
        waiting += [a.attrs["href"].split("#")[0] for a in page.all("a") if "href" in a.attrs]
        waiting = [url for url in waiting if url.startswith("/")]
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


def test_some_words_in_every_field(owner: TestClient) -> None:
    """Each field gets a few of the words, each word comes to a few fields."""
    assert go_through(owner, WORDS, every=len(WORDS) // 2) > 150


@pytest.mark.slow
def test_every_word_in_every_field(owner: TestClient) -> None:
    """Each field gets them all."""
    assert go_through(owner, WORDS, every=1) > 3000
