"""Care of boxes: add and correct them, place sensors, and note what was done to them.

Like ``lotcare``: everything is checked first, a refusal is one sentence that names its field, and
what was done gets a line in the journal.
"""

import re
import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields, replace

from hilum.domain.errors import ConflictError, InvalidInputError
from hilum.domain.model import Box, BoxType, Changes, Event, EventType, Placement, Role
from hilum.domain.ports import KeepingStore, Store
from hilum.keeping.care.lotparts import check_past, plain
from hilum.science.desiccant import Desiccant, find_desiccant, gel_load_pct

CORRECTABLE = tuple(f.name for f in fields(Box) if f.name not in {"slug", "archived"})
"""Fields of a box that a correction may change."""

LONGEST_SLUG = 60
MOST_GRAMS = 100_000.0
FULL_AT = (95.0, 20.0)
"""Humidity [%] and temperature [°C] in which desiccant holds about all it can."""

HEAVIER = 2.0
"""No desiccant takes up its own weight of water below 100 % RH: more is a slip of the pen."""

_ROLE_WORDS = {
    Role.INSIDE: "inside",
    Role.SECOND: "inside, for comparison",
    Role.OUTSIDE: "in the room around it",
}


@dataclass(frozen=True, slots=True)
class BoxDone:
    """What was done to a box, and its line in the journal."""

    box: Box
    event: Event


def slug_for(name: str, known: Collection[str]) -> str:
    """Make a short name for addresses and topics that is not in use.

    Parameters
    ----------
    name : str
        What the box is called, in any script.
    known : collection of str
        Short names in use.

    Returns
    -------
    str
        Lower-case letters, digits and hyphens; "box" where the name holds none of them.
    """
    ascii_name = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "-", ascii_name).strip("-")[:LONGEST_SLUG].strip("-") or "box"
    if slug == "new":  # the address of the page that adds one
        slug = "box-new"
    if slug not in known:
        return slug
    return next(f"{slug}-{n}" for n in range(2, len(known) + 3) if f"{slug}-{n}" not in known)


def add_box(store: KeepingStore, name: str, box_type: BoxType, *, now_ms: int) -> BoxDone:
    """Add a box with the limits its type has by default.

    Raises
    ------
    InvalidInputError
        The name is empty, or another box has it.
    """
    kept = store.boxes()
    _check_name(name, "", kept)
    box = Box(slug_for(name, {each.slug for each in kept}), name.strip(), box_type)
    return _written(store, box, "Added.", (("action", "add"),), now_ms)


def correct_box(
    store: KeepingStore, slug: str, values: Mapping[str, object], *, now_ms: int
) -> BoxDone | None:
    """Correct what is written about a box; nothing is given back where nothing differs.

    Parameters
    ----------
    store : KeepingStore
        Where boxes are kept.
    slug : str
        Short name of the box.
    values : mapping
        New values by name of field (:data:`CORRECTABLE`).
    now_ms : int
        The present.

    Raises
    ------
    InvalidInputError
        A field cannot be corrected or a value cannot be used.
    """
    box = store.box(slug)
    for name in values:
        if name not in CORRECTABLE:
            raise InvalidInputError(f"“{name}” of a box cannot be corrected.", name)
    changed = replace(box, **values)  # type: ignore[arg-type]
    _check_name(changed.name, slug, store.boxes())
    if changed.volume_l is not None and not 0 < changed.volume_l <= MOST_GRAMS:
        raise InvalidInputError("A volume must be above zero.", "volume_l")
    differing = [name for name in CORRECTABLE if getattr(box, name) != getattr(changed, name)]
    if not differing:
        return None
    pairs = [(f"was {name}", plain(getattr(box, name))) for name in differing]
    pairs += [(f"now {name}", plain(getattr(changed, name))) for name in differing]
    words = ", ".join(_FIELD_WORDS[name] for name in differing)
    data = (("action", "correct-box"), *pairs)
    return _written(store, changed, f"Corrected: {words}.", data, now_ms)


_FIELD_WORDS = {
    "name": "name",
    "type": "type",
    "target_low_pct": "lower end of the target",
    "target_high_pct": "upper end of the target",
    "gap_limit_s": "longest silence bridged",
    "volume_l": "volume",
    "note": "note",
}


def _check_name(name: str, slug: str, kept: Collection[Box]) -> None:
    if not name.strip():
        raise InvalidInputError("A box needs a name.", "name")
    alike = next(
        (b for b in kept if b.slug != slug and b.name.casefold() == name.strip().casefold()), None
    )
    if alike is not None:
        raise InvalidInputError(f"There is a box called {alike.name} already.", "name")


def _written(
    store: KeepingStore,
    box: Box,
    text: str,
    data: tuple[tuple[str, float | str | None], ...],
    now_ms: int,
) -> BoxDone:
    event = Event(0, now_ms, EventType.SETTING, box=box.slug, text=text, data=data)
    done = store.change(Changes(boxes=(box,), events=(event,)))
    return BoxDone(box, done.events[0])


def claim_sensor(
    store: Store, sensor: str, slug: str, role: Role, *, from_ms: int, now_ms: int
) -> BoxDone:
    """Say which box a sensor stands in, or beside.

    Raises
    ------
    NotFoundError
        There is no such sensor or box.
    InvalidInputError
        The time lies in the future.
    ConflictError
        It stands elsewhere at that time, the box has an inside sensor then, or is archived.
    """
    check_past(from_ms, now_ms)
    store.sensor(sensor)
    box = store.box(slug)
    if box.archived:
        raise ConflictError(f"Box “{box.name}” is archived; no sensor can stand in it.")
    placed = store.add_placement(Placement(0, sensor, slug, role, from_ms))
    data = (("action", "claim"), ("placement", placed.id))
    text = f"Sensor {sensor} stands {_ROLE_WORDS[role]}."
    event = Event(0, now_ms, EventType.SETTING, slug, sensor=sensor, text=text, data=data)
    return BoxDone(box, store.add_event(event))


