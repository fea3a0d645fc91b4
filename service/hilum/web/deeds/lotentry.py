"""The form of a lot: to enter a new one, and to correct one."""

from collections.abc import Mapping
from urllib.parse import urlencode

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import PREPARED, Lot, Wrap
from hilum.keeping.care.lotcare import correct_lot
from hilum.keeping.care.lotentry import enter_lot
from hilum.science.kinds import KindMatch, find_kind, kinds
from hilum.web.deeds.doing import Deed, Problem, filled, target
from hilum.web.deeds.formparts import AT, box_options, wrap_of, wrap_options
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import WebParts
from hilum.web.views.contexts import FormPage
from hilum.web.views.lots import kind_name, lot_url
from hilum.web.views.pieces import Field, FormView, Link, Option
from hilum.web.views.said import said

MOST_NAMES = 12
KEPT = ("box", "wrap", "source", "year")
"""What the next lot of the same handful most often has in common with this one."""

PREPARED_OPTIONS = (
    Option("treated", "treated: with a pesticide, often dyed"),
    Option("pelleted", "pelleted: built up to round grains"),
    Option("primed", "primed: comes up faster, keeps less long"),
)


def entry_deeds(parts: WebParts) -> tuple[Deed, ...]:
    """Give the deeds that enter and correct a lot."""
    return (_enter(parts), _correct(parts))


def kind_fields(problem: Problem | None, typed: str, value: str = "") -> tuple[Field, ...]:
    """Ask for the kind, with every known name to choose from and the nearest where none fits."""
    names = tuple(Option(each.common, each.botanical) for each in kinds().values())
    ask = Field(
        "kind",
        "Kind of seed",
        "text",
        value,
        options=names,
        required=True,
        hint="Common or botanical name; small slips do no harm.",
    )
    if problem is None or problem.field != "kind" or not problem.names:
        return (ask,)
    near = tuple(Option(name, _title(name)) for name in problem.names[:MOST_NAMES])
    chosen = f"Which one do you mean by “{typed}”?"
    return (ask, Field("meant", chosen, "pick", options=near))


def _title(common: str) -> str:
    found = next((each for each in kinds().values() if each.common == common), None)
    return f"{common} ({found.botanical})" if found else common


def kind_typed(typed: Typed) -> KindMatch:
    """Look up the kind that was typed, or chosen among the nearest."""
    meant = typed.text("meant")
    return find_kind(meant or typed.needed("kind", "Say what kind of seed it is."))


def _percent(typed: Typed, name: str) -> float | None:
    value = typed.number(name)
    if value is not None and not 0 <= value <= 100:
        raise InvalidInputError("It must lie between 0 and 100 %.", name)
    return value


def _amount(typed: Typed, name: str) -> float | None:
    value = typed.number(name)
    if value is not None and value < 0:
        raise InvalidInputError("It cannot be less than nothing.", name)
    return value


def _label_fields(lot: Lot) -> tuple[Field, ...]:
    """Ask for what stands on most packets."""
    return (
        Field("variety", "Variety", "text", lot.variety),
        Field("label_pct", "Germination on the packet", "decimal", _told(lot.label_pct), unit="%"),
        Field("label_date", "Tested on", "date", _told(lot.label_date)),
        Field("year", "Year of harvest or packing", "whole", _told(lot.year)),
    )


def _more_fields(lot: Lot) -> tuple[Field, ...]:
    sample = "400, the usual sample, is assumed if you leave it empty."
    assumed = "Of the place where it was kept before it came into a box."
    return (
        Field("source", "Where it came from", "text", lot.source),
        Field(
            "prepared",
            "On the packet it says",
            "ticks",
            chosen=lot.prepared,
            options=PREPARED_OPTIONS,
        ),
        Field("seeds", "How many seeds", "decimal", _told(lot.seeds)),
        Field("grams", "How heavy", "decimal", _told(lot.grams), unit="g"),
        Field("label_n", "Seeds in that test", "whole", _told(lot.label_n), hint=sample),
        Field(
            "minimum_pct",
            "Germination you need at least",
            "decimal",
            _told(lot.minimum_pct),
            unit="%",
            hint="The published minimum of its kind if you leave it empty.",
        ),
        Field("prior_temp_c", "Temperature before", "decimal", _told(lot.prior_temp_c), unit="°C"),
        Field(
            "prior_rh_pct",
            "Humidity before",
            "decimal",
            _told(lot.prior_rh_pct),
            unit="% RH",
            hint=assumed,
        ),
        Field("note", "Note", "area", lot.note),
    )


