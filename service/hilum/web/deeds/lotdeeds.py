"""What can be done to lots: move them, use seed, split, archive, note a test or a word."""

from dataclasses import replace

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Lot
from hilum.keeping.care import lotcare
from hilum.keeping.care.boxcare import note
from hilum.web.deeds.doing import Deed, Problem, filled, target
from hilum.web.deeds.formparts import AT, box_options, wrap_of, wrap_options
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import WebParts
from hilum.web.views.contexts import FormPage
from hilum.web.views.format import NBSP, iso_day, number, plain
from hilum.web.views.lots import kind_name, lot_url
from hilum.web.views.pieces import Fact, Field, FormView, Link, Option

NOWHERE = "-"


def lot_deeds(parts: WebParts) -> tuple[Deed, ...]:
    """Give the deeds of lots."""
    return (_move(parts), _use(parts), _split(parts), _archive(parts), _test(parts), _note(parts))


def _name(lot: Lot) -> str:
    return f"{kind_name(lot.kind)} {lot.variety}".strip()


def _about(lot: Lot, title: str, view: FormView, *intro: str) -> FormPage:
    facts = [Fact("Lot", f"{lot.code}, {_name(lot)}")]
    if lot.seeds is not None:
        facts.append(Fact("Seeds", number(lot.seeds)))
    if lot.grams is not None:
        facts.append(Fact("Weight", f"{plain(lot.grams)}{NBSP}g"))
    back = Link(f"Lot {lot.code}", lot_url(lot.code))
    return FormPage(title, back, view, intro, tuple(facts))


