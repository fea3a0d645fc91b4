"""What can be done in the journal: write a note, take a line back."""

import sys
from collections.abc import Callable
from typing import Annotated

from fastapi import Query
from starlette.responses import Response

from hilum.domain.errors import NotFoundError
from hilum.keeping.care.boxcare import note
from hilum.keeping.care.register import in_address
from hilum.web.deeds.doing import Deed, Problem, filled, target
from hilum.web.deeds.formparts import AT, box_options
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import WebParts
from hilum.web.sheetparts import FILE_TYPES
from hilum.web.views.contexts import FormPage
from hilum.web.views.pieces import Fact, Field, FormView, Link
from hilum.web.views.records import JournalFilter
from hilum.web.views.said import STRIKE, line_words, lines, place_after, strike, strike_form

EVERYTHING = sys.maxsize


def journal_deeds(parts: WebParts) -> tuple[Deed, ...]:
    """Give the deeds of the journal."""
    return (_note(parts), _strike(parts))


def _note(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        lot = form.text("lot")
        about = (
            Field("lot", "About lot", "text", hint="Its code; may be empty."),
            Field("box", "About", "select", options=box_options(parts, "no box")),
        )
        view = FormView(
            "/journal/note",
            "Write it down",
            (Field("text", "Note", "area", required=True), *about[:: -1 if lot else 1]),
            (AT,),
        )
        intro = ("It stands in the journal, and on the page of its box or lot.",)
        back = Link("Journal", "/journal")
        return FormPage("Write a note", back, filled(view, form, problem), intro)

    def act(key: str, typed: Typed) -> str:
        del key
        now_ms = parts.clock.now_ms()
        box, lot = typed.text("box"), typed.text("lot")
        event = note(
            parts.store,
            typed.text("text"),
            box=box or None,
            lot=lot or None,
            at_ms=typed.moment("at", now_ms),
            now_ms=now_ms,
        )
        place = f"/lots/{in_address(lot)}" if lot else f"/boxes/{box}" if box else "/journal"
        return target(place, [event])

    return Deed("/journal/note", page, act)


def _strike(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        did, box, lot = form.text("did"), form.text("box"), form.text("lot")
        back = place_after(form.text("back") or "/journal", did)
        found = lines(parts.store, did, box, lot)
        view = strike_form(did, form.text("back"), box=box, lot=lot)
        return FormPage(
            title="Take it back",
            back=Link("Leave it as it is", back.partition("?")[0]),
            form=filled(view, form, problem),
            intro=(
                "What it did is undone where it did something. The line stays, struck through.",
            ),
            facts=tuple(
                Fact(parts.style.moment(event.time_ms), line_words(event)) for event in found
            ),
        )

    def act(key: str, typed: Typed) -> str:
        del key
        did, back = typed.text("did"), typed.text("back") or "/journal"
        strike(parts.store, did, typed.text("box"), typed.text("lot"))
        return place_after(back, did)

    return Deed(STRIKE, page, act)


def journal_file(parts: WebParts) -> Callable[..., Response]:
    """Every line of the journal, or of what is looked at, oldest first, as a file."""

    def answer(
        box: str = "", lot: str = "", shown: Annotated[str, Query(alias="type")] = ""
    ) -> Response:
        if parts.sheets is None:
            raise NotFoundError("Nobody writes spreadsheets here.")
        chosen = JournalFilter(box, lot, shown)
        found = parts.store.events(box=box or None, lot=lot or None, limit=EVERYTHING)
        events = [event for event in reversed(found) if chosen.holds(event)]
        return Response(
            parts.sheets().journal(events),
            media_type=FILE_TYPES[".csv"],
            headers={"Content-Disposition": 'attachment; filename="journal.csv"'},
        )

    return answer
