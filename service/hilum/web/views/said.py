"""Says what was just done, and takes it back: a line of the journal, never words of an address."""

import re
from collections.abc import Sequence
from urllib.parse import parse_qsl, urlencode, urlsplit

from hilum.domain.errors import ConflictError, NotFoundError
from hilum.domain.model import Event
from hilum.domain.ports import KeepingStore
from hilum.keeping.care.boxundo import undo_box
from hilum.keeping.care.calibration import COMPUTED_AGAIN
from hilum.keeping.care.register import in_address
from hilum.keeping.care.undo import can_undo, undo
from hilum.web.views.format import count
from hilum.web.views.pieces import FormView, Link, Said
from hilum.web.views.records import EVENT_WORDS, takeable

TOLD = 3
LOOKED_THROUGH = 100_000
STRIKE = "/strike"
CORRECTING = frozenset({"correct", "uncorrect"})


def lines(store: KeepingStore, did: str, box: str = "", lot: str = "") -> list[Event]:
    """Give the lines with ids as in "12" or "12-15", in order; those of one box or lot."""
    found = re.fullmatch(r"(\d{1,15})(?:-(\d{1,15}))?", did, re.ASCII)
    if found is None:
        return []
    first, last = int(found[1]), int(found[2] or found[1])
    events = store.events(box=box or None, lot=lot or None, limit=LOOKED_THROUGH)
    return sorted((e for e in events if first <= e.id <= last), key=lambda event: event.id)


def said(
    store: KeepingStore, did: str, back: str, *, box: str = "", lot: str = "", link: bool = False
) -> Said | None:
    """Say what was done; ``back`` is the page to show after it was taken back."""
    events = lines(store, did, box, lot)
    if not events:
        return None
    undone = all(takeable(event) for event in events)
    about = events[-1].lot
    return Said(
        words=tuple(_words(events)),
        undo=strike_form(did, back, box=box, lot=lot) if undone else None,
        link=Link(f"Lot {about}", f"/lots/{in_address(about)}") if link and about else None,
    )


def _words(events: Sequence[Event]) -> list[str]:
    shown = [line_words(event) for event in events[:TOLD]]
    if any(dict(event.data).get("action") in CORRECTING for event in events):
        shown.append(COMPUTED_AGAIN)
    rest = len(events) - TOLD
    return [*shown, f"And {count(rest, 'more', 'more')} like it."] if rest > 0 else shown


def line_words(event: Event) -> str:
    """Give a line of the journal as a sentence."""
    lot = f" (lot {event.lot})" if event.lot else ""
    words = f"{EVENT_WORDS[event.type]}{lot}" + (f": {event.text}" if event.text else ".")
    return f"Taken back: {words}" if event.struck else words


def strike_form(
    did: str, back: str, *, box: str = "", lot: str = "", submit: str = "Take it back"
) -> FormView:
    """Make the form that takes lines back."""
    hidden = (("did", did), ("box", box), ("lot", lot), ("back", back))
    return FormView(STRIKE, submit, (), hidden=hidden)


def strike(store: KeepingStore, did: str, box: str, lot: str) -> None:
    """Take lines back, the newest first: what they did is undone, and they stay struck through.

    Raises
    ------
    NotFoundError
        There is no such line.
    ConflictError
        One cannot be taken back, or something was built on it.
    """
    events = lines(store, did, box, lot)
    if not events:
        raise NotFoundError("The journal has no such line.")
    for event in reversed(events):
        if event.lot and can_undo(event):
            undo(store, event.lot, event.id)
        elif event.box and can_undo(event):
            undo_box(store, event.box, event.id)
        elif takeable(event):
            store.strike_event(event.id)
        else:
            raise ConflictError(f"“{line_words(event)}” cannot be taken back here.")


def place_after(back: str, did: str) -> str:
    """Give the address to go to, one of our own in any case, and have it say what was done."""
    parts = urlsplit(back)
    own = re.fullmatch(r"/(?![/\\])[^\\]*", parts.path) and not parts.scheme and not parts.netloc
    query = [pair for pair in parse_qsl(parts.query) if pair[0] != "did"]
    return f"{parts.path if own else '/journal'}?{urlencode([*query, ('did', did)])}"
