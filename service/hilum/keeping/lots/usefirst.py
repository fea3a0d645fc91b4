"""Which lots to use first: those under their minimum, then those that soonest will be."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from hilum.domain.model import MS_PER_DAY, Lot
from hilum.domain.ports import Store
from hilum.keeping.lots.known import LOSS_DECIMALS, Known
from hilum.keeping.lots.origin import ms_of
from hilum.keeping.lots.outlook import FAR_DAYS, Case, lot_cases
from hilum.keeping.lots.snapshot import Snapshot
from hilum.science.endurance import bearable_loss
from hilum.science.germination import MAX_LOSS_PROBIT, Evidence
from hilum.science.kinds import kind
from hilum.science.posterior import Band, posteriors

SEASON_DAYS = 365.25
"""What falls under its minimum within a year is for this season; a choice of this program."""

DOUBT = 0.25
"""From this chance on of being under the minimum a year from now a lot is worth a test; a choice of
this program."""


LATELY_DAYS = 120
"""A lot tested so lately is not asked to be tested again yet; a choice of this program."""


class Group(StrEnum):
    """What to do with a lot."""

    USE = "use this season"
    TEST = "test"
    KEEP = "keep"
    UNKNOWN = "nothing known"


@dataclass(frozen=True, slots=True)
class UseFirst:
    """One lot in the order of use.

    Attributes
    ----------
    lot : Lot
        The lot.
    group : Group
        What to do with it.
    words : str
        Why.
    now : Band or None
        Germination now [%]; ``None`` where nothing is known.
    minimum_pct : float or None
        The germination it should not fall under [%].
    prob_below : float or None
        Chance that it is below that now [1].
    reached_ms : int or None
        When it reaches the minimum at the present rate; ``None``: it is under it already, or too
        far ahead to name.
    notes : tuple of str
        What to say beside it.
    """

    lot: Lot
    group: Group
    words: str
    now: Band | None = None
    minimum_pct: float | None = None
    prob_below: float | None = None
    reached_ms: int | None = None
    notes: tuple[str, ...] = ()


def use_first(store: Store, at_ms: int) -> list[UseFirst]:
    """Put all lots that are still there in the order in which to use them.

    Parameters
    ----------
    store : Store
        Lots and where they were.
    at_ms : int
        Now.

    Returns
    -------
    list of UseFirst
        Lots under their minimum first, the weakest of them first; then by the day they reach it at
        the present rate; then those too far ahead to name; last those of which nothing is known.
        Used-up and archived lots are left out.
    """
    shelf = Snapshot(store)
    lots = [lot for lot in shelf.lots() if not lot.archived and lot.seeds != 0]
    cases = lot_cases(shelf.store, lots, at_ms)
    known = [case for case in cases if _is_known(case)]
    told = _told(known, at_ms)
    unknown = [_unknown(case) for case in cases if not _is_known(case)]
    return [each for _, each in sorted(told, key=lambda pair: pair[0])] + unknown


def _is_known(case: Case) -> bool:
    """Tell whether there is a life model, and any figure to start from."""
    return case.evidence is not None and (case.lot.label_pct is not None or bool(case.tests))


Place = tuple[float, float, str]


@dataclass(frozen=True, slots=True)
class _Prospect:
    """Germination now, chance of being below the minimum now and in a year, and the loss to it."""

    now: Band
    below_now: float
    below_later: float
    budget_probit: float


def _prospects(asked: Sequence[tuple[Evidence, float, float, float]]) -> list[_Prospect]:
    """Answer for lots with a minimum [%], loss now and loss in a year [probit]."""
    minimum, now, later = np.array([each[1:] for each in asked]).reshape(-1, 3).T.copy()
    found: dict[int, _Prospect] = {}
    for chunk in posteriors([evidence for evidence, *_ in asked]):
        here = chunk.lots
        below = chunk.prob_below(minimum[here], np.stack([now[here], later[here]], axis=1))
        budget = bearable_loss(chunk, minimum[here])
        band = chunk.shown(now[here][:, None])
        ends = [np.asarray(end)[:, 0] for end in (band.median_pct, band.low_pct, band.high_pct)]
        rows = np.stack([*ends, below[:, 0], below[:, 1], budget], axis=1).tolist()
        for which, row in zip(here.tolist(), rows, strict=True):
            found[which] = _Prospect(Band(*row[:3]), *row[3:])
    return [found[which] for which in range(len(asked))]


_PROSPECTS = Known(_prospects)


def _told(cases: Sequence[Case], at_ms: int) -> list[tuple[Place, UseFirst]]:
    """Say each lot's place in the order and what to do with it."""
    rates = [case.loss.ahead_per_day or 0.0 for case in cases]
    asked = []
    for case, rate in zip(cases, rates, strict=True):
        now = min(case.total_probit, MAX_LOSS_PROBIT)
        later = min(round(now + rate * SEASON_DAYS, LOSS_DECIMALS), MAX_LOSS_PROBIT)
        if case.evidence is not None:
            asked.append((case.evidence, minimum_of(case), now, later))
    told = []
    for case, rate, prospect in zip(cases, rates, _PROSPECTS.answers(asked), strict=True):
        days = _days(prospect.budget_probit - case.total_probit, rate)
        place = (days, float(prospect.now.median_pct), case.lot.code)
        told.append((place, _one(case, prospect, days, at_ms)))
    return told


