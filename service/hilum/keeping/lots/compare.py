"""What would become of lots kept otherwise: on a shelf, in a fridge, in a freezer, with fresh gel.

Every way of keeping starts from the seed as it is now. The doubt about the loss grows where the
equation is less sure: in the cold, and in very dry seed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hilum.domain.model import MS_PER_DAY, Box, Floats, Lot, Stay, Wrap
from hilum.domain.ports import Store
from hilum.keeping.lots.ahead import (
    FREEZER,
    FRIDGE,
    RECENT,
    SHELF,
    Ahead,
    Storage,
    evidence_then,
    losses_ahead,
    storage_named,
)
from hilum.keeping.lots.losses import Losses
from hilum.keeping.lots.outlook import Case, lot_cases
from hilum.keeping.lots.snapshot import Snapshot
from hilum.keeping.lots.usefirst import minimum_of
from hilum.keeping.reckoning.ledger import is_sealed
from hilum.science.endurance import bearable_loss
from hilum.science.freezing import Freezing, FreezingAdvice, freezing_advice
from hilum.science.germination import Evidence
from hilum.science.posterior import Band, posteriors

DAYS_PER_YEAR = 365.25
STAY = replace(
    RECENT, words="it stays where it is and goes on losing as it did over the last year there"
)
"""As it is. A whole year, where there is one: a month would be a winter's or a summer's rate."""

LEAST_STAY_MS = 30 * MS_PER_DAY
FAR_YEARS = 50.0
"""Years further ahead are not named."""

LOT_YEARS = tuple(np.linspace(0.0, 20.0, 41).tolist())
BOX_YEARS = (1.0, 3.0, 5.0, 10.0)
_WAY = FAR_YEARS * np.linspace(0.0, 1.0, 81) ** 2


@dataclass(frozen=True, slots=True)
class Choice:
    """One lot kept in one way.

    Attributes
    ----------
    storage : Storage
        The way, in words.
    band : Band or None
        Germination at the years of the comparison [%]; ``None`` where it is ruled out or unknown.
    years_left, years_earliest, years_latest : float or None
        Years until the median, the low and the high end of the band reach the minimum; 0: under it
        already; ``None``: not within fifty years.
    ruled_out : str
        Why this way is out of the question; empty: it is not.
    notes : tuple of str
        What to say beside it.
    """

    storage: Storage
    band: Band | None = None
    years_left: float | None = None
    years_earliest: float | None = None
    years_latest: float | None = None
    ruled_out: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LotComparison:
    """One lot kept in several ways. ``freezing`` is about the seed as it is now."""

    lot: Lot
    minimum_pct: float
    years: tuple[float, ...]
    choices: tuple[Choice, ...]
    freezing: FreezingAdvice
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BoxComparison:
    """All lots of a box kept in several ways.

    ``above`` gives, for each way, how many lots still have their median above the minimum after
    each of the years.
    """

    box: Box
    years: tuple[float, ...]
    storages: tuple[Storage, ...]
    lots: tuple[LotComparison, ...]
    above: tuple[tuple[int, ...], ...]


def storages_for(box: Box | None, extra: Storage | None = None) -> tuple[Storage, ...]:
    """Ways to compare: as it is, shelf, fridge, freezer, fresh gel, and one of one's own."""
    own = () if extra is None else (extra,)
    return (STAY, SHELF, FRIDGE, FREEZER, storage_named("gel", box=box), *own)


def compare_lot(store: Store, code: str, at_ms: int, extra: Storage | None = None) -> LotComparison:
    """Compare ways of keeping one lot.

    Parameters
    ----------
    store : Store
        Lots and where they were.
    code : str
        The lot.
    at_ms : int
        Now.
    extra : Storage, optional
        A way of one's own, see ``ahead.storage_named``.

    Returns
    -------
    LotComparison
        Twenty years in steps of six months.

    Raises
    ------
    NotFoundError
        There is no such lot.
    """
    shelf = Snapshot(store)
    lot = shelf.lot(code)
    stay = shelf.open_stay(code, at_ms)
    box = shelf.box(stay.box) if stay else None
    return _compared(shelf, [lot], storages_for(box, extra), LOT_YEARS, at_ms)[0]


