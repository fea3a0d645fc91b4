"""Lists of seed from spreadsheets: a file is read, what was understood is shown, then confirmed.

Between the two steps the file is held in memory, a few files for an hour, under a name nobody can
guess: nothing of it is written before it was confirmed.
"""

import re
import secrets
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import MS_PER_HOUR
from hilum.domain.moments import in_zone
from hilum.web.deeds.doing import REFUSALS, UNPROCESSABLE, Problem, filled, problem_of, see
from hilum.web.guard.csrf import Form, Guarded
from hilum.web.parts import WebParts
from hilum.web.render import Renderer
from hilum.web.sheetparts import (
    COLUMN,
    FILE_TYPES,
    SheetColumn,
    SheetDone,
    SheetOutline,
    SheetProposal,
    SheetQuestion,
    SheetReader,
    SheetRow,
)
from hilum.web.views.format import count
from hilum.web.views.importcontexts import ImportList, ImportPage
from hilum.web.views.pieces import Fact, Field, FormView, Link, Option

URL = "/lots/import"
TITLE = "Import a list of seed"
MOST_FILES = 8
MOST_SHOWN = 40
LONGEST_SAMPLE = 120
ANSWERS = ("sheet", "dates", "unit", "since")
SHOWN_SHEET = "shown_sheet"
QUESTIONS = {
    "dates": ("Dates such as 1/3/2023", ("day-first", "month-first")),
    "unit": ("Numbers without a unit count", ("seeds", "packets", "g", "oz")),
}


@dataclass(frozen=True, slots=True)
class HeldFile:
    """A file between its reading and its confirmation; after that, what was done."""

    name: str
    data: bytes
    until_ms: int
    done: SheetDone | None = None


