"""Takes back what was done to a box or with a sensor, while nothing else was built on it."""

from collections.abc import Callable, Container, Iterable
from dataclasses import replace

from hilum.domain.errors import ConflictError, NotFoundError
from hilum.domain.model import Box, BoxType, Changes, Event, Placement
from hilum.domain.ports import KeepingStore
from hilum.keeping.care.boxarchive import ARCHIVED
from hilum.keeping.care.boxcare import BoxDone
from hilum.keeping.care.lotparts import plain

LATEST = 1_000_000
"""Lines of the journal looked through for the one to take back."""


def undo_box(store: KeepingStore, slug: str, event_id: int) -> BoxDone:
    """Take one journal line of a box back; the line stays, struck through.

    Parameters
    ----------
    store : KeepingStore
        Where boxes are kept.
    slug : str
        Short name of the box.
    event_id : int
        Id of the line.

    Raises
    ------
    NotFoundError
        The box has no such line.
    ConflictError
        It was taken back before, cannot be taken back, or something was built on it since.
    """
    box = store.box(slug)
    lines = store.events(box=slug, limit=LATEST)
    event, action = line_to_take_back(lines, event_id, BOX_ACTIONS, box.name, "the box")
    before = BOX_ACTIONS[action](store, box, event)
    boxes = () if before == box else (before,)
    written = store.change(Changes(boxes=boxes, events=(replace(event, struck=True),)))
    return BoxDone(before, written.events[0])


def line_to_take_back(
    lines: Iterable[Event], event_id: int, actions: Container[str], name: str, what: str
) -> tuple[Event, str]:
    """Find a line of the journal that may be taken back, and the action it tells of.

    Parameters
    ----------
    lines : iterable of Event
        Lines of the box or lot.
    event_id : int
        Id of the line.
    actions : container of str
        Actions that can be taken back.
    name, what : str
        The box or lot by name, and what is to be corrected by hand instead ("the box").

    Raises
    ------
    NotFoundError
        There is no such line.
    ConflictError
        It was taken back before, or cannot be taken back.
    """
    event = next((each for each in lines if each.id == event_id), None)
    if event is None:
        raise NotFoundError(f"{name} has no line {event_id} in the journal.")
    if event.struck:
        raise ConflictError("This was taken back before.")
    action = str(dict(event.data).get("action", ""))
    if action not in actions:
        raise ConflictError(f"“{event.text}” cannot be taken back; correct {what} by hand instead.")
    return event, action


def _added(store: KeepingStore, box: Box, event: Event) -> Box:
    """Archive a box that was added by mistake and never used."""
    del event
    if box.archived or store.stays(box=box.slug) or store.placements(box=box.slug):
        raise ConflictError(f"{box.name} has been used since; archive it instead.")
    return replace(box, archived=True)


def _corrected(store: KeepingStore, box: Box, event: Event) -> Box:
    del store
    data = dict(event.data)
    names = [name.removeprefix("now ") for name in data if name.startswith("now ")]
    if any(plain(getattr(box, name)) != data[f"now {name}"] for name in names):
        raise _since(box)
    before = {name: data[f"was {name}"] for name in names}
    if "type" in before:
        return replace(box, **{**before, "type": BoxType(str(before["type"]))})  # type: ignore[arg-type]
    return replace(box, **before)  # type: ignore[arg-type]


def _archived(store: KeepingStore, box: Box, event: Event) -> Box:
    del store, event
    if not box.archived:
        raise _since(box)
    return replace(box, archived=False)


def _claimed(store: KeepingStore, box: Box, event: Event) -> Box:
    """Empty the time a sensor stood there."""
    placed = _placement(store, event)
    if placed.to_ms is not None:
        raise _since(box)
    store.end_placement(placed.id, placed.from_ms)
    return box


def _claim_ended(store: KeepingStore, box: Box, event: Event) -> Box:
    """Let a sensor stand there again from the moment it was taken away."""
    placed = _placement(store, event)
    if placed.to_ms is None or box.archived:
        raise _since(box)
    store.add_placement(replace(placed, id=0, from_ms=placed.to_ms, to_ms=None))
    return box


def _placement(store: KeepingStore, event: Event) -> Placement:
    number = dict(event.data).get("placement")
    found = next((each for each in store.placements() if each.id == number), None)
    if found is None:
        raise ConflictError("It is not known any longer where the sensor stood.")
    return found


BOX_ACTIONS: dict[str, Callable[[KeepingStore, Box, Event], Box]] = {
    "add": _added,
    "correct-box": _corrected,
    ARCHIVED: _archived,
    "claim": _claimed,
    "end claim": _claim_ended,
}
"""What can be taken back, by the name the line keeps; each gives the box as it is then."""


def _since(box: Box) -> ConflictError:
    return ConflictError(
        f"{box.name} was changed since; take the later change back first, or correct by hand."
    )