def _days(left_probit: float, rate: float) -> float:
    """Days until the minimum is reached; 0: under it already, infinite: too far to name."""
    if left_probit <= 0.0:
        return 0.0
    days = left_probit / rate if rate > 0.0 else np.inf
    return days if days <= FAR_DAYS else np.inf


def _one(case: Case, ahead: _Prospect, days: float, at_ms: int) -> UseFirst:
    """Say what to do with a lot and why."""
    now, minimum_pct = ahead.now, minimum_of(case)
    low, high = float(now.low_pct), float(now.high_pct)
    about = f"about {float(now.median_pct):.0f} % now ({low:.0f}–{high:.0f} %)"
    named = f"its minimum of {minimum_pct:.0f} %"
    lately = _tested_lately(case, at_ms)
    if case.contradicted:
        group, why = (
            Group.TEST,
            "its tests contradict each other: make another before you act on it",
        )
    elif days <= 0.0 and float(now.median_pct) < 0.5 * minimum_pct:
        group = Group.TEST
        why = f"far under {named}: test it before you throw it away, and reckon with replacing it"
    elif days <= 0.0:
        group, why = Group.USE, f"under {named}: use it now and sow thicker, or test it"
    elif days <= SEASON_DAYS:
        group, why = Group.USE, f"it reaches {named} in {_span(days)} at the present rate"
    elif case.lot.primed and not lately:
        group = Group.TEST
        why = "but it is primed, and such seed keeps less long: only a test tells how it is"
    elif ahead.below_later >= DOUBT:
        group = Group.KEEP if lately else Group.TEST
        why = (
            f"with a chance of {100.0 * ahead.below_later:.0f} % it is under {named} a year from "
            f"now: {'test it again before then' if lately else 'a test would tell'}"
        )
    elif np.isinf(days):
        group, why = Group.KEEP, f"it does not reach {named} within fifty years at the present rate"
    else:
        group, why = Group.KEEP, f"it reaches {named} in {_span(days)} at the present rate"
    named_day = 0.0 < days < np.inf
    return UseFirst(
        lot=case.lot,
        group=group,
        words=f"{about}; {why}.",
        now=now,
        minimum_pct=minimum_pct,
        prob_below=ahead.below_now,
        reached_ms=at_ms + round(days * MS_PER_DAY) if named_day else None,
        notes=case.loss.notes,
    )


def _tested_lately(case: Case, at_ms: int) -> bool:
    return any(at_ms - ms_of(test.on) < LATELY_DAYS * MS_PER_DAY for test, _ in case.tests)


def _unknown(case: Case) -> UseFirst:
    if case.evidence is None:
        return UseFirst(case.lot, Group.UNKNOWN, " ".join(case.loss.notes), notes=case.loss.notes)
    words = (
        "no germination figure and no test: nothing is known of it but its kind. Test it, or sow "
        "it thickly."
    )
    return UseFirst(case.lot, Group.UNKNOWN, words, None, minimum_of(case), notes=case.loss.notes)


def minimum_of(case: Case) -> float:
    """Minimum germination of a lot, held where it can be reached at all [%]."""
    own = case.lot.minimum_pct
    found = (case.kind or kind("other")).minimum_pct.value if own is None else own
    return min(max(found, 0.1), 99.9)


def _span(days: float) -> str:
    if days >= 2 * SEASON_DAYS:
        return f"about {days / SEASON_DAYS:.0f} years"
    if days >= 60:
        return f"about {days / 30.4375:.0f} months"
    return f"about {max(round(days), 1)} day{'s' if round(days) > 1 else ''}"
