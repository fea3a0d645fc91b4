"""Takes a box off the lists that is used no longer; its history is kept."""

from dataclasses import replace

from hilum.domain.errors import ConflictError
from hilum.domain.model import Changes, Event, EventType
from hilum.domain.ports import KeepingStore
from hilum.keeping.care.boxcare import BoxDone, end_claim
from hilum.keeping.care.lotparts import check_past

ARCHIVED = "archive-box"


def archive_box(store: KeepingStore, slug: str, *, at_ms: int, now_ms: int) -> BoxDone:
    """Archive a box that is empty; sensors that stand in it, or beside it, are taken away.

    Parameters
    ----------
    store : KeepingStore
        Where boxes are kept.
    slug : str
        Short name of the box.
    at_ms, now_ms : int
        When, and the present.

    Raises
    ------
    NotFoundError
        There is no such box.
    ConflictError
        Lots lie in it, or it is archived already.
    InvalidInputError
        The time lies in the future, or before a sensor came to it.
    """
    check_past(at_ms, now_ms)
    box = store.box(slug)
    if box.archived:
        raise ConflictError(f"Box “{box.name}” is archived already.")
    inside = [stay for stay in store.stays(box=slug) if stay.to_ms is None]
    if inside:
        few = ", ".join(stay.lot for stay in inside[:5]) + (", …" if len(inside) > 5 else "")
        raise ConflictError(f"{len(inside)} lots lie in {box.name} ({few}). Move them first.")
    for placed in store.placements(box=slug):
        if placed.to_ms is None:
            end_claim(store, placed.id, at_ms=at_ms, now_ms=now_ms)
    archived = replace(box, archived=True)
    data = (("action", ARCHIVED),)
    event = Event(0, at_ms, EventType.SETTING, box=slug, text="Archived.", data=data)
    written = store.change(Changes(boxes=(archived,), events=(event,)))
    return BoxDone(archived, written.events[0])
