"""The loss of lots at any time of their lives: in boxes, between them and before the first."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from hilum.domain.model import MS_PER_DAY, Floats, Ints, Lot
from hilum.domain.ports import Store
from hilum.keeping.lots.legs import NONE, Legs
from hilum.keeping.reckoning.course import ALWAYS_MS, Course, courses
from hilum.keeping.reckoning.kernel import SUMS
from hilum.keeping.reckoning.moments import Moments, read
from hilum.science.seedmodel import SeedModel


@dataclass(frozen=True, slots=True)
class States:
    """Lots at times: the stays they are in (-1: none), and the seed then.

    Sums up to then, lots x ``SUMS``: in boxes with readings, and elsewhere.
    """

    stay: Ints
    observed: Floats
    unobserved: Floats
    seed: Moments

    @property
    def loss_probit(self) -> Floats:
        """All loss up to then [probit]."""
        return self.observed[:, 0] + self.unobserved[:, 0]


class Lives:
    """The lives of many lots, loaded once and asked for any time.

    Parameters
    ----------
    store : Store
        Stays and ledger.
    lots : sequence of Lot
        The lots.
    models : sequence of SeedModel
        Of each lot's kind.

    Attributes
    ----------
    origin_ms : ndarray of int
        Time from which the loss of each lot counts; ``NEVER_MS``: no date and no stay is known.

    Notes
    -----
    Sums and losses at two times have a meaning only as a difference.
    """

    def __init__(self, store: Store, lots: Sequence[Lot], models: Sequence[SeedModel]) -> None:
        self._store = store
        stays = [store.stays(lot=lot.code) for lot in lots]
        self._legs = Legs(store, lots, models, courses(store, lots, stays))
        self._loss = self._legs.observed[:, 0] + self._legs.unobserved[:, 0]
        self._rate = self._legs.rests.per_day[:, 0].copy()
        self.origin_ms = self._legs.origin_ms
        self._ladder = list(self._rungs())

    def stay_of(self, lot: int, stay: int) -> tuple[Course | None, bool]:
        """Give a stay by its number, and whether it is a lot's first."""
        if stay == NONE:
            return None, False
        return self._legs.trails.courses[stay], bool(self._legs.first_stay[lot] == stay)

    def arrived_ms(self, stays: Ints) -> Ints:
        """When some stays began; where there is none, as early as can be."""
        began = [
            ALWAYS_MS if stay == NONE else self._legs.trails.courses[stay].stay.from_ms
            for stay in stays.tolist()
        ]
        return np.array(began, dtype=np.int64)

    def newest_ms(self, stays: Ints, time_ms: int) -> Ints:
        """Time of the newest row of the boxes of some stays up to a time; -1: there is none."""
        found, boxed = np.full(len(stays), -1), np.flatnonzero(stays != NONE)
        found[boxed] = self._legs.trails.newest_ms(stays[boxed], time_ms)
        return found

    def losses(self, which: Ints, times_ms: Ints) -> Floats:
        """Loss of some lots at times [probit]."""
        leg, legs = self._legs_at(which, times_ms), self._legs
        curve, level = legs.curve[leg], np.zeros(len(leg))
        boxed = np.flatnonzero(curve != NONE)
        level[boxed] = self._read(leg[boxed], times_ms[boxed]).sums[:, 0]
        return self._sum_up(leg, curve, level, times_ms)

    def states(self, which: Ints, times_ms: Ints) -> States:
        """Give some lots at times."""
        leg, legs = self._legs_at(which, times_ms), self._legs
        rests, boxed = legs.rests.at(leg), np.flatnonzero(legs.curve[leg] != NONE)
        sums = np.zeros((len(leg), len(SUMS)))
        seed = Moments(legs.curve[leg] != NONE, sums, rests.mc_dry_pct, rests.temp_c, rests.rh_pct)
        seed.put(boxed, self._read(leg[boxed], times_ms[boxed]))
        days = (times_ms - legs.anchor_ms[leg]) / MS_PER_DAY
        rested = rests.per_day * days[:, None]
        return States(
            legs.stay[leg], legs.observed[leg] + sums, legs.unobserved[leg] + rested, seed
        )

    def losses_on(self, time_ms: int) -> Floats:
        """Loss of every lot at one time [probit]."""
        leg = self.legs_on(time_ms)
        return self.losses_by(leg, self.levels_on(leg, time_ms), time_ms)

    def legs_on(self, time_ms: int) -> Ints:
        """Give the leg every lot is in at a time."""
        passed = np.zeros(1, dtype=np.int16)  # legs behind each lot: small numbers add up fast
        for ends_ms, which, count in self._ladder:
            passed = ended = passed + (ends_ms <= time_ms)
            if len(which) < count:
                passed = np.zeros(count, dtype=np.int16)
                passed[which] = ended
        return self._legs.first + passed

    def levels_on(self, leg: Ints, time_ms: int) -> Floats:
        """Read the loss of each curve that serves a leg at a time; last of all a 0 for none."""
        curve, keys = self._legs.curve[leg], self._legs.trails.keys
        used = np.zeros(len(keys) + 1, dtype=np.bool_)
        used[curve] = True
        curves, level = np.flatnonzero(used[:-1]), np.zeros(len(used))
        found = read(self._store, keys, curves, np.full(len(curves), time_ms))
        level[curves] = found.sums[:, 0]
        return level

    def losses_by(self, leg: Ints, level: Floats, time_ms: int) -> Floats:
        """Look the loss of every lot up, once legs and levels are known [probit]."""
        curve = self._legs.curve.take(leg)
        return self._sum_up(leg, curve, level.take(curve), np.broadcast_to(time_ms, leg.shape))

    def _sum_up(self, leg: Ints, curve: Ints, level: Floats, times_ms: Ints) -> Floats:
        found = self._loss.take(leg)
        found += level
        rests = np.flatnonzero(curve == NONE)
        at = leg[rests]
        days = (times_ms[rests] - self._legs.anchor_ms[at]) / MS_PER_DAY
        found[rests] += self._rate[at] * days
        return found

    def _legs_at(self, which: Ints, times_ms: Ints) -> Ints:
        """Give the leg some lots are in at times."""
        first, count = self._legs.first[which], self._legs.count[which]
        legs = first.copy()
        for step in range(int(count.max(initial=1)) - 1):
            some = np.flatnonzero(count > step + 1)
            legs[some] += self._legs.end_ms[first[some] + step] <= times_ms[some]
        return legs

    def _rungs(self) -> Iterator[tuple[Ints, Ints, int]]:
        """Ends of legs, last of all those of the first legs.

        With them which these lives are among those that came to this leg, and how many these are.
        """
        first, count = self._legs.first, self._legs.count
        for step in reversed(range(int(count.max(initial=1)) - 1)):
            came = np.flatnonzero(count > step)
            left = np.flatnonzero(count[came] > step + 1)
            yield self._legs.end_ms[first[came[left]] + step], left, len(came)

    def _read(self, leg: Ints, times_ms: Ints) -> Moments:
        return read(self._store, self._legs.trails.keys, self._legs.curve[leg], times_ms)
