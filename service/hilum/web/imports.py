"""Lists of seed from spreadsheets: a file is read, what was understood is shown, then confirmed.

Between the two steps the file is held in memory, a few files for an hour, under a name nobody can
guess: nothing of it is written before it was confirmed.
"""

import secrets
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import MS_PER_HOUR
from hilum.web.csrf import Form, Guarded
from hilum.web.doing import REFUSALS, UNPROCESSABLE, see
from hilum.web.format import count
from hilum.web.parts import WebParts
from hilum.web.pieces import Fact, Field, FormView, Option
from hilum.web.render import Renderer
from hilum.web.seasoncontexts import ImportList, ImportPage
from hilum.web.sheetparts import FILE_TYPES, SheetProposal, SheetReader

URL = "/lots/import"
TITLE = "Import a list of seed"
MOST_FILES = 8
MOST_SHOWN = 40
QUESTIONS = ("dates", "unit", "sheet")


@dataclass(frozen=True, slots=True)
class HeldFile:
    """A file between its reading and its confirmation."""

    name: str
    data: bytes
    until_ms: int


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
        """Give a file that is held."""
        with self._lock:
            found = self._files.get(key)
        if found is None or found.until_ms <= now_ms:
            raise NotFoundError("The file is held no longer; choose it again.")
        return found

    def drop(self, key: str) -> None:
        """Let a file go."""
        with self._lock:
            self._files.pop(key, None)


def upload_form() -> FormView:
    """Make the form that takes a file."""
    file = Field(
        "file", "File", "file", required=True,
        hint="XLSX, CSV or TSV, or a file Hilum wrote; with a line of headings.",
    )  # fmt: skip
    return FormView(URL, "Read the file", (file,))


def confirm_form(
    key: str, proposal: SheetProposal, answers: Mapping[str, str], error: str = ""
) -> FormView | None:
    """Make the form that confirms what was understood, or asks what only the grower knows."""
    if proposal.nothing and not proposal.questions:
        return None
    questions = tuple(
        Field(
            question.name,
            question.text,
            "pick",
            options=tuple(Option(each, each.replace("-", " ")) for each in question.options),
            required=True,
        )
        for question in proposal.questions
    )
    said = tuple(answers.items())
    if questions:
        return FormView(f"{URL}/{key}", "Read it so", questions, hidden=said, error=error)
    hidden = (*said, ("confirmed", "1"))
    return FormView(f"{URL}/{key}", "Import this", (), hidden=hidden, error=error)


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
        *((f"/lots/export{suffix}", "GET", desk.export(suffix)) for suffix in FILE_TYPES),
    )
    for path, method, answer in answers:
        router.add_api_route(path, answer, methods=[method], response_model=None)
    return router


class _Desk:
    """Where files are handed in."""

    def __init__(self, parts: WebParts, sheets: SheetReader, render: Renderer) -> None:
        self._parts = parts
        self._sheets = sheets
        self._render = render
        self._shelf = Shelf()

    def ask(self, request: Request) -> Response:
        """Ask for a file."""
        return self._render(request, "import.html", _page(upload_form()))

    def take(self, request: Request, form: Guarded) -> Response:
        """Take a file, see that it is a list of seed, and hold it."""
        file = form.files.get("file")
        try:
            if file is None or not file.data:
                raise InvalidInputError("Choose a file.", "file")
            self._sheets.propose(file.data, file.filename, {})
        except REFUSALS as error:
            page = _page(upload_form(), error=str(error))
            return self._render(request, "import.html", page, UNPROCESSABLE)
        key = self._shelf.put(file.filename, file.data, self._parts.clock.now_ms())
        return see(f"{URL}/{key}")

    def show(self, request: Request, key: str) -> Response:
        """Show what was understood."""
        answers = {q: request.query_params[q] for q in QUESTIONS if request.query_params.get(q)}
        return self._shown(request, key, answers)

    def confirm(self, request: Request, key: str, form: Guarded) -> Response:
        """Write it; or, where something was asked, show it again as it reads with the answer."""
        held = self._shelf.get(key, self._parts.clock.now_ms())
        answers = _answers(form)
        try:
            asked = self._sheets.propose(held.data, held.name, answers).questions
            if asked or form.text("confirmed") != "1":
                return see(f"{URL}/{key}?{urlencode(answers)}")
            self._sheets.apply(held.data, held.name, answers)
        except REFUSALS as error:
            return self._shown(request, key, answers, str(error))
        self._shelf.drop(key)
        self._parts.changed()
        return see("/lots")

    def export(self, suffix: str) -> Callable[[], Response]:
        """Give all lots as a file."""

        def answer() -> Response:
            headers = {"Content-Disposition": f'attachment; filename="hilum-lots{suffix}"'}
            data = self._sheets.export(suffix)
            return Response(data, media_type=FILE_TYPES[suffix], headers=headers)

        return answer

    def _shown(
        self, request: Request, key: str, answers: Mapping[str, str], error: str = ""
    ) -> Response:
        held = self._shelf.get(key, self._parts.clock.now_ms())
        found = self._sheets.propose(held.data, held.name, answers)
        page = _page(confirm_form(key, found, answers, error), held.name, found)
        return self._render(request, "import.html", page, UNPROCESSABLE if error else 200)


def _answers(form: Form) -> dict[str, str]:
    return {name: form.text(name) for name in QUESTIONS if form.text(name)}


def _page(
    form: FormView | None, file: str = "", found: SheetProposal | None = None, error: str = ""
) -> ImportPage:
    if found is None:
        return ImportPage(TITLE, file, error, form, "", (), ())
    told = (
        ("New", found.new),
        ("Changed", found.changed),
        ("New boxes", found.boxes),
        ("Rows that are not taken", found.problems),
        ("Taken for granted", found.remarks),
        ("About the file", found.notes),
    )
    return ImportPage(
        title=TITLE,
        file=file,
        error=error,
        form=form,
        summary=_summary(found),
        columns=tuple(Fact(heading or "(no heading)", words) for heading, words in found.columns),
        lists=tuple(_list(title, lines) for title, lines in told if lines),
    )


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
