"""Takes back what was done to a lot, while nothing else was built on it.

What was done to a box is taken back by :mod:`hilum.keeping.care.boxundo`.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

from hilum.domain.errors import ConflictError
from hilum.domain.model import Changes, Event, GerminationTest, Lot, Stay
from hilum.domain.ports import KeepingStore
from hilum.keeping.care.boxundo import BOX_ACTIONS, LATEST, line_to_take_back
from hilum.keeping.care.lotcare import Done
from hilum.keeping.care.lotparts import open_stay, plain


def undo(store: KeepingStore, code: str, event_id: int) -> Done:
    """Take one journal line of a lot back; the line stays, struck through.

    Parameters
    ----------
    store : KeepingStore
        Where lots are kept.
    code : str
        Code of the lot.
    event_id : int
        Id of the line.

    Raises
    ------
    NotFoundError
        The lot has no such line.
    ConflictError
        It was taken back before, cannot be taken back, or something was built on it since.
    """
    lot = store.lot(code)
    lines = store.events(lot=code, limit=LATEST)
    event, action = line_to_take_back(lines, event_id, _ACTIONS, f"Lot {code}", "the lot")
    changes = _ACTIONS[action](store, lot, event)
    struck = (replace(event, struck=True), *changes.events)
    written = store.change(replace(changes, events=struck))
    return Done(f"Taken back: {event.text}", written.events[:1], changes.lots)


def can_undo(event: Event) -> bool:
    """Tell whether a line is of a sort that can be taken back."""
    data = dict(event.data)
    action = data.get("action")
    if event.struck or event.lot is None:
        return not event.struck and action in BOX_ACTIONS
    return action in _ACTIONS and (action != "split" or "into" in data)


def _move(store: KeepingStore, lot: Lot, event: Event) -> Changes:
    came = open_stay(store, lot.code)
    if came is None or (came.box, came.from_ms) != (event.box, event.time_ms):
        raise _since(lot)
    emptied = replace(came, to_ms=came.from_ms)
    was = dict(event.data).get("from")
    if was is None:
        return Changes(stays=(emptied,))
    return Changes(stays=(emptied, _reopened(store, lot, str(was), event.time_ms, came.id)))


def _out(store: KeepingStore, lot: Lot, event: Event) -> Changes:
    if open_stay(store, lot.code) is not None:
        raise _since(lot)
    return Changes(stays=(_reopened(store, lot, event.box or "", event.time_ms),))


def _archive(store: KeepingStore, lot: Lot, event: Event) -> Changes:
    if not lot.archived:
        raise _since(lot)
    stays = () if event.box is None else (_reopened(store, lot, event.box, event.time_ms),)
    return Changes(lots=(replace(lot, archived=False),), stays=stays)


def _use(store: KeepingStore, lot: Lot, event: Event) -> Changes:
    del store
    data = dict(event.data)
    if (lot.seeds, lot.grams) != (data["seeds_after"], data["grams_after"]):
        raise _since(lot)
    before = replace(lot, seeds=data["seeds_before"], grams=data["grams_before"])  # type: ignore[arg-type]
    return Changes(lots=(before,))


def _correct(store: KeepingStore, lot: Lot, event: Event) -> Changes:
    del store
    data = dict(event.data)
    names = [name.removeprefix("now ") for name in data if name.startswith("now ")]
    if any(plain(getattr(lot, name)) != data[f"now {name}"] for name in names):
        raise _since(lot)
    before = {name: data[f"was {name}"] for name in names}
    if isinstance(day := before.get("label_date"), str):
        return Changes(lots=(replace(lot, **{**before, "label_date": date.fromisoformat(day)}),))  # type: ignore[arg-type]
    return Changes(lots=(replace(lot, **before),))  # type: ignore[arg-type]


def _test(store: KeepingStore, lot: Lot, event: Event) -> Changes:
    data = dict(event.data)

    def figures(test: GerminationTest) -> tuple[object, ...]:
        return test.on.isoformat(), test.sown, test.germinated

    wanted = (data["on"], data["sown"], data["germinated"])
    found = [test for test in store.tests(lot.code) if figures(test) == wanted]
    if not found:
        raise _since(lot)
    return Changes(dropped_tests=(found[-1].id,))


def _add(store: KeepingStore, lot: Lot, event: Event) -> Changes:
    """Let a lot that was entered by mistake go: it is archived, and its code can be used anew."""
    return _withdrawn(store, lot, event.id)


def _withdrawn(store: KeepingStore, lot: Lot, event_id: int) -> Changes:
    """Archive a lot nothing was done to since, and empty its stays."""
    since = [e for e in store.events(lot=lot.code, limit=LATEST) if e.id > event_id]
    if lot.archived or any(not event.struck for event in since):
        raise _since(lot)
    stays = store.stays(lot=lot.code)
    return Changes(
        lots=(replace(lot, archived=True),),
        stays=tuple(replace(stay, to_ms=stay.from_ms) for stay in reversed(stays)),
        dropped_tests=tuple(test.id for test in store.tests(lot.code)),
    )


def _split(store: KeepingStore, lot: Lot, event: Event) -> Changes:
    """Give the seed back to the lot it came from; both lines are struck."""
    del lot
    data = dict(event.data)
    if "into" not in data:
        raise ConflictError(f"“{event.text}” was written before splits could be taken back.")
    whole, part = (store.lot(str(data[name])) for name in ("from", "into"))
    lines = [
        e
        for each in (whole, part)
        for e in store.events(lot=each.code, limit=LATEST)
        if e.data == event.data and e.time_ms == event.time_ms and not e.struck
    ]
    gone = _withdrawn(store, part, max(line.id for line in lines))
    back = _use(store, whole, event).lots
    others = tuple(replace(line, struck=True) for line in lines if line.id != event.id)
    return replace(gone, lots=(*back, *gone.lots), events=others)


_ACTIONS: dict[str, Callable[[KeepingStore, Lot, Event], Changes]] = {
    "add": _add,
    "split": _split,
    "move": _move,
    "out": _out,
    "archive": _archive,
    "use": _use,
    "correct": _correct,
    "test": _test,
}


def _reopened(
    store: KeepingStore, lot: Lot, box: str, ended_ms: int, other_id: int | None = None
) -> Stay:
    """Give the stay that ended then, open again."""
    for stay in reversed(store.stays(lot=lot.code)):
        if stay.id != other_id and (stay.box, stay.to_ms) == (box, ended_ms):
            return replace(stay, to_ms=None)
    raise _since(lot)


def _since(lot: Lot) -> ConflictError:
    return ConflictError(
        f"Lot {lot.code} was changed since; take the later change back first, or correct by hand."
    )