def _told(value: object) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _values(typed: Typed, kind: str, before: Lot) -> dict[str, object]:
    """Give the fields of a lot as typed; what was left empty and has a default keeps it."""
    sample = typed.whole("label_n")
    if sample is not None and sample < 1:
        raise InvalidInputError("A test needs at least one seed.", "label_n")
    temp_c, rh_pct = typed.number("prior_temp_c"), _percent(typed, "prior_rh_pct")
    if temp_c is not None and not -30 <= temp_c <= 60:
        raise InvalidInputError("No seed is kept at that temperature.", "prior_temp_c")
    return {
        "kind": kind,
        "variety": typed.text("variety", longest=120),
        "source": typed.text("source", longest=120),
        "year": typed.whole("year"),
        "label_pct": _percent(typed, "label_pct"),
        "label_n": sample,
        "label_date": typed.day("label_date"),
        "minimum_pct": _percent(typed, "minimum_pct"),
        "prior_temp_c": before.prior_temp_c if temp_c is None else temp_c,
        "prior_rh_pct": before.prior_rh_pct if rh_pct is None else rh_pct,
        "seeds": _amount(typed, "seeds"),
        "grams": _amount(typed, "grams"),
        "note": typed.text("note"),
        **{name: name in typed.form.many("prepared") for name in PREPARED},
    }


def entry_form(parts: WebParts, problem: Problem | None = None, typed: str = "") -> FormView:
    """Make the form that enters a lot."""
    blank = Lot("", "")
    boxes = box_options(parts, "no box yet")
    only = boxes[1].value if len(boxes) == 2 else ""
    own = Field("code", "Your own code", "text", hint="One is made if you leave it empty.")
    since = Field("at", "It lies there since", "moment", hint=AT.hint)
    return FormView(
        "/lots/new",
        "Save the lot",
        (
            *kind_fields(problem, typed),
            *_label_fields(blank),
            Field("box", "Box", "select", only, options=boxes),
            Field("wrap", "Packed in", "select", Wrap.PAPER.value, options=wrap_options()),
        ),
        (*_more_fields(blank), since, own),
        again="Save and add another",
    )


def _enter(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        view = entry_form(parts, problem, form.text("kind"))
        kept = {name: (form.text(name),) for name in KEPT if form.text(name)}
        back = f"/lots/new?{urlencode(kept, doseq=True)}"
        return FormPage(
            title="Add a lot",
            back=Link("Lots", "/lots"),
            form=filled(view, form, problem),
            intro=("A lot is seed of one variety from one source and harvest.",),
            said=said(parts.store, form.text("did"), back, lot=form.text("lot"), link=True),
        )

    def act(key: str, typed: Typed) -> str:
        del key
        match, now_ms = kind_typed(typed), parts.clock.now_ms()
        code = typed.text("code", longest=60)
        lot = Lot(code, **_values(typed, match.kind.key, Lot("", "")))  # type: ignore[arg-type]
        box = typed.text("box")
        done = enter_lot(
            parts.store,
            lot,
            box=box or None,
            wrap=wrap_of(typed.text("wrap")) or Wrap.PAPER,
            from_ms=typed.moment("at", now_ms),
            now_ms=now_ms,
            took=match.took,
        )
        entered = done.lots[0].code
        if typed.text("again"):
            kept = {name: typed.text(name) for name in KEPT}
            return target("/lots/new", done.events, lot=entered, **kept)
        return target(lot_url(entered), done.events)

    return Deed("/lots/new", page, act)


def _correct(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        lot = parts.store.lot(key)
        view = FormView(
            lot_url(key, "edit"),
            "Save",
            (
                *kind_fields(problem, form.text("kind"), kind_name(lot.kind)),
                *_label_fields(lot),
                *_more_fields(lot),
            ),
        )
        back = Link(f"Lot {key}", lot_url(key))
        return FormPage(f"Correct lot {key}", back, filled(view, form, problem))

    def act(key: str, typed: Typed) -> str:
        lot = parts.store.lot(key)
        as_before = typed.text("kind") == kind_name(lot.kind) and not typed.text("meant")
        kind = lot.kind if as_before else kind_typed(typed).kind.key
        values: Mapping[str, object] = _values(typed, kind, lot)
        done = correct_lot(parts.store, key, values, now_ms=parts.clock.now_ms())
        return target(lot_url(key), done.events)

    return Deed("/lots/{key}/edit", page, act)