def compare_box(
    store: Store,
    slug: str,
    at_ms: int,
    extra: Storage | None = None,
    years: tuple[float, ...] = BOX_YEARS,
) -> BoxComparison:
    """Compare ways of keeping all that is in a box.

    Parameters
    ----------
    store : Store
        Lots and where they were.
    slug : str
        The box.
    at_ms : int
        Now.
    extra : Storage, optional
        A way of one's own.
    years : tuple of float, optional
        Years ahead at which bands are given [a], 0 to 50.

    Returns
    -------
    BoxComparison
        Every lot that is in it now.

    Raises
    ------
    NotFoundError
        There is no such box.
    """
    shelf = Snapshot(store)
    box = shelf.box(slug)
    inside = [
        lot
        for lot in shelf.lots()
        if not lot.archived and (stay := shelf.open_stay(lot.code, at_ms)) and stay.box == slug
    ]
    storages = storages_for(box, extra)
    lots = _compared(shelf, inside, storages, years, at_ms)
    above = tuple(
        tuple(
            sum(
                choice.band is not None and (choice.years_left is None or choice.years_left > year)
                for choice in (lot.choices[at] for lot in lots)
            )
            for year in years
        )
        for at in range(len(storages))
    )
    return BoxComparison(box, years, storages, tuple(lots), above)


@dataclass(frozen=True, slots=True)
class _Path:
    """One lot on one way: its losses at the years asked for, and on a way of fifty years."""

    case: Case
    storage: Storage
    sealed: bool  # keeps its moisture, whatever the way says
    asked: Ahead
    far: Ahead


def _compared(
    shelf: Snapshot,
    lots: Sequence[Lot],
    storages: tuple[Storage, ...],
    years: tuple[float, ...],
    at_ms: int,
) -> list[LotComparison]:
    cases = lot_cases(shelf.store, lots, at_ms)
    advice = [freezing_advice(case.kind, case.loss.mc_wet_pct) for case in cases]
    days = np.array(years) * DAYS_PER_YEAR
    paths: dict[tuple[int, int], _Path] = {}
    stays = [shelf.open_stay(lot.code, at_ms) for lot in lots]
    over_a_year = _over_a_year(shelf, cases, stays, at_ms)
    for i, (case, year, stay) in enumerate(zip(cases, over_a_year, stays, strict=True)):
        for j, storage in enumerate(storages):
            if case.evidence is not None and not _ruled_out(storage, advice[i]):
                paths[i, j] = _path(year, stay, storage, days)
    bands = dict(zip(paths, _bands(list(paths.values())), strict=True))
    left = dict(zip(paths, _years_left(list(paths.values())), strict=True))
    return [
        LotComparison(
            lot=case.lot,
            minimum_pct=minimum_of(case),
            years=years,
            choices=tuple(
                _choice(storage, advice[i], paths.get((i, j)), bands.get((i, j)), left.get((i, j)))
                for j, storage in enumerate(storages)
            ),
            freezing=advice[i],
            notes=case.loss.notes,
        )
        for i, case in enumerate(cases)
    ]


def _over_a_year(
    shelf: Snapshot, cases: Sequence[Case], stays: Sequence[Stay | None], at_ms: int
) -> list[Case]:
    """Give the cases with the mean rate of the last year in its box as the present one of each."""
    long = [
        (place, max(stay.from_ms, at_ms - round(DAYS_PER_YEAR * MS_PER_DAY)))
        for place, (case, stay) in enumerate(zip(cases, stays, strict=True))
        if stay is not None and case.evidence and at_ms - stay.from_ms >= LEAST_STAY_MS
    ]
    losses = Losses(shelf.store, [cases[place].lot for place, _ in long])
    which, starts_ms = np.arange(len(long)), np.array([start for _, start in long], dtype=np.int64)
    lost = losses.since_origin(which, np.full(len(long), at_ms))
    lost -= losses.since_origin(which, starts_ms)
    found = list(cases)
    for (place, start_ms), each in zip(long, lost.tolist(), strict=True):
        rate = each / ((at_ms - start_ms) / MS_PER_DAY)
        loss = replace(cases[place].loss, recent_per_day=rate, ahead_per_day=rate)
        found[place] = replace(cases[place], loss=loss)
    return found


