"""What the ledger says of lots at any moment of their stays.

A stay is read off two curves: its own start-up until that has joined the shared curve, the shared
one from there on. In a sealed wrap one curve of constant moisture serves.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache

import numpy as np

from hilum.domain.model import CurveKey, Floats, Ints, Lot, Stay
from hilum.domain.ports import LedgerStore
from hilum.keeping.reckoning.kernel import SUMS
from hilum.keeping.reckoning.ledger import is_sealed
from hilum.keeping.reckoning.moments import Flags, Moments, between, read
from hilum.science.errors import NoLifeModelError, UnknownNameError
from hilum.science.isotherms import dry_from_wet_pct
from hilum.science.kinds import kind, own_isotherm
from hilum.science.seedmodel import SeedModel, equilibrium_mc_dry_pct, model_for
from hilum.science.surrogates import seed_model_for

START_DECIMALS = 3
"""Moisture on arrival is rounded to so many decimals of a per cent, so that lots that arrive alike
share a curve. The loss rate changes by less than one part in a thousand."""

ISOTHERM_TEMP_C = (0.0, 50.0)

ALWAYS_MS, NEVER_MS = -(2**62), 2**62


@dataclass(frozen=True, slots=True)
class Course:
    """A stay with the curves that stand for it. Moisture on arrival is that of the model's seed."""

    stay: Stay
    model: SeedModel
    start_mc_dry_pct: float

    @property
    def sealed(self) -> bool:
        """Whether the wrap holds the seed's own moisture."""
        return is_sealed(self.stay.wrap, self.model.size)

    @property
    def shared(self) -> CurveKey:
        """The curve that serves all lots of this model in this box and wrap."""
        mc = self.start_mc_dry_pct if self.sealed else None
        return CurveKey(self.stay.box, self.model.key, self.stay.wrap, None, mc)

    @property
    def start_up(self) -> CurveKey:
        """The curve of the stay's own beginning; the shared one where sealed."""
        if self.sealed:
            return self.shared
        return replace(
            self.shared, start_ms=self.stay.from_ms, start_mc_dry_pct=self.start_mc_dry_pct
        )

    def curves(self) -> tuple[CurveKey, ...]:
        """All curves the stay needs."""
        return (self.shared,) if self.sealed else (self.shared, self.start_up)


class Trails:
    """How stays are read off the ledger: each one's start-up, and from when on the shared curve.

    Parameters
    ----------
    store : LedgerStore
        The ledger.
    courses : sequence of Course
        The stays.

    Attributes
    ----------
    courses : sequence of Course
        The stays.
    sealed, known : ndarray of bool
        Whether the seed holds its own moisture, and whether the curve of a stay has rows.
    keys : list of CurveKey
        All curves, each once.
    start_up, shared : ndarray of int
        Which of the curves are those of each stay.
    join_ms : ndarray of int
        From when on the shared curve serves.
    carried : ndarray
        What then has to be added to its sums, stays x ``SUMS``.
    """

    def __init__(self, store: LedgerStore, courses: Sequence[Course]) -> None:
        self._store = store
        self.courses = courses
        places: dict[CurveKey, int] = {}
        curves = [key for each in courses for key in (each.start_up, each.shared)]
        pairs = [places.setdefault(key, len(places)) for key in curves]
        self.keys = list(places)
        self.start_up, self.shared = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
        self.sealed = self.start_up == self.shared
        _, some, alike = np.unique(self.start_up, return_index=True, return_inverse=True)
        joins = self._joins(some)
        self.known, self.join_ms, self.carried = (each[alike.reshape(-1)] for each in joins)

    def _joins(self, some: Ints) -> tuple[Flags, Ints, Floats]:
        """Find which start-up curves are known, where they end, and what is carried on then.

        Given a stay for each; those have joined whose shared curve goes on.
        """
        keys, store, start_up = self.keys, self._store, self.start_up[some]
        place, ends = store.rows_at([(keys[key], NEVER_MS) for key in start_up.tolist()])
        known = np.zeros(len(some), dtype=np.bool_)
        known[place] = True
        last_ms = np.zeros(len(some), dtype=np.int64)
        last_ms[place] = ends.last_ms
        carried, own = np.zeros((2, len(some), len(SUMS)))
        own[place] = np.stack([getattr(ends, name) for name in SUMS], axis=1)
        sealed = self.sealed[some]
        open_ = np.flatnonzero(known & ~sealed)
        shared, ends_ms = self.shared[some[open_]], last_ms[open_]
        pairs = zip(shared.tolist(), ends_ms.tolist(), strict=True)
        asked = [(keys[key], time_ms) for key, time_ms in pairs]
        place, rows = store.rows_at(asked)
        goes_on = np.zeros(len(open_), dtype=np.bool_)
        goes_on[place[rows.last_ms > ends_ms[place]]] = True
        joined, join_ms = open_[goes_on], np.where(sealed, ALWAYS_MS, NEVER_MS)
        join_ms[joined] = ends_ms[goes_on]
        carried[joined] = own[joined] - between(asked, place, rows).sums[goes_on]
        return known, join_ms, carried

    def curve_at(self, which: Ints, times_ms: Ints) -> tuple[Ints, Flags]:
        """Give the curve that serves a stay at a time, and whether it is the shared one."""
        settled = times_ms >= self.join_ms[which]
        return np.where(settled, self.shared[which], self.start_up[which]), settled

    def at(self, which: Ints, times_ms: Ints) -> Moments:
        """Give the seed of some stays at times; not found while a box has no readings."""
        curve, settled = self.curve_at(which, times_ms)
        found = read(self._store, self.keys, curve, times_ms)
        found.sums[settled] += self.carried[which[settled]]
        return found

    def newest_ms(self, which: Ints, time_ms: int) -> Ints:
        """Time of the newest row of the boxes of some stays up to a time; -1: there is none."""
        curves, place_of = np.unique(self.shared[which], return_inverse=True)
        found = np.full(len(curves), -1)
        place, rows = self._store.rows_at([(self.keys[key], time_ms) for key in curves.tolist()])
        upto = rows.last_ms <= time_ms
        found[place[upto]] = rows.last_ms[upto]
        return np.asarray(found[place_of.reshape(-1)], dtype=np.int64)


