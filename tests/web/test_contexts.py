"""Templates and contexts agree both ways: nothing is asked in vain or given for nothing."""

import dataclasses
from dataclasses import replace
from datetime import date
from typing import Annotated, get_args, get_origin, get_type_hints

import pytest
from starlette.testclient import TestClient

from hilum.bootstrap.sheet_reader import Sheets
from hilum.domain.alerts import Alert, AlertChange, AlertState, RuleSetting
from hilum.domain.corrections import Correction
from hilum.domain.model import Box, BoxType, Event, EventType, PlanLine, Reading, SeasonPlan
from hilum.stores.memory import MemoryStore
from hilum.web import pages
from hilum.web.app import create_app
from hilum.web.assets import StaticUrls, web_folder
from hilum.web.parts import IngestStatus, SettingShown, SettingsShown, WebParts
from hilum.web.render import Renderer, environment
from hilum.web.views import contexts, importcontexts, picturecontexts, pieces, seasoncontexts
from web.elements import parse
from web.pictures import COMING
from web.sending import filled_in
from web.small_world import NOW_MS

CONTEXTS = [
    found
    for module in (contexts, importcontexts, picturecontexts, pieces, seasoncontexts)
    for found in vars(module).values()
    if dataclasses.is_dataclass(found)
    and isinstance(found, type)
    and found.__module__ == module.__name__
]

Read = set[tuple[str, str]]


class Spy:
    """Stands for a record and notes which of its fields are read."""

    def __init__(self, record: object, read: Read) -> None:
        self._record = record
        self._read = read

    def __getattr__(self, name: str) -> object:
        """Note the name and pass on what the record holds."""
        value = getattr(self._record, name)
        self._read.add((type(self._record).__name__, name))
        return spied(value, self._read)


def spied(value: object, read: Read) -> object:
    """Put spies around records, also those in tuples."""
    if dataclasses.is_dataclass(value):
        return Spy(value, read)
    if isinstance(value, tuple):
        return tuple(spied(part, read) for part in value)
    return value


@pytest.mark.parametrize("context", CONTEXTS, ids=lambda context: context.__name__)
def test_every_field_has_help(context: type) -> None:
    """Each field says in a sentence what it holds."""
    for name, hint in get_type_hints(context, include_extras=True).items():
        assert get_origin(hint) is Annotated, name
        text = get_args(hint)[1]
        assert text.endswith("."), name
        assert len(text) >= 5, name


def test_templates_and_contexts_agree(parts: WebParts, monkeypatch: pytest.MonkeyPatch) -> None:
    """Over all pages every field is used somewhere; a missing one would be an error by itself."""
    read: Read = set()
    plain = Renderer.html

    def html(
        self: Renderer, template: str, page: object, path: str, token: str, *, owner: bool = True
    ) -> str:
        return plain(self, template, Spy(page, read), path, token, owner=owner)

    monkeypatch.setattr(Renderer, "html", html)
    monkeypatch.setattr(pages, "future", lambda _: COMING)
    parts.store.add_event(Event(0, 1, EventType.NOTE, lot="L-0001", text="pale"))
    parts.store.save_plan(
        SeasonPlan(0, "Spring", date(2026, 3, 1)), [PlanLine("onion", 9), PlanLine("leek", 9)]
    )
    alert = Alert("a", "damp", AlertState.RAISED, NOW_MS, "Damp.", "Dry it.", box="tub")
    parts.store.change_alerts([AlertChange(alert, None)])
    parts.store.save_rule_setting(RuleSetting("damp", "tub", limit=40.0))
    parts.store.add_correction(Correction(0, "lane/a1", 1, rh_offset_pct=1.0))
    status = IngestStatus(connected=True, broker="h:1", durable=False)
    shown = SettingsShown("f", (SettingShown("site", "home", "default", "name"),), ("mail",))
    sheets = Sheets(parts.store, parts.clock, "UTC")
    told = replace(parts, ingest_status=lambda: status, shown=lambda: shown, sheets=lambda: sheets)
    with TestClient(create_app(told), "http://localhost") as client:
        for url in (
            "/", "/boxes/drawer?range=month", "/lots?q=e", "/journal", "/sensors", "/sure", "/x",
            "/lots/new?did=3", "/lots/move?lot=L-0001", "/lots/L-0001/test", "/journal?type=note",
            "/season", "/season/1", "/lots/L-0001/compare", "/boxes/tub/compare",
            "/boxes/drawer/review", "/settings", "/settings?sent=mail", "/lots?order=use-first",
            "/rules", "/rules?box=tub", "/lots/labels?lot=L-0001",
            "/sensors/correct/read?sensor=lane/a1&way=one&salt=NaCl&temp=20",
        ):  # fmt: skip
            client.get(url)
        for lot in parts.store.lots():
            client.get(f"/lots/{lot.code}")
        form = filled_in(parse(client.get("/lots/import").text).one("form", method="post"))
        table = {"file": ("a.csv", b"crop;germ %\nonion;90\nqwertz;9\n", "text/csv")}
        seen = client.post("/lots/import", data=form, files=table)
        button = parse(seen.text).one(id="import").one("form")
        assert client.post(button.attrs["action"], data=filled_in(button)).status_code == 200
    empty = MemoryStore()
    with TestClient(create_app(replace(parts, store=empty)), "http://localhost") as client:
        client.get("/")
        empty.save_box(Box("tub", "Tub", BoxType.TUB))
        empty.add([Reading("lane/b2", NOW_MS, 17.0, 30.0)], NOW_MS)
        client.get("/")
        client.get("/sensors/heard")
    declared = {
        (context.__name__, field.name)
        for context in CONTEXTS
        for field in dataclasses.fields(context)
    }
    unused = {entry for entry in declared - read if entry[0] not in {"Chrome", "NavItem"}}
    assert unused == set()


def test_surroundings_are_used_whole() -> None:
    """What surrounds a page shows the list of pages, the site and the time."""
    read: Read = set()
    folder = web_folder()
    env = environment(folder / "templates", StaticUrls(folder / "static"))
    chrome = contexts.Chrome(
        "s", (contexts.NavItem("Boxes", "/", current=True),), 1, "t", owner=True
    )
    page = contexts.SurePage("How sure")
    env.get_template("sure.html").render(page=page, chrome=Spy(chrome, read))
    form = contexts.FormPage("t", pieces.Link("b", "/"), pieces.FormView("/", "s", ()))
    env.get_template("form.html").render(page=form, chrome=Spy(chrome, read))
    names = {name for context, name in read if context in {"Chrome", "NavItem"}}
    assert names == {"site", "nav", "now_ms", "form_token", "owner", "name", "url", "current"}
