"""Care of lots: move, use, split, test, correct and archive them, each with a line in the journal.

Every function checks everything first and then writes in one step. A refusal is one sentence and
names the field it is about. What was written can be taken back with
:func:`hilum.keeping.care.undo.undo` while nothing else was built on it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date

from hilum.domain.errors import ConflictError, InvalidInputError
from hilum.domain.model import (
    Changes,
    Event,
    EventType,
    GerminationTest,
    Lot,
    Stay,
    Wrap,
)
from hilum.domain.ports import KeepingStore
from hilum.keeping.care.lotparts import (
    agreement,
    amount_words,
    came_up,
    check_amounts,
    check_day,
    check_past,
    check_year,
    codes_in_use,
    continued,
    each_once,
    ended,
    living,
    lots_are,
    moved,
    noon_ms,
    open_stay,
    parted,
    plain,
    too_early,
)
from hilum.keeping.care.register import check_code, next_lot_code
from hilum.science.kinds import kind

CORRECTABLE = tuple(field.name for field in fields(Lot) if field.name not in {"code", "archived"})
"""Fields of a lot that a correction may change."""

Data = tuple[tuple[str, float | str | None], ...]


@dataclass(frozen=True, slots=True)
class Done:
    """What was done, in words, and its lines in the journal (their ids take it back)."""

    words: str
    events: tuple[Event, ...]
    lots: tuple[Lot, ...] = ()
    hint: str = ""  # something the grower may want to know or do


def move_lots(
    store: KeepingStore,
    codes: Sequence[str],
    box: str,
    *,
    at_ms: int,
    now_ms: int,
    wrap: Wrap | None = None,
) -> Done:
    """Move lots into a box, all or none; one that was in no box arrives.

    Parameters
    ----------
    store : KeepingStore
        Where lots and boxes are kept.
    codes : sequence of str
        Codes of the lots.
    box : str
        Slug of the box.
    at_ms, now_ms : int
        When they were moved, and the present.
    wrap : Wrap, optional
        How they are packed from then on; by default as before (a new one: paper).

    Raises
    ------
    InvalidInputError
        No lot is named, one is named twice, or the time lies in the future.
    ConflictError
        A lot or the box is archived, the lot is there already, or the time lies before the lot
        came to where it is.
    NotFoundError
        There is no such lot or box.
    """
    check_past(at_ms, now_ms)
    place = store.box(box)
    if place.archived:
        raise ConflictError(f"Box “{place.name}” is archived; nothing can be put into it.")
    stays: list[Stay] = []
    events = []
    for code in each_once(codes):
        lot = living(store, code)
        left, came = moved(store, lot, place, wrap, at_ms)
        stays += [came] if left is None else [left, came]
        was = None if left is None else left.box
        text = "Arrived." if left is None else f"Moved from {store.box(left.box).name}."
        if left is not None and left.box == box:
            text = f"Packed anew: {came.wrap}."
        data: Data = (("action", "move"), ("from", was), ("wrap", came.wrap.value))
        events.append(Event(0, at_ms, EventType.MOVED, box=box, lot=code, text=text, data=data))
    written = store.change(Changes(stays=tuple(stays), events=tuple(events)))
    return Done(f"{lots_are(codes)} now in {place.name}.", written.events)


def take_out(store: KeepingStore, codes: Sequence[str], *, at_ms: int, now_ms: int) -> Done:
    """Take lots out of their boxes, all or none; from then on nothing is measured for them.

    Raises
    ------
    InvalidInputError
        No lot is named, one is named twice, or the time lies in the future.
    ConflictError
        A lot is in no box, or came there only later.
    """
    check_past(at_ms, now_ms)
    stays = []
    events = []
    for code in each_once(codes):
        lot = living(store, code)
        stay = open_stay(store, code)
        if stay is None:
            raise ConflictError(f"Lot {code} is in no box.")
        stays.append(ended(lot, stay, store.box(stay.box), at_ms))
        data: Data = (("action", "out"),)
        text = "Taken out."
        events.append(
            Event(0, at_ms, EventType.MOVED, box=stay.box, lot=code, text=text, data=data)
        )
    written = store.change(Changes(stays=tuple(stays), events=tuple(events)))
    return Done(f"{lots_are(codes)} now in no box.", written.events)


def use_seed(
    store: KeepingStore,
    code: str,
    *,
    seeds: float | None = None,
    grams: float | None = None,
    at_ms: int,
    now_ms: int,
) -> Done:
    """Take seed out of a lot, by count or by weight; the other goes down in proportion.

    Raises
    ------
    InvalidInputError
        Neither or both are given, the amount is no amount, more than there is, or in the future.
    """
    check_past(at_ms, now_ms)
    lot = living(store, code)
    rest, _ = parted(lot, seeds, grams)
    amount = amount_words(seeds, grams)
    data: Data = (
        ("action", "use"),
        ("seeds_before", lot.seeds),
        ("seeds_after", rest.seeds),
        ("grams_before", lot.grams),
        ("grams_after", rest.grams),
    )
    event = Event(0, at_ms, EventType.NOTE, lot=code, text=f"Used {amount}.", data=data)
    written = store.change(Changes(lots=(rest,), events=(event,)))
    empty = rest.seeds == 0 or rest.grams == 0
    hint = "Nothing is left of it: archive it to take it off the lists." if empty else ""
    return Done(f"{amount} used from lot {code}.", written.events, (rest,), hint)


def split_lot(
    store: KeepingStore,
    code: str,
    *,
    seeds: float | None = None,
    grams: float | None = None,
    new_code: str | None = None,
    box: str | None = None,
    wrap: Wrap | None = None,
    at_ms: int,
    now_ms: int,
) -> Done:
    """Make two lots of one; the new one has the same past: stays, label and tests.

    Parameters
    ----------
    store : KeepingStore
        Where lots are kept.
    code : str
        Code of the lot.
    seeds, grams : float, optional
        How much goes into the new lot; one of them.
    new_code : str, optional
        Code of the new lot; else one is made.
    box : str, optional
        Box the new lot goes into; by default it stays where it is.
    wrap : Wrap, optional
        How the new lot is packed; by default as before.
    at_ms, now_ms : int
        When it was split, and the present.

    Raises
    ------
    InvalidInputError
        The amount cannot be used, the new code is in use, or the time lies in the future.
    ConflictError
        The lot is archived, or came to where it is only later.
    """
    check_past(at_ms, now_ms)
    lot = living(store, code)
    known = codes_in_use(store)
    name = (new_code or next_lot_code(known)).strip()
    check_code(name, known, "new_code")
    rest, part = parted(lot, seeds, grams)
    part = replace(part, code=name)
    past = [replace(stay, id=0, lot=name) for stay in store.stays(lot=code)]
    last = past[-1] if past else None
    if last is not None and at_ms < last.from_ms:
        raise too_early(lot, last, store.box(last.box))
    if box is not None or (wrap is not None and last is not None):
        place = store.box(box if box is not None else past[-1].box)
        past = continued(past, part, place, wrap, at_ms)
    tests = tuple(replace(test, id=0, lot=name) for test in store.tests(code))
    amount = amount_words(seeds, grams)
    data: Data = (
        ("action", "split"),
        *(("from", code), ("into", name)),
        *(("seeds_before", lot.seeds), ("seeds_after", rest.seeds)),
        *(("grams_before", lot.grams), ("grams_after", rest.grams)),
    )
    texts = ((code, f"Split: {amount} became lot {name}."), (name, f"Split from lot {code}."))
    events = tuple(
        Event(0, at_ms, EventType.NOTE, lot=each, text=text, data=data) for each, text in texts
    )
    written = store.change(Changes((), (rest, part), tuple(past), tests, events=events))
    return Done(f"{amount} of lot {code} are now lot {name}.", written.events, (rest, part))


def note_test(
    store: KeepingStore,
    code: str,
    *,
    on: date,
    sown: int,
    germinated: int | None = None,
    method: str = "",
    replicates: Sequence[int] = (),
    note: str = "",
    now_ms: int,
) -> Done:
    """Note a germination test of a lot.

    Parameters
    ----------
    store : KeepingStore
        Where lots are kept.
    code : str
        Code of the lot.
    on : date
        Day it was counted.
    sown : int
        Seeds sown in all.
    germinated : int, optional
        Seeds that came up in all; may be left out where replicates are given.
    method, note : str
        In words.
    replicates : sequence of int, optional
        How many came up in each of several equal parts.
    now_ms : int
        The present.

    Raises
    ------
    InvalidInputError
        The figures contradict each other, or the day lies in the future or before the harvest.
    ConflictError
        The lot is archived, or this very test was noted before.
    """
    lot = living(store, code)
    check_day(on, now_ms, "on")
    if lot.year is not None and on.year < lot.year - 1:
        raise InvalidInputError(
            f"Lot {code} is of {lot.year}; it cannot have been tested in {on.year}.", "on"
        )
    total = came_up(germinated, replicates, sown)
    hint = agreement(replicates, sown)
    test = GerminationTest(0, code, on, sown, total, method, tuple(replicates), note)
    if any(replace(kept, id=0, note=note) == test for kept in store.tests(code)):
        raise ConflictError(f"This test of lot {code}, {total} of {sown} on {on}, is noted.")
    data: Data = (
        ("action", "test"),
        ("on", on.isoformat()),
        ("sown", sown),
        ("germinated", total),
    )
    time_ms = min(now_ms, noon_ms(on))
    text = f"{total} of {sown} came up."
    event = Event(0, time_ms, EventType.TEST, lot=code, text=text, data=data)
    written = store.change(Changes(tests=(test,), events=(event,)))
    return Done(f"Test of lot {code} noted: {text}", written.events, hint=hint)


def correct_lot(
    store: KeepingStore, code: str, values: Mapping[str, object], *, now_ms: int
) -> Done:
    """Correct what is written about a lot.

    Parameters
    ----------
    store : KeepingStore
        Where lots are kept.
    code : str
        Code of the lot.
    values : mapping
        New values by name of field (:data:`CORRECTABLE`).
    now_ms : int
        The present.

    Raises
    ------
    InvalidInputError
        A field cannot be corrected or a value cannot be used.
    UnknownNameError
        There is no such kind.
    """
    lot = store.lot(code)
    for name in values:
        if name not in CORRECTABLE:
            raise InvalidInputError(f"“{name}” of a lot cannot be corrected.", name)
    changed = replace(lot, **values)  # type: ignore[arg-type]
    kind(changed.kind)
    check_amounts(changed)
    check_year(changed.year, now_ms)
    if changed.label_date is not None:
        check_day(changed.label_date, now_ms, "label_date")
    differing = [name for name in CORRECTABLE if getattr(lot, name) != getattr(changed, name)]
    if not differing:
        return Done(f"Nothing to correct in lot {code}.", (), (lot,))
    pairs = [(f"was {name}", plain(getattr(lot, name))) for name in differing]
    pairs += [(f"now {name}", plain(getattr(changed, name))) for name in differing]
    data: Data = (("action", "correct"), *pairs)
    text = "Corrected: " + ", ".join(name.replace("_", " ") for name in differing) + "."
    event = Event(0, now_ms, EventType.NOTE, lot=code, text=text, data=data)
    written = store.change(Changes(lots=(changed,), events=(event,)))
    return Done(f"Lot {code} corrected.", written.events, (changed,))


def archive_lot(store: KeepingStore, code: str, *, at_ms: int, now_ms: int) -> Done:
    """Take a lot off the lists and out of its box; its history is kept.

    Raises
    ------
    ConflictError
        The lot is archived already, or came to where it is only later.
    """
    check_past(at_ms, now_ms)
    lot = living(store, code)
    stay = open_stay(store, code)
    stays = () if stay is None else (ended(lot, stay, store.box(stay.box), at_ms),)
    archived = replace(lot, archived=True)
    event = Event(
        *(0, at_ms, EventType.NOTE),
        box=None if stay is None else stay.box,
        lot=code,
        text="Archived.",
        data=(("action", "archive"),),
    )
    written = store.change(Changes(lots=(archived,), stays=stays, events=(event,)))
    return Done(f"Lot {code} archived.", written.events, (archived,))
