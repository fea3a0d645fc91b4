"""What has to be said beside a lot's loss, in words."""

from collections.abc import Iterator

from hilum.domain.model import Lot
from hilum.domain.ports import Store
from hilum.keeping.lots.life import LotLife, Tally
from hilum.keeping.lots.origin import is_assumed, label_day
from hilum.keeping.reckoning.course import Course, Moment
from hilum.keeping.reckoning.kernel import SECONDS_PER_DAY
from hilum.science.seedmodel import SeedModel, is_very_dry, is_wet

ESTIMATED_SHARE = 0.05
"""A smaller share of the time without readings is not worth a note. Our choice."""


def loss_notes(
    store: Store, life: LotLife, tally: Tally, moment: Moment, at_ms: int
) -> tuple[str, ...]:
    """Collect what qualifies a loss, the gravest first."""
    course = life.course_at(at_ms)
    return (
        *_limits(life.model, tally, moment),
        *_silence(store, life, course, at_ms),
        *_reckoning(life, tally, course),
    )


def _limits(model: SeedModel, tally: Tally, moment: Moment) -> Iterator[str]:
    wet_s = tally.both[3]
    if is_wet(model, moment.mc_dry_pct, moment.temp_c):
        yield "The seed is too wet now for any figure of its life. Dry it."
    if wet_s >= 1800.0:
        yield (
            f"For {_span(wet_s)} the seed was too wet for the equation: the real loss in that time "
            "is not known and can be far larger."
        )
    if is_very_dry(model, moment.mc_dry_pct, moment.temp_c):
        yield "The seed is very dry: no further gain is claimed for drying it more."
    _, covered_s, estimated_s, *_ = tally.observed
    share = estimated_s / max(covered_s + estimated_s, 1.0)
    if share >= ESTIMATED_SHARE:
        yield (
            f"{share * 100:.0f} % of its time in boxes has no readings; it is counted with the "
            "worse of the readings around it, or with the last one."
        )


def _silence(store: Store, life: LotLife, course: Course | None, at_ms: int) -> Iterator[str]:
    if course is None:
        yield f"It is in no box now: its loss is reckoned at {_prior(life.lot)}."
        return
    box = store.box(course.stay.box)
    newest_ms = life.newest_ms(course, at_ms)
    if newest_ms is None:
        yield (
            f"There are no readings from {box.name} yet: the loss there is reckoned at "
            f"{_prior(life.lot)}."
        )
    elif at_ms - newest_ms > box.gap_limit_s * 1000:
        silent_s = (at_ms - newest_ms) / 1000.0
        yield (
            f"{box.name} has been silent for {_span(silent_s)}: its last conditions are taken to "
            "go on."
        )


def _reckoning(life: LotLife, tally: Tally, course: Course | None) -> Iterator[str]:
    day = label_day(life.lot)
    if day is None:
        yield "No date of a germination test is known: the loss counts from its first box."
    elif is_assumed(life.lot):
        yield f"Only its year is known: the loss counts from {day:%Y-%m-%d}."
    if tally.unobserved_days >= 1.0:
        yield (
            f"For {_span(tally.unobserved_days * SECONDS_PER_DAY)} nobody measured: that time is "
            f"reckoned at {_prior(life.lot)}."
        )
    if course is not None and life.packing_is_assumed(course):
        yield (
            "Its moisture in the sealed wrap was not measured: it is taken to be the limit for "
            "packing this kind sealed, or in balance with the air before where no limit is known."
        )


def _prior(lot: Lot) -> str:
    return f"{lot.prior_temp_c:.0f} °C and {lot.prior_rh_pct:.0f} % humidity"


def _span(seconds: float) -> str:
    """Write a length of time in the unit that suits it."""
    for unit, length in (("year", 365.25 * SECONDS_PER_DAY), ("day", SECONDS_PER_DAY)):
        if seconds >= 2 * length:
            return f"about {seconds / length:.0f} {unit}s"
    hours = max(round(seconds / 3600.0), 1)
    return "about an hour" if hours == 1 else f"about {hours} hours"
