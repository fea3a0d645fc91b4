"""What care of lots checks, and the small steps it is made of."""

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from hilum.domain.errors import ConflictError, InvalidInputError, OutOfRangeError
from hilum.domain.model import Box, Lot, Stay, Wrap
from hilum.domain.moments import utc_words
from hilum.domain.ports import KeepingStore
from hilum.science.replicates import replicates_agree

OLDEST_YEAR = 1900
MOST_SEEDS, MOST_GRAMS = 1e8, 1e6
"""More than any lot holds: a slip of the pen."""

AHEAD = timedelta(hours=14)
"""The earliest time zone is this far ahead of UTC: there it is tomorrow already."""


def living(store: KeepingStore, code: str) -> Lot:
    """Give a lot that is not archived."""
    lot = store.lot(code)
    if lot.archived:
        raise ConflictError(f"Lot {code} is archived; take the archiving back first.")
    return lot


def codes_in_use(store: KeepingStore) -> list[str]:
    """Give the codes of all lots, without those whose entry was taken back: they are free again."""
    return [lot.code for lot in store.lots() if not (lot.archived and entry_struck(store, lot))]


def entry_struck(store: KeepingStore, lot: Lot) -> bool:
    """Tell whether it was taken back that a lot was entered, or split from another."""
    for event in store.events(lot=lot.code):  # the newest first
        data = dict(event.data)
        if data.get("action") == "add" or data.get("into") == lot.code:
            return event.struck
    return False


def open_stay(store: KeepingStore, code: str) -> Stay | None:
    """Give the stay a lot is in now."""
    return next((stay for stay in store.stays(lot=code) if stay.to_ms is None), None)


def check_past(at_ms: int, now_ms: int) -> None:
    """Refuse a time that has not come."""
    if at_ms > now_ms:
        raise InvalidInputError(f"{utc_words(at_ms)} lies in the future.", "at")


def check_day(on: date, now_ms: int, field: str) -> None:
    """Refuse a day that has come nowhere on earth."""
    if on > (datetime.fromtimestamp(now_ms / 1000, UTC) + AHEAD).date():
        raise InvalidInputError(f"{on} lies in the future.", field)
    if on.year < OLDEST_YEAR:
        raise InvalidInputError(f"{on} is too long ago for any seed that lives.", field)


def check_amounts(lot: Lot) -> None:
    """Refuse more seed than any lot holds."""
    for field, most, unit in (("seeds", MOST_SEEDS, "seeds"), ("grams", MOST_GRAMS, "g")):
        amount = getattr(lot, field)
        if amount is not None and amount > most:
            raise InvalidInputError(
                f"{amount:g} {unit} are more than any lot holds ({most:,.0f} at most).", field
            )


def check_year(year: int | None, now_ms: int) -> None:
    """Refuse a year of harvest or packing that lies ahead, or too long ago for seed that lives."""
    next_year = datetime.fromtimestamp(now_ms / 1000, UTC).year + 1
    if year is not None and not OLDEST_YEAR <= year <= next_year:
        raise InvalidInputError(f"{year} cannot be the year of harvest or packing.", "year")


def plain(value: object) -> float | str | None:
    """Give a field's value as an event keeps it."""
    return value if value is None or isinstance(value, int | float) else str(value)


def each_once(codes: Sequence[str]) -> Sequence[str]:
    """Refuse an empty list of lots, and one that names a lot twice."""
    if not codes:
        raise InvalidInputError("Name at least one lot.", "lots")
    twice = next((code for code in codes if codes.count(code) > 1), None)
    if twice is not None:
        raise InvalidInputError(
            f"Lot {twice} is named twice; it cannot be in two boxes at once.", "lots"
        )
    return codes


def lots_are(codes: Sequence[str]) -> str:
    """Begin a sentence about these lots."""
    return f"Lot {codes[0]} is" if len(codes) == 1 else f"{len(codes)} lots are"


def moved(
    store: KeepingStore, lot: Lot, place: Box, wrap: Wrap | None, at_ms: int
) -> tuple[Stay | None, Stay]:
    """Give the stay that ends, with its end, and the one that begins."""
    stays = store.stays(lot=lot.code)
    last = stays[-1] if stays else None
    new = Stay(0, lot.code, place.slug, wrap or (last.wrap if last else Wrap.PAPER), at_ms)
    if last is None:
        return None, new
    if last.to_ms is not None:
        if at_ms < last.to_ms:
            raise too_early(lot, last, store.box(last.box))
        return None, new
    if (last.box, last.wrap) == (new.box, new.wrap):
        raise ConflictError(f"Lot {lot.code} is in {place.name} already.")
    return ended(lot, last, store.box(last.box), at_ms), new