def end_claim(store: KeepingStore, placement_id: int, *, at_ms: int, now_ms: int) -> BoxDone:
    """Say that a sensor stands there no longer.

    Raises
    ------
    ConflictError
        The placement is not there or ended before.
    InvalidInputError
        The time lies in the future or before it came there.
    """
    check_past(at_ms, now_ms)
    placed = next((p for p in store.placements() if p.id == placement_id), None)
    if placed is None or placed.to_ms is not None:
        raise ConflictError("This sensor stands there no longer.")
    if at_ms < placed.from_ms:
        raise InvalidInputError("That is before it came there.", "at")
    store.end_placement(placement_id, at_ms)
    text = f"Sensor {placed.sensor} taken away."
    data = (("action", "end claim"), ("placement", placement_id))
    event = Event(
        0, at_ms, EventType.SETTING, placed.box, sensor=placed.sensor, text=text, data=data
    )
    return BoxDone(store.box(placed.box), store.add_event(event))


def note_opened(store: KeepingStore, box: str, text: str, *, at_ms: int, now_ms: int) -> Event:
    """Note that a box was opened."""
    return _noted(store, Event(0, at_ms, EventType.OPENED, box, text=text), now_ms)


def note_swap(
    store: KeepingStore,
    box: str,
    desiccant: str,
    grams: float,
    text: str,
    *,
    load_pct: float | None = None,
    dried_ms: int | None = None,
    at_ms: int,
    now_ms: int,
) -> Event:
    """Note that fresh desiccant was put into a box.

    Parameters
    ----------
    store : KeepingStore
        Where the journal is kept.
    box : str
        Slug.
    desiccant : str
        Kind.
    grams : float
        Dry weight [g].
    text : str
        More words; may be empty.
    load_pct : float, optional
        Water it held already [g per 100 g]; not given: fresh from the oven.
    dried_ms : int, optional
        When it was dried.
    at_ms, now_ms : int
        When it went in; and the time of writing.

    Raises
    ------
    InvalidInputError
        The desiccant is not known, its weight or load cannot be, it was dried after it went in, or
        the time lies in the future.
    """
    kept = find_desiccant(desiccant)
    _check_grams(grams, "grams")
    data: list[tuple[str, float | str | None]] = [("desiccant", kept.key), ("grams", grams)]
    words = f"{grams:g} g of {kept.name.split(' (')[0]}."
    if load_pct is not None:
        _check_load(kept, load_pct)
        data.append(("initial_load_pct", load_pct))
        words += f" It held {load_pct:g} g of water per 100 g."
    if dried_ms is not None:
        if dried_ms > at_ms:
            raise InvalidInputError("That is after it went in.", "dried")
        data.append(("regenerated_ms", dried_ms))
    words = f"{words} {text}".strip()
    return _noted(store, Event(0, at_ms, EventType.SWAP, box, text=words, data=tuple(data)), now_ms)


def note_weighing(
    store: KeepingStore,
    box: str,
    grams: float,
    dry_grams: float,
    text: str,
    *,
    at_ms: int,
    now_ms: int,
) -> Event:
    """Note what the desiccant of a box weighs now, beside what it weighed dry.

    Raises
    ------
    InvalidInputError
        A weight cannot be, or the time lies in the future.
    """
    _check_grams(dry_grams, "dry_grams")
    _check_grams(grams, "grams")
    if grams > HEAVIER * dry_grams:
        raise InvalidInputError(
            f"{dry_grams:g} g of desiccant cannot have become {grams:g} g.", "grams"
        )
    data = (("grams", grams), ("dry_grams", dry_grams))
    words = f"The desiccant weighs {grams:g} g; dry it weighed {dry_grams:g} g. {text}".strip()
    return _noted(store, Event(0, at_ms, EventType.WEIGHED, box, text=words, data=data), now_ms)


def note(
    store: KeepingStore,
    text: str,
    *,
    box: str | None = None,
    lot: str | None = None,
    at_ms: int,
    now_ms: int,
) -> Event:
    """Write a note about a box, a lot, or neither.

    Raises
    ------
    InvalidInputError
        There are no words, or the time lies in the future.
    """
    if not text.strip():
        raise InvalidInputError("Write what is to be noted.", "text")
    if lot is not None:
        store.lot(lot)
    return _noted(store, Event(0, at_ms, EventType.NOTE, box, lot, text=text.strip()), now_ms)


def _check_load(desiccant: Desiccant, load_pct: float) -> None:
    full = gel_load_pct(desiccant.key, *FULL_AT)
    if not 0 <= load_pct <= full:
        raise InvalidInputError(
            f"100 g of {desiccant.name.split(' (')[0]} hold from 0 to about {full:.0f} g of water, "
            f"not {load_pct:g}.",
            "load_pct",
        )


def _check_grams(grams: float, field: str) -> None:
    if not 0 < grams <= MOST_GRAMS:
        raise InvalidInputError(f"A weight must be above zero, not {grams:g} g.", field)


def _noted(store: KeepingStore, event: Event, now_ms: int) -> Event:
    check_past(event.time_ms, now_ms)
    if event.box is not None:
        store.box(event.box)
    return store.add_event(event)