def _move(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        codes = form.many("lot")
        names = {lot.code: lot for lot in parts.store.lots() if lot.code in codes}
        boxes = (*box_options(parts), Option(NOWHERE, "no box: taken out"))
        lots = tuple(Option(code, f"{_name(lot)}, {code}") for code, lot in names.items())
        fields = (
            Field("lot", "Lots", "ticks", chosen=codes, options=lots),
            Field("to", "Into", "pick", options=boxes, required=True),
            Field("wrap", "Packed in", "select", options=wrap_options("as before")),
        )
        view = FormView("/lots/move", "Move", fields, (AT,))
        one = next(iter(names.values())) if len(names) == 1 else None
        title = f"Move {_name(one)}" if one else "Move lots"
        back = Link(f"Lot {one.code}", lot_url(one.code)) if one else Link("Lots", "/lots")
        intro = () if names else ("Tick lots in the list of a box, or in the list of all.",)
        return FormPage(title, back, filled(view, form, problem), intro)

    def act(key: str, typed: Typed) -> str:
        del key
        codes, now_ms = typed.form.many("lot"), parts.clock.now_ms()
        if not codes:
            raise InvalidInputError("Tick at least one lot.", "lot")
        box = typed.needed("to", "Choose where they go.")
        at_ms = typed.moment("at", now_ms)
        if box == NOWHERE:
            done = lotcare.take_out(parts.store, codes, at_ms=at_ms, now_ms=now_ms)
        else:
            wrap = wrap_of(typed.text("wrap"))
            done = lotcare.move_lots(parts.store, codes, box, wrap=wrap, at_ms=at_ms, now_ms=now_ms)
        if len(codes) == 1:
            return target(lot_url(codes[0]), done.events)
        return target("/journal" if box == NOWHERE else f"/boxes/{box}", done.events)

    return Deed("/lots/move", page, act)


_SEEDS = Field("seeds", "Seeds", "whole")
_GRAMS = Field("grams", "or by weight", "decimal", unit="g", hint="One of the two.")


def _use(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        lot = parts.store.lot(key)
        view = FormView(lot_url(key, "use"), "Take it off", (_SEEDS, _GRAMS), (AT,))
        return _about(lot, f"Use seed of {_name(lot)}", filled(view, form, problem))

    def act(key: str, typed: Typed) -> str:
        now_ms = parts.clock.now_ms()
        done = lotcare.use_seed(
            parts.store,
            key,
            seeds=typed.number("seeds"),
            grams=typed.number("grams"),
            at_ms=typed.moment("at", now_ms),
            now_ms=now_ms,
        )
        return target(lot_url(key), done.events)

    return Deed("/lots/{key}/use", page, act)


def _split(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        lot = parts.store.lot(key)
        fields = (
            replace(_SEEDS, label="Seeds of the new lot"),
            _GRAMS,
            Field("box", "Its box", "select", options=box_options(parts, "where it is now")),
            Field("wrap", "Packed in", "select", options=wrap_options("as before")),
        )
        code = Field("new_code", "Your own code", "text", hint="One is made if you leave it empty.")
        view = FormView(lot_url(key, "split"), "Split it", fields, (code, AT))
        intro = "The new lot has the same past: where it has been, its label and its tests."
        return _about(lot, f"Split {_name(lot)}", filled(view, form, problem), intro)

    def act(key: str, typed: Typed) -> str:
        now_ms = parts.clock.now_ms()
        done = lotcare.split_lot(
            parts.store,
            key,
            seeds=typed.number("seeds"),
            grams=typed.number("grams"),
            new_code=typed.text("new_code", longest=40) or None,
            box=typed.text("box") or None,
            wrap=wrap_of(typed.text("wrap")),
            at_ms=typed.moment("at", now_ms),
            now_ms=now_ms,
        )
        return target(lot_url(done.lots[1].code), done.events[1:])

    return Deed("/lots/{key}/split", page, act)


def _archive(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        lot = parts.store.lot(key)
        view = FormView(lot_url(key, "archive"), "Archive it", (), (AT,))
        intro = "It leaves the lists and its box. Its history is kept, and this can be taken back."
        return _about(lot, f"Archive {_name(lot)}", filled(view, form, problem), intro)

    def act(key: str, typed: Typed) -> str:
        now_ms = parts.clock.now_ms()
        at_ms = typed.moment("at", now_ms)
        done = lotcare.archive_lot(parts.store, key, at_ms=at_ms, now_ms=now_ms)
        return target(lot_url(key), done.events)

    return Deed("/lots/{key}/archive", page, act)


def _test(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        lot = parts.store.lot(key)
        today = parts.style.local(parts.clock.now_ms()).date()
        fields = (
            Field("sown", "Seeds sown", "whole", required=True),
            Field("germinated", "Came up", "whole"),
            Field("on", "Counted on", "date", iso_day(today)),
        )
        more = (
            Field(
                "replicates",
                "Came up in each part",
                "text",
                hint="Where you sowed several equal parts, such as 46, 48, 45, 44.",
            ),
            Field("method", "How", "text", hint="Such as: between paper at 20 °C, 10 days."),
            Field("note", "Note", "text"),
        )
        view = FormView(lot_url(key, "test"), "Note the test", fields, more)
        intro = "Fifty seeds tell more than ten: the figure then becomes this lot’s own."
        return _about(lot, f"Germination test of {_name(lot)}", filled(view, form, problem), intro)

    def act(key: str, typed: Typed) -> str:
        sown, on = typed.whole("sown"), typed.day("on")
        if sown is None:
            raise InvalidInputError("Say how many seeds were sown.", "sown")
        now_ms = parts.clock.now_ms()
        done = lotcare.note_test(
            parts.store,
            key,
            on=on or parts.style.local(now_ms).date(),
            sown=sown,
            germinated=typed.whole("germinated"),
            method=typed.text("method"),
            replicates=_counts(typed),
            note=typed.text("note"),
            now_ms=now_ms,
        )
        return target(lot_url(key), done.events)

    return Deed("/lots/{key}/test", page, act)


def _counts(typed: Typed) -> tuple[int, ...]:
    words = typed.text("replicates", longest=400).replace(",", " ").replace(";", " ").split()
    if not all(word.isascii() and word.isdigit() for word in words):
        raise InvalidInputError("Write whole numbers, such as 46, 48, 45, 44.", "replicates")
    return tuple(int(word) for word in words)


def _note(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        lot = parts.store.lot(key)
        text = Field("text", "Note", "area", required=True)
        view = FormView(lot_url(key, "note"), "Write it down", (text,), (AT,))
        return _about(lot, f"Note about {_name(lot)}", filled(view, form, problem))

    def act(key: str, typed: Typed) -> str:
        now_ms = parts.clock.now_ms()
        at_ms = typed.moment("at", now_ms)
        event = note(parts.store, typed.text("text"), lot=key, at_ms=at_ms, now_ms=now_ms)
        return target(lot_url(key), [event])

    return Deed("/lots/{key}/note", page, act)
