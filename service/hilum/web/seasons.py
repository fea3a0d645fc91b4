"""The pages of a season: what is wanted, what to do about it, and what to order."""

from collections.abc import Callable
from dataclasses import replace

from starlette.requests import Request
from starlette.responses import Response

from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import PlanLine, SeasonPlan
from hilum.keeping.lots.ahead import STORAGES
from hilum.keeping.seasons.planfile import read_plan
from hilum.keeping.seasons.season import Season, SeasonLine, plan_season
from hilum.keeping.seasons.seasonline import LineLot
from hilum.science.kinds import kind
from hilum.web.deeds.doing import Deed, Problem, filled
from hilum.web.deeds.lotentry import kind_fields, kind_typed
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import WebParts
from hilum.web.render import Renderer
from hilum.web.sheetparts import FILE_TYPES
from hilum.web.views.contexts import FormPage
from hilum.web.views.format import count, iso_day, pct
from hilum.web.views.lots import lot_url
from hilum.web.views.pieces import Field, FormView, Link, Option
from hilum.web.views.seasoncontexts import (
    OrderRow,
    PlanAnswer,
    PlanLot,
    PlanRow,
    SeasonPage,
    SeasonsPage,
)

STORED_AS = {
    "recent": "each lot as it was kept of late",
    "as-is": "each lot as it is at this moment",
    "shelf": "on a shelf, 20 °C and 50 % humidity",
    "fridge": "in a fridge, dried and sealed",
    "freezer": "in a freezer, dried and sealed",
    "gel": "as warm as now, with fresh gel",
}


FILE_WORDS = ((".xlsx", "Order and answers for a spreadsheet (XLSX)"), (".csv", "Order as CSV"))


def plan_url(plan_id: int, deed: str = "") -> str:
    """Address of a plan, or of what can be done to it."""
    return f"/season/{plan_id}" + (f"/{deed}" if deed else "")


def _plan(parts: WebParts, key: str) -> SeasonPlan:
    if not key.isascii() or not key.isdigit():
        raise NotFoundError("There is no such plan.")
    return parts.store.season_plan(int(key))


def seasons(parts: WebParts, render: Renderer) -> Callable[[Request], Response]:
    """All plans."""

    def page(request: Request) -> Response:
        plans = parts.store.season_plans()
        rows = tuple(
            PlanRow(
                Link(plan.name, plan_url(plan.id)),
                f"sown on {iso_day(plan.sow_on)}, "
                f"{count(len(parts.store.plan_lines(plan.id)), 'thing')} wanted",
            )
            for plan in reversed(plans)
        )
        return render(request, "seasons.html", SeasonsPage("Season", rows))

    return page


