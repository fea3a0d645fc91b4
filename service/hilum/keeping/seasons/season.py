"""Before ordering season: for each thing wanted, what to sow, what to test, what to order.

Named varieties choose their lots before lines that take any variety; seed that one line uses is not
there for the next. Everything taken for granted is said in ``Season.assumptions``.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hilum.domain.model import MS_PER_DAY, Lot, PlanLine, SeasonPlan, Wrap
from hilum.domain.ports import Store
from hilum.keeping.lots.ahead import Storage, evidence_then, losses_ahead, storage_named
from hilum.keeping.lots.known import Known
from hilum.keeping.lots.origin import ms_of
from hilum.keeping.lots.outlook import Case, lot_cases
from hilum.keeping.lots.snapshot import Snapshot
from hilum.keeping.seasons.seasonline import (
    Candidate,
    LineLot,
    packet_seeds,
    science_plan,
    share_out,
)
from hilum.keeping.seasons.seasonlots import Hand, hand_of, oldest_first, serves, wants_any
from hilum.keeping.seasons.seasonwords import STATED, answer, duplicate, line_notes, verdict_words
from hilum.science.decisions import WEAK_SEED, Judgement, Plan, Verdict, asking_first, judge
from hilum.science.germination import Evidence
from hilum.science.kinds import Kind, kind
from hilum.science.posterior import Band, posteriors
from hilum.science.sowing import Levels

TEST_DAYS = 14
"""A home test takes so long where nothing is known of the kind: common practice, no source."""

COARSE, FINE = 64, 160
MANY_PLANTS = 500
"""Levels of germination, and the plants from which on the finer cut is worth its time."""


@dataclass(frozen=True, slots=True)
class SeasonLine:
    """One line of the plan, answered.

    Attributes
    ----------
    line : PlanLine
        What is wanted.
    kind : Kind
        Its kind.
    lots : tuple of LineLot
        Lots that can serve, in the order in which to use them.
    own_chance : float
        Chance that what is sown of them gives the wanted plants [1].
    packets, packet_seeds : int
        Packets to order beside, and seeds in each; -1 packets: no number would do.
    words : str
        The answer in a sentence or two.
    duplicate : str
        What to know before ordering: how many lots of this there are. Empty: none.
    notes : tuple of str
        What was taken for granted in this line.
    """

    line: PlanLine
    kind: Kind
    lots: tuple[LineLot, ...]
    own_chance: float
    packets: int
    packet_seeds: int
    words: str
    duplicate: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WorthTest:
    """A test worth making this week: of so many seeds, over so many days.

    ``chance_of_change`` is the chance that it changes what to do [1]; ``needed``: the plan uses the
    lot, or has to order beside it.
    """

    lot: Lot
    seeds: int
    chance_of_change: float
    days: int
    needed: bool
    words: str


@dataclass(frozen=True, slots=True)
class Season:
    """A plan, answered. ``storage`` is how lots are taken to be kept until sowing."""

    plan: SeasonPlan
    at_ms: int
    sow_ms: int
    storage: Storage
    lines: tuple[SeasonLine, ...]
    tests: tuple[WorthTest, ...]
    assumptions: tuple[str, ...]

    @property
    def order(self) -> tuple[SeasonLine, ...]:
        """Lines for which something is to be ordered."""
        return tuple(line for line in self.lines if line.packets)


@dataclass(frozen=True, slots=True)
class _Grown:
    """A lot at sowing: ``None`` where the kind has no life model."""

    case: Case
    levels: Levels | None = None
    band: Band | None = None
    wet: bool = False


def plan_season(store: Store, plan: SeasonPlan, lines: Sequence[PlanLine], at_ms: int) -> Season:
    """Answer a season plan.

    Parameters
    ----------
    store : Store
        Lots and where they were.
    plan : SeasonPlan
        Sowing date, and how lots are taken to be kept until then.
    lines : sequence of PlanLine
        What is wanted.
    at_ms : int
        Now.

    Returns
    -------
    Season
        An answer to each line in the order given, tests worth making, and all that was assumed.

    Raises
    ------
    InvalidInputError
        The way of keeping seed is not known.
    UnknownNameError
        A line's kind is not known.
    """
    storage = storage_named(plan.storage, plan.temp_c, plan.rh_pct)
    shelf = Snapshot(store)
    sow_ms = max(ms_of(plan.sow_on), at_ms)
    by_kind: dict[str, list[Lot]] = defaultdict(list)
    for lot in shelf.lots():
        by_kind[lot.kind].append(lot)
    offers = [[lot for lot in by_kind.get(line.kind, ()) if serves(lot, line)] for line in lines]
    fine = any(line.plants > MANY_PLANTS for line in lines)
    wanted = {lot.code: lot for offer in offers for lot in offer}
    grown = _at_sowing(shelf, list(wanted.values()), storage, (at_ms, sow_ms), fine=fine)
    desk = _Desk(shelf, grown, at_ms, (sow_ms - at_ms) / MS_PER_DAY)
    answers: dict[int, SeasonLine] = {}
    for at in sorted(range(len(lines)), key=lambda at: wants_any(lines[at])):
        answers[at] = desk.line(lines[at], offers[at])
    in_order = tuple(answers[at] for at in range(len(lines)))
    return Season(
        plan, at_ms, sow_ms, storage, in_order, _tests(in_order), _assumed(plan, storage, at_ms)
    )


def _at_sowing(
    shelf: Snapshot, lots: list[Lot], storage: Storage, span_ms: tuple[int, int], *, fine: bool
) -> dict[str, _Grown]:
    """Give every lot as it will be at sowing."""
    at_ms, sow_ms = span_ms
    days = np.array([(sow_ms - at_ms) / MS_PER_DAY])
    grown: dict[str, _Grown] = {}
    asked: dict[str, tuple[Evidence, float, int]] = {}
    for case in lot_cases(shelf.store, lots, at_ms):
        grown[case.lot.code] = _Grown(case)
        if case.evidence is not None:
            stay = shelf.open_stay(case.lot.code, at_ms)
            ahead = losses_ahead(case, stay.wrap if stay else Wrap.OPEN, storage, days)
            grown[case.lot.code] = _Grown(case, wet=ahead.wet)
            asked[case.lot.code] = (*evidence_then(case, ahead, 0), FINE if fine else COARSE)
    for code, (levels, band) in zip(asked, _AT_LOSS.answers(list(asked.values())), strict=True):
        grown[code] = replace(grown[code], levels=levels, band=band)
    return grown


def _at_loss(asked: Sequence[tuple[Evidence, float, int]]) -> list[tuple[Levels, Band]]:
    """Germination of lots at losses, cut into so many levels (as many for all), and as shown."""
    losses, count = np.array([loss for _, loss, _ in asked]), asked[0][2]
    found: dict[int, tuple[Levels, Band]] = {}
    for chunk in posteriors([evidence for evidence, *_ in asked]):
        here = losses[chunk.lots]
        levels, band = chunk.levels(here, count), chunk.shown(here[:, None])
        ends = [np.asarray(end)[:, 0] for end in (band.median_pct, band.low_pct, band.high_pct)]
        rows = np.stack(ends, axis=1).tolist()
        for place, which in enumerate(chunk.lots.tolist()):
            one = Levels(levels.fraction[place].copy(), levels.weight[place].copy())
            found[which] = one, Band(*rows[place])
    return [found[which] for which in range(len(asked))]


_AT_LOSS = Known(_at_loss, 10_000)


def days_of_test(seed: Kind) -> int:
    """How long a germination test of a kind takes [d]."""
    counts = [fact.value.final_count_days for fact in seed.methods]
    known = [days for days in counts if days is not None]
    return min(known) if known else TEST_DAYS


class _Desk:
    """Answers lines one after the other, and keeps count of the seed that is left.

    Parameters
    ----------
    shelf : Snapshot
        Lots and where they are.
    grown : dict
        Every lot a line may want, as it will be at sowing, by code.
    at_ms : int
        Now.
    days : float
        Time until sowing [d].
    """

    def __init__(self, shelf: Snapshot, grown: dict[str, _Grown], at_ms: int, days: float) -> None:
        self._shelf = shelf
        self._grown = grown
        self._at_ms = at_ms
        self._days = days
        self._left = {code: hand_of(one.case.lot, one.case.kind) for code, one in grown.items()}

    def line(self, line: PlanLine, offer: list[Lot]) -> SeasonLine:
        """Answer one line, and take what it uses from what is left."""
        seed = kind(line.kind)
        plan = science_plan(line, seed, time_to_test=self._days >= days_of_test(seed))
        weakness = {
            lot.code: float(band.median_pct)
            for lot in offer
            if (band := self._grown[lot.code].band) is not None
        }
        lots = oldest_first(offer, weakness)
        candidates = self._candidates(lots, plan)
        share = share_out(candidates, plan)
        judged = {each.lot.code: each.judgement for each in candidates}
        sown = dict(zip(judged, share.seeds, strict=True))
        told = [self._told(lot, judged.get(lot.code), sown.get(lot.code, 0), plan) for lot in lots]
        self._take(told)
        size, packet_words = packet_seeds(line, plan.fresh_pct)
        return SeasonLine(
            line=line,
            kind=seed,
            lots=tuple(told),
            own_chance=share.chance,
            packets=share.packets,
            packet_seeds=size,
            words=answer(line, told, share.chance, share.packets),
            duplicate=duplicate(offer, share.packets),
            notes=line_notes(line, told, packet_words, share.packets),
        )

    def _candidates(self, lots: list[Lot], plan: Plan) -> list[Candidate]:
        usable = [
            (lot, levels) for lot in lots if (levels := self._grown[lot.code].levels) is not None
        ]
        if not usable:
            return []
        together = Levels(
            np.array([levels.fraction for _, levels in usable]),
            np.array([levels.weight for _, levels in usable]),
        )
        judged = judge(together, plan, [self._left[lot.code].seeds for lot, _ in usable])
        return [
            Candidate(lot, self._left[lot.code], levels, self._asked(lot, judgement))
            for (lot, levels), judgement in zip(usable, judged, strict=True)
        ]

    def _asked(self, lot: Lot, found: Judgement) -> Judgement:
        return asking_first(found) if self._grown[lot.code].case.contradicted else found

    def _told(self, lot: Lot, found: Judgement | None, seeds: int, plan: Plan) -> LineLot:
        """Say everything about one lot for one line."""
        one, hand = self._grown[lot.code], self._left[lot.code]
        stay = self._shelf.open_stay(lot.code, self._at_ms)
        box = self._shelf.box(stay.box).name if stay else None
        notes = one.case.loss.notes
        if found is None or one.band is None:
            words = "how it will germinate cannot be worked out; see the notes."
            return LineLot(lot, box, hand, None, None, 0, words, notes)
        words = verdict_words(found, one.band, plan)
        if hand.seeds == 0:
            words = f"no seed left: {hand.words}."
        elif not seeds and found.without_test is not Verdict.REPLACE:
            words += " Not needed for this line: keep it."
        if lot.primed and found.without_test is not Verdict.REPLACE:
            words += " It is primed, and such seed keeps less long: test it before you rely on it."
        if one.wet:
            notes = ("Kept so, the seed is too wet for any figure of its life.", *notes)
        if found.without_test is Verdict.SOW_THICKER:
            notes = (WEAK_SEED, *notes)
        return LineLot(lot, box, hand, one.band, found, seeds, words, notes)

    def _take(self, told: list[LineLot]) -> None:
        for each in told:
            if each.sow_seeds and each.hand.seeds is not None:
                rest = each.hand.seeds - each.sow_seeds
                self._left[each.lot.code] = Hand(rest, f"{rest:,} seeds left by the lines before")


def _tests(lines: Sequence[SeasonLine]) -> tuple[WorthTest, ...]:
    """Tests worth making, each lot once: first those the plan hangs on, the most telling first."""
    best: dict[str, WorthTest] = {}
    for line in lines:
        for each in line.lots:
            if each.judgement is not None and each.judgement.verdict is Verdict.TEST_FIRST:
                test = _worth(each, each.judgement, line)
                known = best.get(each.lot.code, test)
                best[each.lot.code] = min(test, known, key=_rank)
    return tuple(sorted(best.values(), key=_rank))


def _rank(test: WorthTest) -> tuple[bool, float, str]:
    return not test.needed, -test.chance_of_change, test.lot.code


def _worth(each: LineLot, found: Judgement, line: SeasonLine) -> WorthTest:
    if line.packets:
        why = "It may save an order."
    elif each.sow_seeds:
        why = "The plan counts on this lot."
    else:
        why = "The plan does without this lot; the test tells whether to keep it."
    days = days_of_test(line.kind)
    name = f"{each.lot.code}, {line.kind.common} {each.lot.variety}".rstrip()
    words = (
        f"{name}: {found.test_seeds} seeds, about {days} days. With a chance of "
        f"{100.0 * found.chance_of_change:.0f} % it changes what to do. {why}"
    )
    needed = bool(line.packets or each.sow_seeds)
    return WorthTest(each.lot, found.test_seeds, found.chance_of_change, days, needed, words)


def _assumed(plan: SeasonPlan, storage: Storage, at_ms: int) -> tuple[str, ...]:
    until = f"Until {plan.sow_on:%-d %B %Y}: {storage.words}."
    late = ms_of(plan.sow_on) < at_ms - MS_PER_DAY
    passed = ("The sowing date has passed: everything is as of today.",) if late else ()
    return (until, *passed, *STATED)
