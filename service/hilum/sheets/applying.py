"""A confirmed proposal, written in one step."""

from collections.abc import Collection
from dataclasses import dataclass

from hilum.domain.errors import ConflictError
from hilum.domain.model import Changes, Event, EventType
from hilum.domain.ports import KeepingStore
from hilum.keeping.care.lotparts import plain
from hilum.sheets.proposal import Proposal
from hilum.sheets.verdicts import LotChange, Verdict


@dataclass(frozen=True, slots=True)
class Applied:
    """What was written."""

    new: int
    changed: int
    boxes: int
    words: str


def apply(
    proposal: Proposal, store: KeepingStore, now_ms: int, *, without: Collection[int] = ()
) -> Applied:
    """Write what a proposal proposes: all of it or, if anything cannot be, nothing.

    Parameters
    ----------
    proposal : Proposal
        What was proposed and confirmed.
    store : KeepingStore
        Where to write.
    now_ms : int
        The present, for the journal.
    without : collection of int, optional
        Rows to leave out.

    Raises
    ------
    ConflictError
        What is kept changed since the proposal was made; propose again.
    """
    rows = [
        change
        for change in proposal.changes
        if change.verdict is not Verdict.SAME and change.row not in without
    ]
    _check_fresh(rows, proposal, store)
    new = sum(change.verdict is Verdict.NEW for change in rows)
    used = {change.begins.box for change in rows if change.begins}
    boxes = tuple(box for box in proposal.new_boxes if box.slug in used) + proposal.extra.boxes
    counted = f"{new} new, {len(rows) - new} changed"
    if not rows and not boxes and proposal.extra == Changes():
        return Applied(0, 0, 0, "Nothing to change: everything is here already.")
    stays = [stay for change in rows for stay in (change.ends, change.begins) if stay]
    extra = proposal.extra
    events = [] if proposal.own else [_imported(proposal, counted, now_ms)]
    events += [event for change in rows for event in _events(change, now_ms)]
    store.change(
        Changes(
            boxes=boxes,
            lots=tuple(change.lot for change in rows),
            stays=(*stays, *extra.stays),
            tests=extra.tests,
            events=(*extra.events, *events),
        )
    )
    return Applied(new, len(rows) - new, len(boxes), f"Lots: {counted}. Boxes: {len(boxes)}.")


def _check_fresh(rows: list[LotChange], proposal: Proposal, store: KeepingStore) -> None:
    kept = {lot.code: lot for lot in store.lots()}
    known = {box.slug for box in store.boxes()}
    open_stays = {stay.id: stay for stay in store.stays() if stay.to_ms is None}
    stale = any(kept.get(change.lot.code) != change.before for change in rows)
    stale |= any(change.ends and change.ends.id not in open_stays for change in rows)
    stale |= any(box.slug in known for box in proposal.new_boxes)
    if stale:
        raise ConflictError(
            "What is kept was changed in the meantime. Nothing was imported; read the file again."
        )


def _imported(proposal: Proposal, counted: str, now_ms: int) -> Event:
    text = f"Imported {proposal.file}: {counted}."
    return Event(0, now_ms, EventType.NOTE, text=text)


def _events(change: LotChange, now_ms: int) -> list[Event]:
    """Lines for the journal, such as care of lots writes: they can be taken back."""
    events = []
    code = change.lot.code
    names = [each.field for each in change.differences if each.field != "box"]
    if change.before is not None and names:
        pairs = [(f"was {name}", plain(getattr(change.before, name))) for name in names]
        pairs += [(f"now {name}", plain(getattr(change.lot, name))) for name in names]
        said = ", ".join(name.replace("_", " ") for name in names)
        text = f"Corrected from a file: {said}."
        events.append(
            Event(
                0, now_ms, EventType.NOTE, lot=code, text=text, data=(("action", "correct"), *pairs)
            )
        )
    if change.begins is not None and change.before is not None:
        stay = change.begins
        was = change.ends.box if change.ends else None
        events.append(
            Event(
                *(0, stay.from_ms, EventType.MOVED),
                box=stay.box,
                lot=code,
                text="Moved, as a file said." if was else "Arrived.",
                data=(("action", "move"), ("from", was), ("wrap", stay.wrap.value)),
            )
        )
    return events
