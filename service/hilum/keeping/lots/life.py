"""The loss of one lot at any time of its life: in boxes, between them and before the first.

Where nothing was measured the lot is reckoned in the air it lived in before it came (its prior
temperature and humidity), or at its own moisture if its wrap was sealed.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hilum.domain.model import MS_PER_DAY, Lot, Stay, Wrap
from hilum.keeping.lots.origin import label_day, ms_of
from hilum.keeping.reckoning.course import (
    Course,
    Ledger,
    Moment,
    Sums,
    courses,
    held,
    prior_mc_dry_pct,
)
from hilum.keeping.reckoning.kernel import NOTHING_YET, SECONDS_PER_DAY, SUMS
from hilum.science.seedmodel import SeedModel


@dataclass(frozen=True, slots=True)
class Tally:
    """Sums over a time: in boxes with readings, and elsewhere. Each as in the ledger's rows."""

    observed: Sums = NOTHING_YET
    unobserved: Sums = NOTHING_YET

    @property
    def unobserved_days(self) -> float:
        """Time without any measurement [d]."""
        return self.unobserved[SUMS.index("estimated_s")] / SECONDS_PER_DAY

    @property
    def both(self) -> Sums:
        """All together."""
        return _add(self.observed, self.unobserved)


class LotLife:
    """The loss of one lot at any time.

    Parameters
    ----------
    ledger : Ledger
        Reads the curves; share one among the lots of a page.
    lot : Lot
        The lot; its kind must have a life model.
    stays : sequence of Stay
        Its stays in order of start.
    model : SeedModel
        Of the kind.
    """

    def __init__(self, ledger: Ledger, lot: Lot, stays: Sequence[Stay], model: SeedModel) -> None:
        self._ledger = ledger
        self.lot = lot
        self.model = model
        self._courses = courses(ledger, lot, stays)

    @property
    def origin_ms(self) -> int | None:
        """Time from which the loss counts; ``None``: no date and no stay is known."""
        day = label_day(self.lot)
        if day is not None:
            return ms_of(day)
        return self._courses[0].stay.from_ms if self._courses else None

    def between(self, start_ms: int, end_ms: int) -> Tally:
        """Add up a time, start <= end."""
        total = Tally()
        for from_ms, to_ms, course, nearest in self._spans():
            here, there = max(from_ms, start_ms), min(to_ms, end_ms)
            if here < there:
                part = self._part(course, nearest, int(here), int(there))
                total = Tally(
                    _add(total.observed, part.observed), _add(total.unobserved, part.unobserved)
                )
        return total

    def loss_probit(self, time_ms: int) -> float:
        """Loss since the origin; negative before it, 0 where there is none."""
        origin_ms = self.origin_ms
        if origin_ms is None:
            return 0.0
        if time_ms < origin_ms:
            return -self.between(time_ms, origin_ms).both[0]
        return self.between(origin_ms, time_ms).both[0]

    def packing_is_assumed(self, course: Course) -> bool:
        """Whether a stay is a sealed lot's first and nobody said how moist it was."""
        return course.sealed and course is self._courses[0] and course.stay.start_mc_wet_pct is None

    def newest_ms(self, course: Course, time_ms: int) -> int | None:
        """Time of the newest ledger row of a stay's box up to a time; ``None``: there is none."""
        last_ms = self._ledger.around(course.shared, time_ms).last_ms
        return int(last_ms[0]) if len(last_ms) and last_ms[0] <= time_ms else None

    def course_at(self, time_ms: int) -> Course | None:
        """Give the stay a time falls in."""
        return next(
            (c for from_ms, to_ms, c, _ in self._spans() if c and from_ms <= time_ms < to_ms), None
        )

    def moment(self, time_ms: int) -> Moment:
        """Give the seed at a time, by readings or else as it is reckoned without them."""
        for from_ms, to_ms, course, nearest in self._spans():
            if from_ms <= time_ms < to_ms:
                found = course.at(self._ledger, time_ms) if course is not None else None
                return found or self._reckoned(nearest)[0]
        return self._reckoned(None)[0]

    def _spans(self) -> Iterator[tuple[float, float, Course | None, Course | None]]:
        """All time in pieces: in a stay, or in none; last, the stay whose wrap it was in."""
        end: float = -math.inf
        before = self._courses[0] if self._courses else None
        for course in self._courses:
            yield end, course.stay.from_ms, None, before
            end = math.inf if course.stay.to_ms is None else course.stay.to_ms
            yield course.stay.from_ms, end, course, course
            before = course
        yield end, math.inf, None, before

    def _part(self, course: Course | None, nearest: Course | None, start: int, end: int) -> Tally:
        if course is not None:
            first, last = (course.at(self._ledger, time_ms) for time_ms in (start, end))
            if first is not None and last is not None:
                return Tally(observed=_add(last.sums, tuple(-value for value in first.sums)))
        moment, wrap = self._reckoned(nearest)
        days = (end - start) / MS_PER_DAY
        return Tally(unobserved=held(self.model, wrap, moment, days).sums)

    def _reckoned(self, nearest: Course | None) -> tuple[Moment, Wrap]:
        """Seed where nothing is measured: in balance with the prior air, or sealed as it was."""
        lot = self.lot
        wrap, mc = Wrap.OPEN, prior_mc_dry_pct(lot, self.model)
        if nearest is not None and nearest.sealed:
            wrap, mc = nearest.stay.wrap, nearest.start_mc_dry_pct
        return Moment(NOTHING_YET, mc, lot.prior_temp_c, lot.prior_rh_pct), wrap


def _add(one: Sums, other: Sums) -> Sums:
    return tuple(first + second for first, second in zip(one, other, strict=True))
