"""What can be done to a box: add and correct it, note an opening, desiccant, a weighing, a note."""

from dataclasses import replace

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Box, BoxType, Event, EventType
from hilum.keeping.care import boxcare
from hilum.science.desiccant import DEFAULT, desiccants
from hilum.web.deeds.doing import Deed, Problem, filled, target
from hilum.web.deeds.formparts import AT, WORDS
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import WebParts
from hilum.web.views.boxes import TYPE_WORDS
from hilum.web.views.contexts import FormPage
from hilum.web.views.pieces import Field, FormView, Link, Option

OFFERED = ("silica-gel", "zeolite-4a", "clay")
"""Desiccants offered by name; the table holds more curves of the same."""

FIRST_LOOK = 1_000

LOAD = Field(
    "load_pct",
    "Water it held already",
    "decimal",
    unit="g per 100 g",
    hint="Fresh from the oven, about 2, if you leave it empty. By weight: what it weighs more than "
    "dry, for each 100 g dry.",
)
DRIED = Field("dried", "It was dried", "date", hint="May stay empty.")


def box_deeds(parts: WebParts) -> tuple[Deed, ...]:
    """Give the deeds of boxes."""
    return (
        _add(parts),
        _correct(parts),
        _opened(parts),
        _swap(parts),
        _weighing(parts),
        _note(parts),
    )


def _type_field(chosen: BoxType) -> Field:
    options = tuple(Option(kind.value, words) for kind, words in TYPE_WORDS.items())
    return Field("type", "What it is", "select", chosen.value, options=options)


def _box_type(typed: Typed) -> BoxType:
    found = next((kind for kind in BoxType if kind.value == typed.text("type")), None)
    if found is None:
        raise InvalidInputError("Say what kind of box it is.", "type")
    return found


def add_form() -> FormView:
    """Make the form that adds a box."""
    name = Field(
        "name", "Name", "text", required=True, hint="What you call it, such as: blue tub, cellar."
    )
    return FormView("/boxes/new", "Add the box", (name, _type_field(BoxType.TUB)))