# Where a lot's courses begin


@cache
def model_of(kind_key: str) -> SeedModel | None:
    """Give the seed model of a kind; ``None`` if its life cannot be modelled or it is unknown."""
    try:
        return seed_model_for(kind(kind_key))
    except (NoLifeModelError, UnknownNameError):
        return None


def courses(
    store: LedgerStore, lots: Sequence[Lot], stays: Sequence[Sequence[Stay]]
) -> list[list[Course]]:
    """Give lots' stays with the curves that stand for them.

    Parameters
    ----------
    store : LedgerStore
        Tells the moisture carried over from one stay to the next.
    lots : sequence of Lot
        The lots.
    stays : sequence of sequence of Stay
        The stays of each in order of start.

    Returns
    -------
    list of list of Course
        One for each stay of each lot; none if the kind has no model.
    """
    found: list[list[Course]] = [[] for _ in lots]
    going = [
        (lot, model, mine, theirs)
        for lot, mine, theirs in zip(lots, found, stays, strict=True)
        if (model := model_of(lot.kind)) is not None
    ]
    while going := [each for each in going if len(each[2]) < len(each[3])]:
        carried = _carried(store, [mine[-1] if mine else None for _, _, mine, _ in going])
        for (lot, model, mine, theirs), mc_dry_pct in zip(going, carried, strict=True):
            stay = theirs[len(mine)]
            if stay.start_mc_wet_pct is None and mc_dry_pct is not None:
                mc = mc_dry_pct
            else:
                mc = _implied(lot, model, stay, first=not mine)
            mine.append(Course(stay, model, round(mc, START_DECIMALS)))
    return found


def _carried(store: LedgerStore, before: Sequence[Course | None]) -> list[float | None]:
    """Moisture with which seed leaves stays; ``None``: there is no stay, or it is not known."""
    ended = [
        (place, each, each.stay.to_ms)
        for place, each in enumerate(before)
        if each is not None and each.stay.to_ms is not None
    ]
    found: list[float | None] = [None] * len(before)
    trails = Trails(store, [each for _, each, _ in ended])
    times_ms = np.array([to_ms for *_, to_ms in ended], dtype=np.int64)
    moments = trails.at(np.arange(len(ended)), times_ms)
    for i, (place, each, _) in enumerate(ended):
        if moments.found[i]:
            found[place] = float(moments.mc_dry_pct[i])
        elif each.sealed:
            found[place] = each.start_mc_dry_pct
    return found


def _implied(lot: Lot, model: SeedModel, stay: Stay, *, first: bool) -> float:
    """Moisture on arrival where none is carried over: as given, or by wrap or the air before."""
    if stay.start_mc_wet_pct is not None:
        return _as_model(lot.kind, stay.start_mc_wet_pct, lot.prior_temp_c)
    hermetic = kind(lot.kind).hermetic_mc_wet_pct
    if first and hermetic is not None and is_sealed(stay.wrap, model.size):
        return _as_model(lot.kind, hermetic.value, lot.prior_temp_c)
    return prior_mc_dry_pct(model.key, lot.prior_rh_pct, lot.prior_temp_c)


@lru_cache(maxsize=4096)
def prior_mc_dry_pct(model_key: str, rh_pct: float, temp_c: float) -> float:
    """Moisture in balance with the air a lot lived in before it came here."""
    return equilibrium_mc_dry_pct(model_for(model_key), rh_pct, temp_c)


@lru_cache(maxsize=4096)
def _as_model(kind_key: str, mc_wet_pct: float, temp_c: float) -> float:
    """Turn a kind's own moisture into that of its model's seed at the same seed humidity."""
    seed = kind(kind_key)
    temp_c = min(max(temp_c, ISOTHERM_TEMP_C[0]), ISOTHERM_TEMP_C[1])
    erh_pct = own_isotherm(seed).erh_pct(dry_from_wet_pct(mc_wet_pct), temp_c)
    return equilibrium_mc_dry_pct(seed_model_for(seed), erh_pct, temp_c)
