"""Enters a new lot, with the place it comes to, in one step."""

from dataclasses import replace

from hilum.domain.errors import ConflictError
from hilum.domain.model import Changes, Event, EventType, Lot, Stay, Wrap
from hilum.domain.ports import KeepingStore
from hilum.keeping.care.lotcare import Done
from hilum.keeping.care.lotparts import (
    check_amounts,
    check_day,
    check_past,
    check_year,
    codes_in_use,
)
from hilum.keeping.care.register import check_code, next_lot_code
from hilum.science.kinds import kind

ADDED = "add"


def enter_lot(
    store: KeepingStore,
    lot: Lot,
    *,
    box: str | None = None,
    wrap: Wrap = Wrap.PAPER,
    from_ms: int,
    now_ms: int,
    took: str = "",
) -> Done:
    """Add a lot, and put it into a box where one is named.

    Parameters
    ----------
    store : KeepingStore
        Where lots are kept.
    lot : Lot
        The lot; without a code it is given one.
    box : str, optional
        Short name of the box it lies in.
    wrap : Wrap
        How it is packed there.
    from_ms, now_ms : int
        Since when it lies there, and the present.
    took : str
        What its kind was taken for, in words, for the journal.

    Raises
    ------
    InvalidInputError
        The code is in use, a figure cannot be, or a date lies in the future.
    ConflictError
        The box is archived.
    NotFoundError
        There is no such box.
    UnknownNameError
        There is no such kind.
    """
    check_past(from_ms, now_ms)
    named = kind(lot.kind)
    known = codes_in_use(store)
    lot = replace(lot, code=lot.code.strip() or next_lot_code(known))
    check_code(lot.code, known, "code")
    check_amounts(lot)
    check_year(lot.year, now_ms)
    if lot.label_date is not None:
        check_day(lot.label_date, now_ms, "label_date")
    stays: tuple[Stay, ...] = ()
    if box is not None:
        place = store.box(box)
        if place.archived:
            raise ConflictError(f"Box “{place.name}” is archived; nothing can be put into it.")
        stays = (Stay(0, lot.code, box, wrap, from_ms),)
    text = f"Added: {took or named.common}."
    data = (("action", ADDED),)
    event = Event(0, now_ms, EventType.NOTE, box=box, lot=lot.code, text=text, data=data)
    written = store.change(Changes(lots=(lot,), stays=stays, events=(event,)))
    title = f"{named.common} {lot.variety}".strip()
    return Done(f"{title} is entered as lot {lot.code}.", written.events, (lot,))