def _add(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        intro = ("A box is anything that holds seed: a drawer, a tub, a jar, a shelf in a fridge.",)
        view = filled(add_form(), form, problem)
        return FormPage("Add a box", Link("Boxes", "/"), view, intro)

    def act(key: str, typed: Typed) -> str:
        del key
        name, kind = typed.text("name", longest=80), _box_type(typed)
        done = boxcare.add_box(parts.store, name, kind, now_ms=parts.clock.now_ms())
        if not parts.store.lots():
            return "/"  # the path of a first start goes on there
        return target(f"/boxes/{done.box.slug}", [done.event])

    return Deed("/boxes/new", page, act)


def _correct(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        box = parts.store.box(key)
        low = Field("target_low_pct", "Target from", "decimal", f"{box.target_low_pct:g}")
        high = Field("target_high_pct", "Target to", "decimal", f"{box.target_high_pct:g}")
        hours = Field("gap_hours", "A silence is bridged up to", "decimal", unit="hours")
        volume = "" if box.volume_l is None else f"{box.volume_l:g}"
        fields = (
            Field("name", "Name", "text", box.name, required=True),
            _type_field(box.type),
            replace(low, unit="% eRH"),
            replace(high, unit="% eRH", hint="Between these the seed is kept as you want it."),
            Field("note", "Note", "area", box.note),
            Field("volume_l", "Volume", "decimal", volume, unit="L", hint="May stay empty."),
            replace(hours, value=f"{box.gap_limit_s / 3600:g}"),
        )
        view = FormView(f"/boxes/{key}/edit", "Save", fields)
        return _about(box, f"Correct {box.name}", filled(view, form, problem))

    def act(key: str, typed: Typed) -> str:
        low, high = (
            typed.needed_number(name, "The target needs both ends.")
            for name in ("target_low_pct", "target_high_pct")
        )
        if not 0 <= low < high <= 100:
            field = "target_high_pct" if 0 <= low < 100 else "target_low_pct"
            raise InvalidInputError("The target must rise, within 0 to 100 % eRH.", field)
        hours = typed.needed_number("gap_hours", "Say how long a silence may be.")
        if not 0.25 <= hours <= 24 * 31:
            raise InvalidInputError("Choose from a quarter of an hour to a month.", "gap_hours")
        values = {
            "name": typed.text("name", longest=80),
            "type": _box_type(typed),
            "target_low_pct": low,
            "target_high_pct": high,
            "note": typed.text("note"),
            "volume_l": typed.number("volume_l"),
            "gap_limit_s": round(hours * 3600),
        }
        now_ms = parts.clock.now_ms()
        done = boxcare.correct_box(parts.store, key, values, now_ms=now_ms)
        return target(f"/boxes/{key}", [done.event] if done else ())

    return Deed("/boxes/{key}/edit", page, act)


def _about(box: Box, title: str, view: FormView, *intro: str) -> FormPage:
    return FormPage(title, Link(box.name, f"/boxes/{box.slug}"), view, intro)


def _opened(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        box = parts.store.box(key)
        view = FormView(f"/boxes/{key}/opened", "Note it", (AT, WORDS))
        return _about(box, f"{box.name} was opened", filled(view, form, problem))

    def act(key: str, typed: Typed) -> str:
        now_ms = parts.clock.now_ms()
        at_ms = typed.moment("at", now_ms)
        event = boxcare.note_opened(
            parts.store, key, typed.text("text"), at_ms=at_ms, now_ms=now_ms
        )
        return target(f"/boxes/{key}", [event])

    return Deed("/boxes/{key}/opened", page, act)


def _swap(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        box, last = parts.store.box(key), _last_swap(parts, key)
        before = dict(last.data) if last else {}
        grams = before.get("grams")
        kept = desiccants()
        chosen = str(before.get("desiccant") or DEFAULT)
        keys = OFFERED if chosen in OFFERED or chosen not in kept else (*OFFERED, chosen)
        options = tuple(Option(each, kept[each].name) for each in keys)
        amount = "" if grams is None else f"{float(grams):g}"
        fields = (
            Field("grams", "How much, dry", "decimal", amount, unit="g", required=True),
            Field("desiccant", "Which", "select", chosen, options=options),
        )
        view = FormView(f"/boxes/{key}/swap", "Note it", fields, (LOAD, DRIED, AT, WORDS))
        return _about(
            box,
            "Fresh desiccant",
            filled(view, form, problem),
            f"What went into {box.name}. When it must be swapped again is reckoned from here.",
        )

    def act(key: str, typed: Typed) -> str:
        now_ms = parts.clock.now_ms()
        grams = typed.needed_number("grams", "Say how many grams went in.")
        at_ms = typed.moment("at", now_ms)
        which = typed.text("desiccant") or DEFAULT
        if which not in desiccants():
            raise InvalidInputError("Choose one of these.", "desiccant")
        dried = typed.text("dried")
        event = boxcare.note_swap(
            parts.store, key, which, grams, typed.text("text"),
            load_pct=typed.number("load_pct"),
            dried_ms=typed.moment("dried", at_ms) if dried else None,
            at_ms=at_ms, now_ms=now_ms,
        )  # fmt: skip
        return target(f"/boxes/{key}", [event])

    return Deed("/boxes/{key}/swap", page, act)


def _last_swap(parts: WebParts, box: str) -> Event | None:
    events = parts.store.events(box=box, limit=FIRST_LOOK)
    return next((e for e in events if e.type is EventType.SWAP and not e.struck), None)


def _weighing(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        box, last = parts.store.box(key), _last_swap(parts, key)
        dry = dict(last.data).get("grams") if last else None
        amount = "" if dry is None else f"{float(dry):g}"
        fields = (
            Field("grams", "It weighs now", "decimal", unit="g", required=True),
            Field("dry_grams", "It weighed dry", "decimal", amount, unit="g", required=True),
        )
        view = FormView(f"/boxes/{key}/weighed", "Note it", fields, (AT, WORDS))
        return _about(
            box,
            "Desiccant weighed",
            filled(view, form, problem),
            "Weigh the desiccant without its bag, or take the bag off both figures.",
        )

    def act(key: str, typed: Typed) -> str:
        now_ms = parts.clock.now_ms()
        event = boxcare.note_weighing(
            parts.store,
            key,
            typed.needed_number("grams", "Say what it weighs now."),
            typed.needed_number("dry_grams", "Say what it weighed when it was dry."),
            typed.text("text"),
            at_ms=typed.moment("at", now_ms),
            now_ms=now_ms,
        )
        return target(f"/boxes/{key}", [event])

    return Deed("/boxes/{key}/weighed", page, act)


def _note(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        box = parts.store.box(key)
        text = Field("text", "Note", "area", required=True)
        view = FormView(f"/boxes/{key}/note", "Write it down", (text,), (AT,))
        return _about(box, f"Note about {box.name}", filled(view, form, problem))

    def act(key: str, typed: Typed) -> str:
        now_ms = parts.clock.now_ms()
        at_ms = typed.moment("at", now_ms)
        event = boxcare.note(parts.store, typed.text("text"), box=key, at_ms=at_ms, now_ms=now_ms)
        return target(f"/boxes/{key}", [event])

    return Deed("/boxes/{key}/note", page, act)
