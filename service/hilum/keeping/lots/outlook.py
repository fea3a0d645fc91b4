"""How alive a lot is now and will be, put together from label, tests and storage.

The loss comes from the ledger (``losses``), the doubt from ``science.posterior``. Everything a
person is shown is a median with a 90 % band.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hilum.domain.model import MS_PER_DAY, GerminationTest, Ints, Lot
from hilum.domain.ports import Store
from hilum.keeping.lots.known import LOSS_DECIMALS, Known
from hilum.keeping.lots.losses import Losses, LotLoss, loss_at
from hilum.keeping.lots.origin import label_day, ms_of
from hilum.keeping.lots.snapshot import Snapshot
from hilum.science.errors import UnknownNameError
from hilum.science.germination import CANNOT_TELL, Count, Evidence, Start, start_from_label
from hilum.science.kinds import Kind, kind
from hilum.science.normal import ned
from hilum.science.posterior import Band, Posterior, bands, posterior
from hilum.science.retests import (
    FAR_LOWER,
    LEFT_OUT,
    Reconciled,
    is_far_lower,
    outdone,
    reconciled,
)

FAR_DAYS = 50 * 365.25
"""Dates further ahead are not named: nobody knows the box of fifty years from now."""

BURN_DAYS = 30.0
AHEAD_STEPS = 120


@dataclass(frozen=True, slots=True)
class Minimum:
    """Germination below which a lot is no longer worth sowing as it is, and where that is from."""

    pct: float
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class TestSeen:
    """A germination test beside what would have been expected without it.

    ``far_lower``: so few coming up had a chance of less than one in a hundred.
    """

    test: GerminationTest
    loss_probit: float
    expected: Band
    far_lower: bool = False


@dataclass(frozen=True, slots=True)
class LotOutlook:
    """Everything there is to say about a lot's life.

    Attributes
    ----------
    lot : Lot
        The lot.
    kind : Kind or None
        Its kind; ``None`` if it stands in no table.
    at_ms : int
        The time this is about.
    loss : LotLoss
        What storage has cost it, with notes.
    start : Start or None
        What the lot is taken to have been at its start. ``None`` as all below where the kind has no
        life model.
    now : Band or None
        Viability at that time [%].
    minimum : Minimum or None
        The figure it must not fall under.
    prob_below : float or None
        Chance that it is under the minimum [1].
    budget_probit : float or None
        Loss it could bear from its start until the median falls under the minimum [probit].
    spent_share, burn_share : float or None
        Share of the budget that is spent, and that goes in 30 days at the present rate [1];
        ``None`` without a budget.
    reached_ms, earliest_ms, latest_ms : int or None
        When the median, the low and the high end reach the minimum at the mean rate of the last
        year in its box; ``None`` if that is past or too far to name.
    multiplier : tuple of float or None
        Median and 90 % band of the loss multiplier [1]: what the tests say of the constants.
        ``None`` where they contradict each other.
    contradicted : str
        Where the newest test contradicts all before it: that it does. Empty: it does not.
    tests : tuple of TestSeen
        The lot's tests, oldest first.
    notes : tuple of str
        What to say beside the figures.
    """

    lot: Lot
    kind: Kind | None
    at_ms: int
    loss: LotLoss
    start: Start | None = None
    now: Band | None = None
    minimum: Minimum | None = None
    prob_below: float | None = None
    budget_probit: float | None = None
    spent_share: float | None = None
    burn_share: float | None = None
    reached_ms: int | None = None
    earliest_ms: int | None = None
    latest_ms: int | None = None
    multiplier: tuple[float, float, float] | None = None
    contradicted: str = ""
    tests: tuple[TestSeen, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Case:
    """A lot's loss and evidence.

    Losses count from the earliest of label and tests, those of the evidence from the last test that
    contradicted all before it.
    """

    lot: Lot
    kind: Kind | None
    loss: LotLoss
    start: Start | None
    tests: tuple[tuple[GerminationTest, float], ...]
    shift_probit: float
    evidence: Evidence | None
    counts: tuple[Count, ...] = ()  # all of them, also those that a later test outdoes
    contradicted: bool = False  # by its newest test

    @property
    def total_probit(self) -> float:
        """Loss up to the time of the case [probit], from the same origin as the evidence."""
        return round((self.loss.total_probit or 0.0) + self.shift_probit, LOSS_DECIMALS)


def lot_cases(store: Store, lots: Sequence[Lot], at_ms: int) -> list[Case]:
    """Gather what is known of lots up to a time.

    Parameters
    ----------
    store : Store
        Lots, tests, stays and ledger; for many lots a ``Snapshot`` of it.
    lots : sequence of Lot
        The lots.
    at_ms : int
        The time; tests from later are left out.

    Returns
    -------
    list of Case
        One for each lot; without evidence where its kind has no life model.
    """
    losses = Losses(store, lots)
    tests = [[test for test in store.tests(lot.code) if ms_of(test.on) <= at_ms] for lot in lots]
    which = np.repeat(np.arange(len(lots)), [len(mine) for mine in tests])
    times_ms = np.array([ms_of(test.on) for mine in tests for test in mine], dtype=np.int64)
    spent = iter(losses.since_origin(which, times_ms).tolist())
    return [
        _case(lot, loss, tuple((test, next(spent)) for test in mine))
        for lot, loss, mine in zip(lots, losses.up_to(at_ms), tests, strict=True)
    ]


def lot_case(store: Store, lot: Lot, at_ms: int) -> Case:
    """Gather what is known of one lot; see ``lot_cases``."""
    return lot_cases(store, [lot], at_ms)[0]


def _case(lot: Lot, loss: LotLoss, tests: tuple[tuple[GerminationTest, float], ...]) -> Case:
    """Put what is known of a lot together, its tests with the loss up to each."""
    found = _kind(lot)
    if not loss.modelled or loss.factor is None:
        return Case(lot, found, loss, None, (), 0.0, None)
    shift = max([0.0, *(-spent for _, spent in tests)])
    start = start_from_label(
        lot.label_pct,
        lot.label_n,
        dated=label_day(lot) is not None,
        minimum_pct=_minimum(lot, found).pct,
    )
    counts = [] if start.count is None else [_moved(start.count, shift)]
    counts += [Count(test.germinated, test.sown, spent + shift) for test, spent in tests]
    factor = loss.factor
    kept, stale = _kept(counts, factor)
    if stale:
        loss = replace(loss, notes=(*loss.notes, *_left_out(tests, len(counts), stale)))
    return Case(
        *(lot, found, loss, start, tests),
        shift_probit=shift - kept.since_probit,
        evidence=Evidence(kept.counts, factor),
        counts=tuple(counts),
        contradicted=kept.contradicted,
    )


def _kept(counts: Sequence[Count], factor: float) -> tuple[Reconciled, tuple[int, ...]]:
    """Counts as they count, and places of those that a later test outdoes.

    The packet's may be later than a test.
    """
    if len(counts) < 2:
        return Reconciled(tuple(counts)), ()
    order = sorted(range(len(counts)), key=lambda place: (counts[place].loss_probit, place))
    stale = outdone([counts[place] for place in order])
    left = [counts[place] for place, old in zip(order, stale, strict=True) if not old]
    places = sorted(place for place, old in zip(order, stale, strict=True) if old)
    return reconciled(left, factor), tuple(places)


def _left_out(
    tests: Sequence[tuple[GerminationTest, float]], count: int, stale: Sequence[int]
) -> tuple[str, ...]:
    """Name the counts that a later test outdoes."""
    names = ["The figure on the packet"] * (count - len(tests))
    names += [f"The test of {test.on.isoformat()}" for test, _ in tests]
    return tuple(LEFT_OUT.format(what=names[place]) for place in stale)


def lot_outlook(store: Store, code: str, at_ms: int) -> LotOutlook:
    """Say how alive a lot is, how sure that is, and what it can still bear.

    Parameters
    ----------
    store : Store
        Lots, tests, stays and ledger.
    code : str
        The lot.
    at_ms : int
        The time.

    Returns
    -------
    LotOutlook
        Figures with notes; without figures where the kind has no life model.

    Raises
    ------
    NotFoundError
        There is no such lot.
    """
    lot = store.lot(code)
    case = lot_case(store, lot, at_ms)
    if case.evidence is None:
        return LotOutlook(lot, case.kind, at_ms, case.loss, notes=case.loss.notes)
    belief = posterior(case.evidence)
    minimum = _minimum(lot, case.kind)
    total = case.total_probit
    k = belief.k()
    spent, burn, budget = _budget(belief, case, minimum.pct)
    reached, earliest, latest = _reached(belief, case, minimum.pct, at_ms)
    seen = _tests_seen(case)
    low = [FAR_LOWER.format(day=each.test.on.isoformat()) for each in seen if each.far_lower]
    return LotOutlook(
        lot=lot,
        kind=case.kind,
        at_ms=at_ms,
        loss=case.loss,
        start=case.start,
        now=belief.shown(total),
        minimum=minimum,
        prob_below=float(belief.prob_below(minimum.pct, total)),
        budget_probit=budget,
        spent_share=spent,
        burn_share=burn,
        reached_ms=reached,
        earliest_ms=earliest,
        latest_ms=latest,
        multiplier=None if case.contradicted else (k.median, k.low, k.high),
        tests=seen,
        contradicted=low[-1] if case.contradicted and low else "",
        notes=(*case.loss.notes, *low, *((CANNOT_TELL,) if case.tests else ())),
    )


def life_line(store: Store, code: str, times_ms: Ints, at_ms: int) -> Band:
    """Viability along a lot's life: the past by its ledger, the future at the rate to reckon with.

    Parameters
    ----------
    store : Store
        Lots, tests, stays and ledger.
    code : str
        The lot.
    times_ms : ndarray of int
        Times [ms since 1970 UTC], in order.
    at_ms : int
        The present.

    Returns
    -------
    Band
        [%], one of each for every time; NaN before the lot's origin and where nothing is modelled.
    """
    lot = store.lot(code)
    case = lot_case(store, lot, at_ms)
    if case.evidence is None:
        nothing = np.full(len(times_ms), np.nan)
        return Band(nothing, nothing, nothing)
    past = np.minimum(times_ms, at_ms)
    ahead_days = (times_ms - past) / MS_PER_DAY
    losses = loss_at(store, lot, past) + ahead_days * (case.loss.ahead_per_day or 0.0)
    losses = np.round(losses + case.shift_probit, LOSS_DECIMALS)
    known = losses >= 0.0
    band = posterior(case.evidence).shown(np.where(known, losses, 0.0))
    median, low, high = (
        np.where(known, np.asarray(value), np.nan)
        for value in (band.median_pct, band.low_pct, band.high_pct)
    )
    return Band(median, low, high)


def viabilities(store: Store, lots: Sequence[Lot], at_ms: int) -> dict[str, Band]:
    """Viability of many lots at once, by code; lots without a life model are left out."""
    cases = lot_cases(Snapshot(store).store, lots, at_ms)
    asked = {case.lot.code: (case.evidence, case.total_probit) for case in cases if case.evidence}
    return dict(zip(asked, _BANDS.answers(list(asked.values())), strict=True))


def _bands(asked: Sequence[tuple[Evidence, float]]) -> list[Band]:
    """Viability as shown of lots at losses."""
    losses = np.array([[loss] for _, loss in asked])
    band = bands([evidence for evidence, _ in asked], losses)
    ends = (
        np.asarray(end)[:, 0].tolist() for end in (band.median_pct, band.low_pct, band.high_pct)
    )
    return [Band(*each) for each in zip(*ends, strict=True)]


_BANDS = Known(_bands)


def _kind(lot: Lot) -> Kind | None:
    try:
        return kind(lot.kind)
    except UnknownNameError:
        return None


def _minimum(lot: Lot, found: Kind | None) -> Minimum:
    if lot.minimum_pct is not None:
        return Minimum(lot.minimum_pct, "set for this lot", "set")
    fact = (found or kind("other")).minimum_pct
    return Minimum(fact.value, fact.source, fact.status)


def _moved(count: Count, shift: float) -> Count:
    return Count(count.germinated, count.sown, count.loss_probit + shift)


def _budget(
    belief: Posterior, case: Case, minimum_pct: float
) -> tuple[float | None, float | None, float]:
    """Share spent, share burnt in 30 days, and the budget [probit], all along the median."""
    ahead = (case.loss.recent_per_day or 0.0) * BURN_DAYS
    losses = np.array([max(case.shift_probit, 0.0), case.total_probit, case.total_probit + ahead])
    median = np.asarray(belief.viability(losses).median_pct, dtype=np.float64)
    at_start, now, later = (float(value) for value in ned(median / 100.0))
    budget = at_start - float(ned(minimum_pct / 100.0))
    if budget <= 0.0 or not np.isfinite(now):
        return None, None, budget
    burn = (now - later) / budget if np.isfinite(later) else None
    return (at_start - now) / budget, burn, budget


def _reached(
    belief: Posterior, case: Case, minimum_pct: float, at_ms: int
) -> tuple[int | None, int | None, int | None]:
    """When median, low and high end of the band reach the minimum, seasons included."""
    rate = case.loss.ahead_per_day or 0.0
    days = FAR_DAYS * np.linspace(0.0, 1.0, AHEAD_STEPS) ** 2  # closer together at first
    band = belief.viability(case.total_probit + rate * days)

    def crossing(values: object) -> int | None:
        pct = np.asarray(values, dtype=np.float64)
        under = np.flatnonzero(pct <= minimum_pct)
        if not len(under) or under[0] == 0:
            return None
        here = int(under[0])
        share = (pct[here - 1] - minimum_pct) / (pct[here - 1] - pct[here])
        day = days[here - 1] + share * (days[here] - days[here - 1])
        return at_ms + round(float(day) * MS_PER_DAY)

    return crossing(band.median_pct), crossing(band.low_pct), crossing(band.high_pct)


def _tests_seen(case: Case) -> tuple[TestSeen, ...]:
    """Each test beside what label, storage and the tests before it made one expect."""
    seen = []
    for index, (test, _) in enumerate(case.tests):
        here, factor = len(case.counts) - len(case.tests) + index, case.loss.factor or 1.0
        known, _ = _kept(case.counts[:here], factor)
        at = case.counts[here].loss_probit
        count = _moved(case.counts[here], -min(known.since_probit, at))
        expected = posterior(Evidence(known.counts, factor)).shown(count.loss_probit)
        far = bool(known.counts) and is_far_lower(known.counts, count, factor)
        seen.append(TestSeen(test, at, expected, far))
    return tuple(seen)