def continued(past: list[Stay], part: Lot, place: Box, wrap: Wrap | None, at_ms: int) -> list[Stay]:
    """Let the history of a new lot go on in another box or wrap."""
    last = past[-1] if past else None
    new = Stay(0, part.code, place.slug, wrap or (last.wrap if last else Wrap.PAPER), at_ms)
    if place.archived:
        raise ConflictError(f"Box “{place.name}” is archived; nothing can be put into it.")
    if last is None or last.to_ms is not None:
        return [*past, new]
    return [*past[:-1], replace(last, to_ms=at_ms), new]


def ended(lot: Lot, stay: Stay, box: Box, at_ms: int) -> Stay:
    """Let a stay end, but not before it began."""
    if at_ms < stay.from_ms:
        raise too_early(lot, stay, box)
    return replace(stay, to_ms=at_ms)


def too_early(lot: Lot, stay: Stay, box: Box) -> ConflictError:
    """Say that the lot was elsewhere at that time."""
    since = f"since {utc_words(stay.from_ms)}"
    if stay.to_ms is not None:
        since = f"from {utc_words(stay.from_ms)} to {utc_words(stay.to_ms)}"
    return ConflictError(f"Lot {lot.code} was in {box.name} {since}; give a later time.")


def parted(lot: Lot, seeds: float | None, grams: float | None) -> tuple[Lot, Lot]:
    """Give what is left of a lot and what was taken."""
    if (seeds is None) == (grams is None):
        raise InvalidInputError("Give an amount: seeds or grams, one of them.", "seeds")
    by = "seeds" if seeds is not None else "grams"
    amount = seeds if seeds is not None else grams
    if amount is None or not math.isfinite(amount) or amount <= 0:
        raise InvalidInputError(f"An amount must be above zero, not {amount}.", by)
    check_amounts(with_amounts(lot, by, amount, None))
    held, held_other = (lot.seeds, lot.grams) if by == "seeds" else (lot.grams, lot.seeds)
    if held is None:
        return lot, with_amounts(lot, by, amount, None)
    if amount > held:
        raise InvalidInputError(
            f"Lot {lot.code} holds {held:g} {by}; {amount:g} cannot be taken from it.", by
        )
    share = amount / held
    taken_other = None if held_other is None else round(held_other * share, 9)
    rest_other = None
    if held_other is not None and taken_other is not None:
        rest_other = round(held_other - taken_other, 9)
    rest = with_amounts(lot, by, round(held - amount, 9), rest_other)
    return rest, with_amounts(lot, by, amount, taken_other)


def with_amounts(lot: Lot, by: str, amount: float, other: float | None) -> Lot:
    """Give a lot with another amount, counted in seeds or grams, and the other of the two."""
    if by == "seeds":
        return replace(lot, seeds=amount, grams=other)
    return replace(lot, seeds=other, grams=amount)


def amount_words(seeds: float | None, grams: float | None) -> str:
    """Write an amount."""
    return f"{seeds:g} seeds" if seeds is not None else f"{grams:g} g"


def came_up(germinated: int | None, replicates: Sequence[int], sown: int) -> int:
    """Check the figures of a test and give how many came up in all."""
    if sown < 1:
        raise InvalidInputError("A germination test needs at least one seed sown.", "sown")
    if any(count < 0 for count in replicates):
        raise InvalidInputError("No replicate can have fewer than no seedlings.", "replicates")
    total = sum(replicates) if replicates else germinated
    if total is None:
        raise InvalidInputError("Say how many came up.", "germinated")
    if germinated is not None and total != germinated:
        raise InvalidInputError(
            f"The replicates add up to {total}, not to {germinated}.", "replicates"
        )
    if not 0 <= total <= sown:
        raise InvalidInputError(f"Of {sown} seeds sown, {total} cannot have come up.", "germinated")
    return total


def agreement(replicates: Sequence[int], sown: int) -> str:
    """Say whether the replicates agree; nothing where there are none or they differ in size."""
    if len(replicates) < 2 or sown % len(replicates):
        return ""
    try:
        return replicates_agree(replicates, sown // len(replicates)).words
    except OutOfRangeError as error:
        raise InvalidInputError(str(error), "replicates") from error


def noon_ms(on: date) -> int:
    """Give noon UTC of a day."""
    return round(datetime(on.year, on.month, on.day, 12, tzinfo=UTC).timestamp() * 1000)
