"""Which lots can serve a line of a season plan, how much seed they have, and which comes first."""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from hilum.domain.model import Lot, PlanLine
from hilum.keeping.lots.origin import label_day
from hilum.science.kinds import Kind, kinds
from hilum.science.names import slip_count

ANY = {"", "any", "*"}
PLANTS = 50
"""Plants of each thing where no plan says how many; our choice."""

ONE_SLIP = 5
"""Letters from which one typing error in the name of a variety is forgiven."""

WEIGHT_WORDS = {
    "read": "a published weight",
    "memory": "a weight quoted from memory",
    "derived": "our own estimate",
}
"""How far the weight of a thousand seeds can be followed back."""


@dataclass(frozen=True, slots=True)
class Hand:
    """Seeds in hand; ``None``: not known, taken as enough. ``words`` say where that is from."""

    seeds: int | None
    words: str


def wants_any(line: PlanLine) -> bool:
    """Tell whether any variety will do."""
    return line.variety.strip().casefold() in ANY


def serves(lot: Lot, line: PlanLine) -> bool:
    """Tell whether a lot is of the kind and variety a line wants."""
    if lot.archived or lot.kind != line.kind:
        return False
    return wants_any(line) or same_variety(lot.variety, line.variety)


def same_variety(one: str, other: str) -> bool:
    """Compare names of varieties loosely: case, accents, signs, and a typing error do not matter.

    A name also fits a longer one that begins with all of its words.
    """
    words, others = _words(one), _words(other)
    if not words or not others:
        return False
    short, long = sorted((words, others), key=len)
    if long[: len(short)] == short:
        return True
    run, run_other = "".join(words), "".join(others)
    return min(len(run), len(run_other)) >= ONE_SLIP and slip_count(run, run_other, 1) <= 1


def lines_of_lots(lots: Iterable[Lot]) -> list[PlanLine]:
    """Give a line for each variety there is, for :data:`PLANTS` plants.

    A kind of which some lot has no variety gets one line for all its lots.
    """
    names: dict[str, list[str]] = {}
    for lot in lots:
        if not lot.archived and lot.kind in kinds():
            names.setdefault(lot.kind, []).append(lot.variety.strip())
    lines = []
    for key in sorted(names):
        chosen: list[str] = []
        for name in sorted(names[key], key=len):  # the shortest first: "" is every variety
            if not any(each == "" or same_variety(each, name) for each in chosen):
                chosen.append(name)
        lines += [PlanLine(key, PLANTS, name) for name in sorted(chosen)]
    return lines


def hand_of(lot: Lot, kind: Kind | None) -> Hand:
    """Count the seeds of a lot, or reckon them from their weight; nobody knows that of pellets."""
    if lot.seeds is not None:
        return Hand(int(lot.seeds), f"{int(lot.seeds):,} seeds")
    if lot.grams is not None and lot.pelleted:
        return Hand(None, f"number of pellets in {lot.grams:g} g not known: taken as enough")
    weight = kind.tsw_g if kind is not None else None
    if lot.grams is not None and weight is not None:
        seeds = int(1000.0 * lot.grams / weight.value)
        return Hand(
            seeds,
            f"about {seeds:,} seeds, from {lot.grams:g} g at {weight.value:g} g per 1,000 "
            f"({WEIGHT_WORDS.get(weight.status, weight.status)})",
        )
    return Hand(None, "number of seeds not known: taken as enough")


def oldest_first(lots: Iterable[Lot], weakness: dict[str, float]) -> list[Lot]:
    """Put lots in the order in which they should be used up.

    The oldest come first, those of one age the weakest first. A lot of which nobody knows the age
    counts as the oldest.

    Parameters
    ----------
    lots : iterable of Lot
        The lots.
    weakness : dict
        Germination of each at sowing [%], by code; a lot without one comes last of its age.
    """

    def place(lot: Lot) -> tuple[date, float, str]:
        return label_day(lot) or date.min, weakness.get(lot.code, 101.0), lot.code

    return sorted(lots, key=place)


@lru_cache(maxsize=10_000)
def _words(name: str) -> list[str]:
    plain = unicodedata.normalize("NFKD", name.casefold())
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign))
    return "".join(sign if sign.isalnum() else " " for sign in plain.replace("’", "")).split()