def _path(case: Case, stay: Stay | None, storage: Storage, days: Floats) -> _Path:
    wrap = stay.wrap if stay else Wrap.OPEN
    asked, far = (losses_ahead(case, wrap, storage, each) for each in (days, _WAY * DAYS_PER_YEAR))
    sealed = case.kind is not None and is_sealed(wrap, case.kind.size)
    return _Path(case, storage, sealed and storage.rh_pct is not None, asked, far)


def _ruled_out(storage: Storage, advice: FreezingAdvice) -> str:
    """Say why a way is out of the question for a lot; empty: it is not."""
    frozen = storage.temp_c is not None and storage.temp_c < 0.0
    return advice.words if frozen and advice.verdict is Freezing.NEVER else ""


def _choice(
    storage: Storage,
    advice: FreezingAdvice,
    path: _Path | None,
    band: Band | None,
    left: tuple[float | None, float | None, float | None] | None,
) -> Choice:
    if path is None or left is None:
        return Choice(storage, ruled_out=_ruled_out(storage, advice))
    notes: tuple[str, ...] = ()
    if storage.temp_c is not None and storage.temp_c < 0.0:
        notes = (advice.words, *advice.cautions)
    if path.sealed:
        notes = ("Its wrap is sealed: it keeps the moisture it has.", *notes)
    if path.asked.wet or path.far.wet:
        notes = ("Kept so, the seed is too wet for any figure of its life.", *notes)
    median, earliest, latest = left
    return Choice(storage, band, median, earliest, latest, notes=notes)


def _bands(paths: list[_Path]) -> list[Band]:
    """Germination of each path at its years, as shown."""
    count = len(paths[0].asked.loss_probit) if paths else 0
    then = [evidence_then(path.case, path.asked, at) for path in paths for at in range(count)]
    losses = np.array([loss for _, loss in then])
    found = np.zeros((3, len(then)))
    for chunk in posteriors([evidence for evidence, _ in then]):
        band = chunk.shown(losses[chunk.lots][:, None])
        for row, values in enumerate((band.median_pct, band.low_pct, band.high_pct)):
            found[row, chunk.lots] = np.asarray(values)[:, 0]
    parts = found.reshape(3, len(paths), count)
    return [Band(parts[0, i], parts[1, i], parts[2, i]) for i in range(len(paths))]


def _years_left(
    paths: list[_Path],
) -> list[tuple[float | None, float | None, float | None]]:
    """Years until median, low and high end of the band reach the minimum."""
    columns = [_crossings(paths, share) for share in (0.5, 0.05, 0.95)]
    return [(median, low, high) for median, low, high in zip(*columns, strict=True)]


def _crossings(paths: list[_Path], share: float) -> list[float | None]:
    """Years until so large a share is below the minimum.

    The doubt about the loss depends on the day it is asked for, and the day on the doubt: the first
    answer gives the doubt for the second.
    """
    at = [len(_WAY) - 1 if path.storage.key != RECENT.key else 0 for path in paths]
    years = np.zeros(len(paths))
    for _ in range(2):
        evidences = [
            evidence_then(path.case, path.far, i)[0] for path, i in zip(paths, at, strict=True)
        ]
        years = _when(paths, evidences, share)
        at = [int(np.searchsorted(_WAY, min(year, FAR_YEARS))) for year in years]
    return [None if year > FAR_YEARS else float(year) for year in years]


def _when(paths: list[_Path], evidences: list[Evidence], share: float) -> Floats:
    years = np.zeros(len(paths))
    for chunk in posteriors(evidences):
        minimum = np.array([minimum_of(paths[which].case) for which in chunk.lots])
        budget = bearable_loss(chunk, minimum, share)
        for place, which in enumerate(chunk.lots):
            path = paths[which]
            left = float(budget[place]) - path.case.total_probit
            lost = path.far.loss_probit
            if left <= 0.0:
                years[which] = 0.0
            elif left > lost[-1]:
                years[which] = np.inf
            else:
                years[which] = np.interp(left, lost, _WAY)
    return years
