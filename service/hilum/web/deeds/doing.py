"""How things are done on the pages: a page with a form, then a redirect, or the page once more.

A deed is two functions: one that makes its page from what was typed so far, one that does it. What
is refused comes back beside its field, with everything that was typed.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import tzinfo
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from hilum.domain.errors import (
    AmbiguousNameError,
    ConflictError,
    InvalidInputError,
    NotFoundError,
    OutOfRangeError,
    UnknownNameError,
)
from hilum.domain.model import Event
from hilum.domain.moments import in_zone
from hilum.keeping.care.register import out_of_address
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form, Guarded
from hilum.web.parts import WebParts
from hilum.web.render import Renderer
from hilum.web.views.contexts import FormPage
from hilum.web.views.pieces import Field, FormView

REFUSALS = (
    InvalidInputError,
    ConflictError,
    NotFoundError,
    OutOfRangeError,
    UnknownNameError,
    AmbiguousNameError,
)
UNPROCESSABLE = 422


@dataclass(frozen=True, slots=True)
class Problem:
    """Why something cannot be done, the field it is about, and names to choose from."""

    words: str
    field: str = ""
    names: tuple[str, ...] = ()


def problem_of(error: Exception, zone: tzinfo) -> Problem:
    """Turn a refusal into what a form shows, times as here. Unknown names are those of kinds."""
    if isinstance(error, UnknownNameError):
        words = f"No {error.what} is known as “{error.name}”."
        return Problem(words, "kind", error.nearest)
    if isinstance(error, AmbiguousNameError):
        words = f"“{error.name}” fits more than one {error.what}."
        return Problem(words, "kind", error.candidates)
    return Problem(in_zone(str(error), zone), getattr(error, "field", None) or "")


Page = Callable[[str, Form, Problem | None], FormPage]
"""Makes the page of a deed from the key in its address, what was typed, and what is wrong."""

Act = Callable[[str, Typed], str]
"""Does it, and gives the address to go to."""


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that can be done; ``path`` may hold ``{key}``."""

    path: str
    page: Page
    act: Act


def add_deeds(router: APIRouter, parts: WebParts, render: Renderer, deeds: Sequence[Deed]) -> None:
    """Add the two routes of each deed: its page, and what its form is sent to."""
    for deed in deeds:
        router.add_api_route(deed.path, _asking(deed, render), response_model=None)
        router.add_api_route(
            deed.path, _acting(deed, parts, render), methods=["POST"], response_model=None
        )


def _asking(deed: Deed, render: Renderer) -> Callable[..., Response]:
    def page(request: Request) -> Response:
        given = request.query_params
        form = Form({name: tuple(given.getlist(name)) for name in given})
        return render(request, "form.html", deed.page(_key(request), form, None))

    return page


def _acting(deed: Deed, parts: WebParts, render: Renderer) -> Callable[..., Response]:
    def act(request: Request, form: Guarded) -> Response:
        key = _key(request)
        try:
            target = deed.act(key, Typed(form, parts.style))
        except REFUSALS as error:
            page = deed.page(key, form, problem_of(error, parts.style.zone))
            return render(request, "form.html", page, status=UNPROCESSABLE)
        parts.changed()
        return see(target)

    return act


def _key(request: Request) -> str:
    return out_of_address(str(request.path_params.get("key", "")))


def see(target: str) -> Response:
    """Send the browser to another page of Hilum."""
    return RedirectResponse(target, status_code=303)


def target(path: str, events: Sequence[Event] = (), **query: str) -> str:
    """Give the address of a page that says what was done."""
    ids = [event.id for event in events]
    pairs = {name: value for name, value in query.items() if value}
    if ids:
        pairs["did"] = str(ids[0]) if len(ids) == 1 else f"{min(ids)}-{max(ids)}"
    return f"{path}?{urlencode(pairs)}" if pairs else path


def filled(view: FormView, form: Form, problem: Problem | None) -> FormView:
    """Put what was typed into a form, and what is wrong beside its field."""
    names = {each.name for each in (*view.fields, *view.more)}
    at = problem.field if problem and problem.field in names else ""
    fields, more = (
        tuple(_filled(each, form, problem if each.name == at else None) for each in group)
        for group in (view.fields, view.more)
    )
    if problem is None:
        fields = _begin(fields)
    return replace(
        view,
        fields=fields,
        more=more,
        more_open=any(each.error or form.text(each.name) for each in more),
        error=problem.words if problem and not at else "",
    )


def _begin(fields: tuple[Field, ...]) -> tuple[Field, ...]:
    """Begin with the first field that is empty and must be filled in."""
    start = next((each.name for each in fields if each.required and not each.value), "")
    return tuple(replace(each, first=each.name == start) for each in fields)


def _filled(one: Field, form: Form, problem: Problem | None) -> Field:
    if one.name in form.values:
        one = replace(one, value=form.text(one.name), chosen=form.many(one.name))
    if problem is None:
        return one
    return replace(one, error=problem.words, first=True)