def season(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """One plan, answered."""

    def page(request: Request, key: str) -> Response:
        plan_id = _plan(parts, key).id

        def make(now_ms: int) -> SeasonPage:
            plan = parts.store.season_plan(plan_id)
            found = plan_season(parts.store, plan, parts.store.plan_lines(plan_id), now_ms)
            return season_page(found, files=parts.sheets is not None)

        return render(request, "season.html", parts.kept(("season", plan_id), make))

    return page


def order_file(parts: WebParts, suffix: str) -> Callable[..., Response]:
    """What to order, as a file for spreadsheets."""

    def answer(key: str) -> Response:
        plan = _plan(parts, key)
        if parts.sheets is None:
            raise NotFoundError("Nobody writes spreadsheets here.")
        found = plan_season(
            parts.store, plan, parts.store.plan_lines(plan.id), parts.clock.now_ms()
        )
        name = f"order-{plan.sow_on}{suffix}"
        return Response(
            parts.sheets().order(found, suffix),
            media_type=FILE_TYPES[suffix],
            headers={"Content-Disposition": f'attachment; filename="{name}"'},
        )

    return answer


def season_page(found: Season, *, files: bool) -> SeasonPage:
    """Give the page of a plan; ``files``: its answers can be had as files."""
    plan = found.plan
    return SeasonPage(
        title=plan.name,
        headline=_headline(found),
        answers=tuple(_answer(plan.id, at, line) for at, line in enumerate(found.lines)),
        order=tuple(_order(line) for line in found.order),
        files=tuple(
            Link(words, plan_url(plan.id, f"order{suffix}")) for suffix, words in FILE_WORDS
        )
        if files
        else (),
        tests=tuple(test.words for test in found.tests),
        assumptions=found.assumptions,
        add=add_form(plan.id),
        edit_url=plan_url(plan.id, "edit"),
        drop_url=plan_url(plan.id, "drop"),
    )


def _headline(found: Season) -> str:
    if not found.lines:
        return "Nothing is wanted yet. Add what you want to grow below."
    ordered = len(found.order)
    own = len(found.lines) - ordered
    day = iso_day(found.plan.sow_on)
    return f"For {day}: {own} of {len(found.lines)} from your own seed, {ordered} to order."


def _title(line: SeasonLine) -> str:
    return f"{line.kind.common} {line.line.variety}".strip()


def _answer(plan_id: int, at: int, line: SeasonLine) -> PlanAnswer:
    hidden = (("line", str(at)), ("what", f"{line.line.kind} {line.line.variety}"))
    notes = (line.duplicate, line.line.note, *line.notes)
    return PlanAnswer(
        title=_title(line),
        wanted=count(line.line.plants, "plant"),
        words=line.words,
        chance=pct(100 * line.own_chance) if any(lot.sow_seeds for lot in line.lots) else "",
        lots=tuple(_lot(lot) for lot in line.lots),
        notes=tuple(note for note in notes if note),
        remove=FormView(plan_url(plan_id, "remove"), "Take off", (), hidden=hidden),
    )


def _lot(offer: LineLot) -> PlanLot:
    lot = offer.lot
    where = ", ".join(part for part in (offer.box or "in no box", offer.hand.words) if part)
    verdict = offer.judgement.verdict.value if offer.judgement else ""
    return PlanLot(
        place=Link(f"{lot.code} {lot.variety}".strip(), lot_url(lot.code)),
        where=where,
        decision=verdict.capitalize(),
        words=offer.words,
        sow=f"sow {count(offer.sow_seeds, 'seed')}" if offer.sow_seeds else "",
        notes=offer.notes,
    )


def _order(line: SeasonLine) -> OrderRow:
    return OrderRow(
        what=_title(line),
        packets="none would do" if line.packets < 0 else count(line.packets, "packet"),
        size=count(line.packet_seeds, "seed"),
        note=line.duplicate,
    )


def add_form(plan_id: int, problem: Problem | None = None, typed: str = "") -> FormView:
    """Make the form that adds a line to a plan."""
    size = Field("packet_seeds", "Seeds in a packet", "whole", hint="A usual one if left empty.")
    loss = Field("loss_pct", "Lost after it came up", "decimal", "10", unit="%")
    return FormView(
        plan_url(plan_id, "add"),
        "Add it",
        (
            *kind_fields(problem, typed),
            Field("variety", "Variety", "text", hint="Any will do if you leave it empty."),
            Field("plants", "Plants wanted", "whole", required=True),
        ),
        (size, loss, Field("note", "Note", "text")),
    )


def season_deeds(parts: WebParts) -> tuple[Deed, ...]:
    """Give the deeds of a season."""
    return (_new(parts), _edit(parts), _add(parts), _remove(parts), _drop(parts))


def _plan_fields(plan: SeasonPlan | None) -> tuple[Field, ...]:
    stored = tuple(Option(key, words) for key, words in STORED_AS.items() if key in STORAGES)
    return (
        Field(
            "name",
            "Name",
            "text",
            plan.name if plan else "",
            required=True,
            hint="Such as: spring 2027.",
        ),
        Field("sow_on", "Sown on", "date", plan.sow_on.isoformat() if plan else "", required=True),
        Field(
            "storage",
            "Kept until then",
            "select",
            plan.storage if plan else "recent",
            options=stored,
        ),
    )


def _plan_of(typed: Typed, plan_id: int) -> SeasonPlan:
    name = typed.needed("name", "A plan needs a name.")
    sow_on = typed.day("sow_on")
    if sow_on is None:
        raise InvalidInputError("Say when you sow.", "sow_on")
    storage = typed.text("storage") or "recent"
    if storage not in STORAGES:
        raise InvalidInputError("Choose one of these.", "storage")
    return SeasonPlan(plan_id, name, sow_on, storage)


def _new(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        table = Field(
            "table", "A table of what is wanted", "area",
            hint="From a spreadsheet, with headings: kind, variety, plants. Or add line by line.",
        )  # fmt: skip
        view = FormView("/season/new", "Make the plan", _plan_fields(None), (table,))
        intro = ("Say when you sow; then add what you want to grow, line by line.",)
        back = Link("Season", "/season")
        return FormPage("Plan a season", back, filled(view, form, problem), intro)

    def act(key: str, typed: Typed) -> str:
        del key
        plan, text = _plan_of(typed, 0), typed.text("table", longest=100_000)
        try:
            lines = read_plan(text) if text else []
        except InvalidInputError as error:
            raise InvalidInputError(str(error), "table") from error
        return plan_url(parts.store.save_plan(plan, lines).id)

    return Deed("/season/new", page, act)


def _back(plan: SeasonPlan) -> Link:
    return Link(plan.name, plan_url(plan.id))


def _edit(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        plan = _plan(parts, key)
        view = FormView(plan_url(plan.id, "edit"), "Save", _plan_fields(plan))
        return FormPage(f"Change {plan.name}", _back(plan), filled(view, form, problem))

    def act(key: str, typed: Typed) -> str:
        kept = _plan(parts, key)
        wanted = _plan_of(typed, kept.id)
        plan = replace(kept, name=wanted.name, sow_on=wanted.sow_on, storage=wanted.storage)
        if plan.storage != kept.storage:
            plan = replace(plan, temp_c=None, rh_pct=None)
        parts.store.save_plan(plan, parts.store.plan_lines(kept.id))
        return plan_url(kept.id)

    return Deed("/season/{key}/edit", page, act)


def _add(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        plan = _plan(parts, key)
        view = filled(add_form(plan.id, problem, form.text("kind")), form, problem)
        return FormPage(f"Wanted in {plan.name}", _back(plan), view)

    def act(key: str, typed: Typed) -> str:
        plan = _plan(parts, key)
        match = kind_typed(typed)
        plants = typed.whole("plants")
        if plants is None or not 1 <= plants <= 100_000:
            raise InvalidInputError("Say how many plants you want, 100,000 at most.", "plants")
        size = typed.whole("packet_seeds")
        if size is not None and not 1 <= size <= 1_000_000:
            raise InvalidInputError("A packet holds at least one seed.", "packet_seeds")
        loss_pct = typed.number("loss_pct")
        if loss_pct is not None and not 0 <= loss_pct <= 90:
            raise InvalidInputError("It must lie between 0 and 90 %.", "loss_pct")
        line = PlanLine(
            match.kind.key,
            plants,
            typed.text("variety", longest=120),
            packet_seeds=size,
            loss_pct=10.0 if loss_pct is None else loss_pct,
            note=typed.text("note"),
        )
        parts.store.save_plan(plan, [*parts.store.plan_lines(plan.id), line])
        return plan_url(plan.id)

    return Deed("/season/{key}/add", page, act)


def _remove(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        plan = _plan(parts, key)
        hidden = tuple((name, form.text(name)) for name in ("line", "what"))
        view = FormView(plan_url(plan.id, "remove"), "Take it off", (), hidden=hidden)
        return FormPage("Take a line off", _back(plan), filled(view, form, problem))

    def act(key: str, typed: Typed) -> str:
        plan = _plan(parts, key)
        lines, at = list(parts.store.plan_lines(plan.id)), typed.whole("line")
        if at is None or not 0 <= at < len(lines):
            raise NotFoundError("This line is on the plan no longer.")
        if f"{lines[at].kind} {lines[at].variety}".strip() != typed.text("what"):
            raise NotFoundError("The plan was changed meanwhile; look at it again.")
        del lines[at]
        parts.store.save_plan(plan, lines)
        return plan_url(plan.id)

    return Deed("/season/{key}/remove", page, act)


def _drop(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        plan = _plan(parts, key)
        names = ", ".join(kind(line.kind).common for line in parts.store.plan_lines(plan.id)[:8])
        view = FormView(plan_url(plan.id, "drop"), "Forget the plan", ())
        intro = tuple(words for words in (names, "Lots are not touched.") if words)
        return FormPage(f"Forget {plan.name}", _back(plan), filled(view, form, problem), intro)

    def act(key: str, typed: Typed) -> str:
        del typed
        parts.store.drop_plan(_plan(parts, key).id)
        return "/season"

    return Deed("/season/{key}/drop", page, act)