class Shelf:
    """Holds a few files for an hour, the oldest of them given up first."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._files: dict[str, HeldFile] = {}

    def put(self, name: str, data: bytes, now_ms: int) -> str:
        """Hold a file and give the key it is found by."""
        key = secrets.token_urlsafe(16)
        with self._lock:
            fresh = {k: f for k, f in self._files.items() if f.until_ms > now_ms}
            kept = list(fresh.items())[-(MOST_FILES - 1) :]
            self._files = {**dict(kept), key: HeldFile(name, data, now_ms + MS_PER_HOUR)}
        return key

    def get(self, key: str, now_ms: int) -> HeldFile:
        """Give a file that is held; who looks at it has another hour."""
        with self._lock:
            found = self._files.get(key)
            if found is None or found.until_ms <= now_ms:
                raise NotFoundError("The file is held no longer; choose it again.")
            self._files[key] = replace(found, until_ms=now_ms + MS_PER_HOUR)
        return found

    def finish(self, key: str, done: SheetDone) -> None:
        """Let a file go and keep what was done with it."""
        with self._lock:
            if (found := self._files.get(key)) is not None:
                self._files[key] = replace(found, data=b"", done=done)


def upload_form() -> FormView:
    """Make the form that takes a file."""
    file = Field(
        "file", "File", "file", required=True,
        hint="XLSX, CSV or TSV, or a file Hilum wrote; with a line of headings.",
    )  # fmt: skip
    return FormView(URL, "Read the file", (file,))


def confirm_form(key: str, answers: Mapping[str, str], error: str = "") -> FormView:
    """Make the button that writes what was understood."""
    hidden = (*answers.items(), ("confirmed", "1"))
    return FormView(f"{URL}/{key}", "Import this", (), hidden=hidden, error=error)


def reading_form(
    key: str,
    shape: SheetOutline,
    answers: Mapping[str, str],
    asked: Sequence[SheetQuestion] = (),
    problem: Problem | None = None,
) -> FormView:
    """Make the form that says how a file is read: its sheet, its columns, and what is asked."""
    questions = tuple(
        Field(each.name, each.text, "pick", options=_options(each.options), required=True)
        for each in asked
    )
    answered = tuple(
        Field(name, words, "select", answers[name], options=_options(("", *options)))
        for name, (words, options) in QUESTIONS.items()
        if answers.get(name)
    )
    sheets = tuple(Option(name, name) for name in shape.sheets)
    sheet = Field("sheet", "Sheet", "select", shape.sheet, options=sheets)
    since = Field(
        "since", "In their boxes since", "date", answers.get("since", ""),
        hint="For rows that do not say it themselves; else they count from now.",
    )  # fmt: skip
    columns = tuple(_column(each, shape, answers) for each in shape.columns)
    view = FormView(
        f"{URL}/{key}",
        "Read it so",
        (*questions, *answered, *((sheet,) if len(sheets) > 1 else ()), *columns, since),
        hidden=((SHOWN_SHEET, shape.sheet),),
    )
    return filled(view, Form(), problem)


def _options(names: Sequence[str]) -> tuple[Option, ...]:
    return tuple(Option(each, each.replace("-", " ") or "as found") for each in names)


def _column(column: SheetColumn, shape: SheetOutline, answers: Mapping[str, str]) -> Field:
    seen = ", ".join(f"“{sample}”" for sample in column.samples)
    hint = f"Such as {seen[:LONGEST_SAMPLE]}." if seen else "Empty."
    if column.words not in {column.field, "empty"}:
        hint += f" {column.words[:1].upper()}{column.words[1:]}."
    return Field(
        column.name,
        column.heading,
        "select",
        answers.get(column.name, column.field),
        options=tuple(Option(*each) for each in shape.fields),
        hint=hint,
    )


def import_router(parts: WebParts, render: Renderer) -> APIRouter:
    """Routes of the import; none where nobody reads spreadsheets."""
    router = APIRouter(include_in_schema=False)
    if parts.sheets is None:
        return router
    desk = _Desk(parts, parts.sheets, render)
    answers: tuple[tuple[str, str, Callable[..., Response]], ...] = (
        (URL, "GET", desk.ask),
        (URL, "POST", desk.take),
        (f"{URL}/{{key}}", "GET", desk.show),
        (f"{URL}/{{key}}", "POST", desk.confirm),
        (f"{URL}/{{key}}/rejected.csv", "GET", desk.rejected),
        *((f"/lots/export{suffix}", "GET", desk.export(suffix)) for suffix in FILE_TYPES),
    )
    for path, method, answer in answers:
        router.add_api_route(path, answer, methods=[method], response_model=None)
    return router


class _Desk:
    """Where files are handed in."""

    def __init__(
        self, parts: WebParts, sheets: Callable[[], SheetReader], render: Renderer
    ) -> None:
        self._parts = parts
        self._sheets = sheets
        self._render = render
        self._shelf = Shelf()

    def ask(self, request: Request) -> Response:
        """Ask for a file."""
        return self._render(request, "import.html", _page(upload_form()))

    def take(self, request: Request, form: Guarded) -> Response:
        """Take a file, see that it is a table, and hold it."""
        file = form.files.get("file")
        try:
            if file is None or not file.data:
                raise InvalidInputError("Choose a file.", "file")
            self._sheets().outline(file.data, file.filename, {})
        except REFUSALS as error:
            page = _page(upload_form(), error=str(error))
            return self._render(request, "import.html", page, UNPROCESSABLE)
        key = self._shelf.put(file.filename, file.data, self._parts.clock.now_ms())
        return see(f"{URL}/{key}")

    def show(self, request: Request, key: str) -> Response:
        """Show what was understood; or, after it was written, what was done."""
        held = self._held(key)
        if held.done is not None:
            page = _done_page(key, held.name, held.done)
            return self._render(request, "import.html", page)
        return self._shown(request, key, _answers(request.query_params))

    def confirm(self, request: Request, key: str, form: Guarded) -> Response:
        """Write it; or show it again as it reads with other answers."""
        held = self._held(key)
        if held.done is not None:  # the button was pressed twice
            return see(f"{URL}/{key}")
        answers = _answers({name: form.text(name) for name in form.values})
        if form.text("confirmed") != "1":
            told = self._told(held, answers, form.text(SHOWN_SHEET))
            return see(f"{URL}/{key}?{urlencode(told)}")
        try:
            if self._sheets().propose(held.data, held.name, answers).questions:
                return see(f"{URL}/{key}?{urlencode(answers)}")
            done = self._sheets().apply(held.data, held.name, answers)
        except REFUSALS as error:
            words = in_zone(str(error), self._parts.style.zone)
            return self._shown(request, key, answers, words)
        self._shelf.finish(key, done)
        self._parts.changed()
        return see(f"{URL}/{key}")

    def rejected(self, key: str) -> Response:
        """Give the rows that were not taken, to be mended."""
        held = self._held(key)
        if held.done is None:
            raise NotFoundError("Nothing of this file was imported yet.")
        headers = {"Content-Disposition": 'attachment; filename="rows-not-taken.csv"'}
        return Response(held.done.rejected, media_type=FILE_TYPES[".csv"], headers=headers)

    def export(self, suffix: str) -> Callable[[], Response]:
        """Give all lots as a file."""

        def answer() -> Response:
            headers = {"Content-Disposition": f'attachment; filename="hilum-lots{suffix}"'}
            data = self._sheets().export(suffix)
            return Response(data, media_type=FILE_TYPES[suffix], headers=headers)

        return answer

    def _held(self, key: str) -> HeldFile:
        return self._shelf.get(key, self._parts.clock.now_ms())

    def _told(self, held: HeldFile, answers: Mapping[str, str], shown: str) -> dict[str, str]:
        """Keep of the answers what differs from what is found without them."""
        rest = {name: words for name, words in answers.items() if not name.startswith(COLUMN)}
        try:
            found = self._sheets().outline(held.data, held.name, rest)
        except REFUSALS:
            return dict(answers)  # the page says why
        if found.sheet == rest.get("sheet", found.sheet) == (shown or found.sheet):
            guessed = {each.name: each.field for each in found.columns}
            rest |= {
                name: what
                for name, what in answers.items()
                if name in guessed and guessed[name] != what
            }
        first = self._sheets().outline(held.data, held.name, {}).sheet
        return {name: what for name, what in rest.items() if (name, what) != ("sheet", first)}

    def _shown(
        self, request: Request, key: str, answers: Mapping[str, str], error: str = ""
    ) -> Response:
        held, found, problem = self._held(key), None, None
        try:
            found = self._sheets().propose(held.data, held.name, answers)
        except REFUSALS as refusal:
            problem = problem_of(refusal, self._parts.style.zone)
        try:
            shape = self._sheets().outline(held.data, held.name, answers)
        except REFUSALS:
            shape = self._sheets().outline(held.data, held.name, {})
        asked = found.questions if found else ()
        form = reading_form(key, shape, answers, asked, problem)
        confirm = None
        if found and not found.nothing and not asked:
            confirm = confirm_form(key, answers, error)
        page = _page(form, held.name, found, confirm=confirm)
        status = UNPROCESSABLE if error or problem else 200
        return self._render(request, "import.html", page, status)


def _answers(given: Mapping[str, str]) -> dict[str, str]:
    return {
        name: words
        for name, words in given.items()
        if words and (name in ANSWERS or re.fullmatch(rf"{COLUMN}\d{{1,3}}", name))
    }


def _page(
    form: FormView,
    file: str = "",
    found: SheetProposal | None = None,
    *,
    error: str = "",
    confirm: FormView | None = None,
) -> ImportPage:
    told: tuple[tuple[str, tuple[str, ...]], ...] = ()
    if found is not None:
        told = (
            ("Changed lots", tuple(map(_changed, found.changed))),
            ("Rows that are not taken", found.problems),
            ("New lots", tuple(map(_new, found.new))),
            ("New boxes", found.boxes),
            ("Taken, but look", found.remarks),
            ("About the file", found.notes),
        )
    return ImportPage(
        title=TITLE,
        file=file,
        error=error,
        form=form,
        summary=_summary(found) if found else "",
        lists=tuple(_list(title, lines) for title, lines in told if lines),
        confirm=confirm,
    )


def _done_page(key: str, file: str, done: SheetDone) -> ImportPage:
    """Say what was written, and offer the rest to be mended."""
    facts = (
        Fact("New lots", str(done.new)),
        Fact("Changed", str(done.changed)),
        Fact("As they were", str(done.same)),
        Fact("New boxes", str(done.boxes)),
        Fact("Rows not taken", str(len(done.problems))),
    )
    name = "The rows that were not taken, to mend and import (CSV)"
    link = Link(name, f"{URL}/{key}/rejected.csv") if done.problems else None
    left = (_list("Rows that were not taken", done.problems),) if done.problems else ()
    return ImportPage(
        title="Imported",
        file=file,
        error="",
        form=None,
        summary="The list is imported.",
        lists=left,
        facts=facts,
        rejected=link,
    )


def _changed(row: SheetRow) -> str:
    return f"Row {row.number}, {row.lot}, {row.code}: {'; '.join(row.changes)}"


def _new(row: SheetRow) -> str:
    box = f"into {row.box}" if row.box else ""
    note = f"note: {row.note}" if row.note else ""
    said = ", ".join(part for part in (*row.facts, box, note) if part)
    return f"Row {row.number}: {row.lot}" + (f"; {said}" if said else "")


def _summary(found: SheetProposal) -> str:
    if found.nothing:
        return "Everything that can be taken from this file is here already."
    new, changed = count(len(found.new), "new lot"), count(len(found.changed), "changed lot")
    return f"{new}, {changed}, {found.same} as they are here, {len(found.problems)} not taken."


def _list(title: str, lines: Sequence[str]) -> ImportList:
    rest = len(lines) - MOST_SHOWN
    return ImportList(
        title=f"{title}: {len(lines)}",
        lines=tuple(lines[:MOST_SHOWN]),
        more=f"And {count(rest, 'more', 'more')}." if rest > 0 else "",
    )
