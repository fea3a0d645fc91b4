"""What has to be said beside a lot's loss, in words."""

from collections.abc import Iterator
from dataclasses import dataclass

from hilum.domain.model import Lot
from hilum.domain.ports import Store
from hilum.keeping.lots.origin import is_assumed, label_day
from hilum.keeping.reckoning.course import Course
from hilum.keeping.reckoning.kernel import SECONDS_PER_DAY
from hilum.science.kinds import PELLETED_SEED, PRIMED_SEED

ESTIMATED_SHARE = 0.05
"""A smaller share of the time without readings is not worth a note. Our choice."""


@dataclass(frozen=True, slots=True)
class Around:
    """Where a lot is at a time: its stay, whether that is its first, and the box's newest row."""

    lot: Lot
    course: Course | None
    first: bool
    newest_ms: int  # -1: there is none
    at_ms: int


@dataclass(frozen=True, slots=True)
class Spent:
    """How a lot has spent its time up to then, and whether it is too wet or very dry at the end."""

    covered_s: float
    estimated_s: float
    wet_s: float
    unobserved_days: float
    wet_now: bool
    very_dry: bool


def loss_notes(store: Store, around: Around, spent: Spent) -> tuple[str, ...]:
    """Collect what qualifies a loss, the gravest first."""
    return (
        *_limits(spent),
        *_prepared(around.lot),
        *_silence(store, around),
        *_reckoning(around, spent),
    )


def _limits(spent: Spent) -> Iterator[str]:
    if spent.wet_now:
        yield "The seed is too wet now for any figure of its life. Dry it."
    if spent.wet_s >= 1800.0:
        yield (
            f"For {_span(spent.wet_s)} the seed was too wet for the equation: the real loss in "
            "that time is not known and can be far larger."
        )
    if spent.very_dry:
        yield "The seed is very dry: no further gain is claimed for drying it more."
    share = spent.estimated_s / max(spent.covered_s + spent.estimated_s, 1.0)
    if share >= ESTIMATED_SHARE:
        yield (
            f"{share * 100:.0f} % of its time in boxes has no readings; it is counted with the "
            "worse of the readings around it, or with the last one."
        )


def _prepared(lot: Lot) -> Iterator[str]:
    if lot.primed:
        yield PRIMED_SEED.value
    elif lot.pelleted:
        yield PELLETED_SEED.value


def _silence(store: Store, around: Around) -> Iterator[str]:
    if around.course is None:
        yield f"It is in no box now: its loss is reckoned at {_prior(around.lot)}."
        return
    box = store.box(around.course.stay.box)
    if around.newest_ms < 0:
        yield (
            f"There are no readings from {box.name} yet: the loss there is reckoned at "
            f"{_prior(around.lot)}."
        )
    elif around.at_ms - around.newest_ms > box.gap_limit_s * 1000:
        silent_s = (around.at_ms - around.newest_ms) / 1000.0
        yield (
            f"{box.name} has been silent for {_span(silent_s)}: its last conditions are taken to "
            "go on."
        )


def _reckoning(around: Around, spent: Spent) -> Iterator[str]:
    day, course = label_day(around.lot), around.course
    if day is None:
        yield "No date of a germination test is known: the loss counts from its first box."
    elif is_assumed(around.lot):
        yield f"Only its year is known: the loss counts from {day:%Y-%m-%d}."
    if spent.unobserved_days >= 1.0:
        yield (
            f"For {_span(spent.unobserved_days * SECONDS_PER_DAY)} nobody measured: that time is "
            f"reckoned at {_prior(around.lot)}."
        )
    if (
        course is not None
        and course.sealed
        and around.first
        and course.stay.start_mc_wet_pct is None
    ):
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
