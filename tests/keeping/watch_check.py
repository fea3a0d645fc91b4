"""Sets the forecast against 200 simulated boxes; writes ``service/docs/desiccant-watch.md``.

``python tests/keeping/watch_check.py`` takes some minutes and prints the page.
"""

import sys
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from hilum.domain.model import MS_PER_DAY
from hilum.keeping.desiccant.boxforecast import (
    LEAST_DAYS,
    SENSOR_PCT,
    STATED_PCT,
    UNCHECKED_PCT,
    forecast,
    forecast_fresh,
    usable_days,
)
from hilum.keeping.desiccant.desiccant_watch import DUE_AHEAD_DAYS
from keeping.random_boxes import LIMIT_PCT, RandomBox, random_box, seen

LEAD_DAYS = 30.0
HELD_DAYS = 55.0
BOXES = 200
TOO_WET_PCT = 45.0
PAGE = Path(__file__).resolve().parents[2] / "service" / "docs" / "desiccant-watch.md"


@dataclass(frozen=True)
class View:
    """What is known about a box: a sensor outside, how far the one inside is off, which curve.

    ``sensor_pct``: it is off by so much, up or down; ``within_pct``: by anything up to so much.
    ``checked``: the watch takes it for one that was checked over salts.
    """

    words: str
    outside: bool = True
    sensor_pct: float = 0.0
    within_pct: float = 0.0
    curve: str = "silica-gel"
    checked: bool = True

    def off_pct(self, number: int) -> float:
        """How far the sensor of a box is off."""
        rng = np.random.default_rng((77, number))
        if self.within_pct:
            return float(rng.uniform(-self.within_pct, self.within_pct))
        return self.sensor_pct * float(rng.choice([-1.0, 1.0]))


VIEWS = (
    View("exact sensor inside, a sensor outside"),
    View("the same, without a sensor outside", outside=False),
    View("sensor inside corrected over salts, still 0.3 % off", sensor_pct=0.3),
    View("sensor inside never checked, up to 2 % off", within_pct=2.0, checked=False),
    View("sensor inside never checked, up to 3 % off", within_pct=3.0, checked=False),
    View("sensor inside never checked, exact by chance", checked=False),
    View("sensor inside thought checked, yet 1 % off", sensor_pct=1.0),
    View("gel of another make than assumed", curve="gel-sapienza"),
)


UNCHECKED = next(view for view in VIEWS if not view.checked)


@dataclass(frozen=True)
class Told:
    """What was forecast at one moment, in days from then, and when it really was."""

    low: float
    middle: float
    high: float
    truth: float
    days_per_pct: float

    @property
    def held(self) -> bool:
        """Whether the interval holds the day of the truth; days are counted whole."""
        return self.low <= self.truth <= self.high + 1.0

    @property
    def error(self) -> float:
        """Error of the middle against the remaining time."""
        return abs(self.middle + 0.5 - self.truth) / self.truth


@dataclass(frozen=True)
class Checked:
    """One box: what each view told 30 days before, and how many days ahead a swap was called due.

    ``due_ahead`` counts from the day the limit was passed; ``too_wet_days`` is from the day it was
    called due to the day the box passed 45 %, infinite if it never did. ``unchecked_ahead`` is
    ``due_ahead`` with a sensor that was never checked. ``fresh`` is what was told on the day the
    charge went in, where the days before are enough for that.
    """

    told: tuple[Told, ...]
    due_ahead: float
    unchecked_ahead: float
    too_wet_days: float
    fresh: Told | None = None


def tell(box: RandomBox, view: View, before_days: float) -> Told:
    """Forecast so many days before the limit is passed."""
    passes = box.passes_ms()
    assert passes is not None
    record = seen(
        box,
        int(passes - before_days * MS_PER_DAY),
        outside=view.outside,
        off_pct=view.off_pct(box.number),
        curve=view.curve,
    )
    record = replace(record, sensor_pct=SENSOR_PCT if view.checked else UNCHECKED_PCT)
    answer = forecast(record, LIMIT_PCT)
    if answer is None:
        return Told(np.inf, np.inf, np.inf, before_days, np.inf)
    return Told(answer.low_days, answer.days, answer.high_days, before_days, answer.days_per_pct)


def tell_fresh(box: RandomBox) -> Told | None:
    """Forecast on the day the charge goes in, by the box before; the sensor was never checked."""
    passes = box.passes_ms()
    assert passes is not None
    record = seen(box, box.swap_ms, outside=True, off_pct=UNCHECKED.off_pct(box.number))
    before = replace(record, charges=record.charges[:1], sensor_pct=UNCHECKED_PCT)
    if usable_days(before).sum() < LEAST_DAYS:
        return None
    answer = forecast_fresh(before, record.charges[1], LIMIT_PCT)
    if answer is None:
        return None
    truth = (passes - box.swap_ms) / MS_PER_DAY
    return Told(answer.low_days, answer.days, answer.high_days, truth, answer.days_per_pct)


def due_ahead(box: RandomBox, view: View) -> float:
    """Days before the limit on which a swap is first called due; a day past it at the latest.

    Looked at every seven days in the eight weeks before; past the limit the humidity itself says.
    """
    passes = box.passes_ms()
    assert passes is not None
    most = (passes - box.swap_ms) / MS_PER_DAY - 25.0  # before, the start-up is not over
    for before in np.arange(56.0, 0.0, -7.0):
        if before < most and tell(box, view, before).low <= DUE_AHEAD_DAYS:
            return float(before)
    return -1.0


def check(number: int, *, full: bool = True) -> Checked | None:
    """Check one box; ``None`` if its charge does not fail within the time simulated.

    Not ``full``: only what the first view tells.
    """
    box = random_box(number)
    passes, wet = box.passes_ms(), box.passes_ms(TOO_WET_PCT)
    if passes is None or passes - box.swap_ms < HELD_DAYS * MS_PER_DAY:
        return None
    if not full:
        return Checked((tell(box, VIEWS[0], LEAD_DAYS),), np.nan, np.nan, np.nan)
    ahead = due_ahead(box, VIEWS[0])
    called = passes - ahead * MS_PER_DAY
    after = np.inf if wet is None else (wet - called) / MS_PER_DAY
    told = tuple(tell(box, view, LEAD_DAYS) for view in VIEWS)
    return Checked(told, ahead, due_ahead(box, UNCHECKED), after, tell_fresh(box))


def checks(count: int, workers: int = 1) -> list[Checked]:
    """Check so many boxes that can be checked, drawn in order."""
    found: list[Checked] = []
    number = 0
    while len(found) < count:
        numbers = range(number, number + max(count - len(found), workers))
        number = numbers.stop
        if workers > 1:
            with ProcessPoolExecutor(workers) as pool:
                some: Iterable[Checked | None] = list(pool.map(check, numbers))
        else:
            some = map(check, numbers)
        found += [each for each in some if each is not None]
    return found[:count]


def summary(told: Sequence[Told]) -> tuple[float, float, float]:
    """Median error [%], share held [%], median width of the interval [d]."""
    width = float(np.median([each.high - each.low for each in told]))
    error = 100.0 * float(np.median([each.error for each in told]))
    return error, 100.0 * float(np.mean([each.held for each in told])), width


def rows(found: Sequence[Checked]) -> list[str]:
    """Lines of the table by view."""
    lines = ["| known about the box | date within the interval | median error | interval |"]
    lines.append("| --- | --- | --- | --- |")
    for i, view in enumerate(VIEWS):
        error, held, width = summary([each.told[i] for each in found])
        lines.append(f"| {view.words} | {held:.0f} % | {error:.0f} % | {width:.0f} days |")
    return lines


def speeds(found: Sequence[Checked]) -> list[str]:
    """Lines of the table by how fast the humidity rises."""
    lines = ["| 1 % RH takes | boxes | date within the interval | median error |"]
    lines.append("| --- | --- | --- | --- |")
    edges = ((0.0, 7.0, "up to a week"), (7.0, 21.0, "one to three weeks"),
             (21.0, np.inf, "more than three weeks"))  # fmt: skip
    for low, high, words in edges:
        told = [e.told[0] for e in found if low <= e.told[0].days_per_pct < high]
        if told:
            error, held, _ = summary(told)
            lines.append(f"| {words} | {len(told)} | {held:.0f} % | {error:.0f} % |")
    return lines


def page(found: Sequence[Checked]) -> str:
    """Write the page."""
    ahead = np.array([each.due_ahead for each in found])
    fresh = [each.fresh for each in found if each.fresh is not None]
    unchecked = np.array([each.unchecked_ahead for each in found])
    before = 100.0 * float(np.mean(ahead > 0.0))
    nearest = min(each.too_wet_days for each in found)
    wet = sum(np.isfinite(each.too_wet_days) for each in found)
    return TEMPLATE.format(
        boxes=len(found),
        limit=LIMIT_PCT,
        due=DUE_AHEAD_DAYS,
        wettest=TOO_WET_PCT,
        rows="\n".join(rows(found)),
        speeds="\n".join(speeds(found)),
        before=f"{before:.0f}",
        ahead=f"{np.median(ahead):.0f}",
        early=f"{100.0 * np.mean(ahead >= 49.0):.0f}",
        stated=STATED_PCT,
        before_unchecked=f"{100.0 * np.mean(unchecked > 0.0):.0f}",
        ahead_unchecked=f"{np.median(unchecked):.0f}",
        early_unchecked=f"{100.0 * np.mean(unchecked >= 49.0):.0f}",
        fresh=len(fresh),
        fresh_held=f"{100.0 * np.mean([each.held for each in fresh]):.0f}",
        fresh_error=f"{100.0 * np.median([each.error for each in fresh]):.0f}",
        fresh_low=f"{100.0 * np.median([each.low / each.truth for each in fresh]):.0f}",
        wet=wet,
        nearest=f"{nearest:.0f}",
    )


TEMPLATE = """\
<!-- Written by tests/keeping/watch_check.py; a test compares. Do not edit by hand. -->
# How well the swap date is told

The desiccant watch was set against {boxes} simulated boxes. The simulator shares no code with it.

The boxes: 4 to 40 L of air, plastic walls of 1 to 2.5 mm, 0.3 to 10 air changes a day, opened up to
three times a week, 50 to 500 g of gel, 0.1 to 3 kg of seed, in rooms of 14 to 20 °C with their
seasons and weather. Each has been watched for one to seven months when fresh gel goes in. Boxes
whose gel lasts two to eight months or so are drawn: slower ones have no date worth telling, faster
ones no use for desiccant. The watch is told the grams of gel; the seed's only to a factor of about
1.35, and the sensor outside is 1 % off.

## Thirty days before

Thirty days before the box stays above {limit:g} % for a day the watch is asked for the date. The
error is that of the remaining 30 days.

{rows}

A sensor that is a constant 1 % off shifts the date by as long as the box takes to rise by 1 %; the
watch says how many days that are. Nothing in the record of one sensor tells how far it is off. So
the interval of a sensor without a correction of its humidity allows for {stated:g} % either way,
the accuracy in makers' data sheets, evenly spread; that of a corrected one for 0.4 % (standard
deviation).

By how fast the humidity rises (exact sensor, sensor outside):

{speeds}

What is left is mostly the weather of the weeks to come.

## On the day of a swap

A new charge has no record of its own for nearly three weeks. Until then a first word is given: the
water that the seed held and that the charge held when it went in, and the box as it let water in
before. In the {fresh} boxes that were watched long enough before the swap (sensor never checked, up
to {stated:g} % off), it held the date in {fresh_held} %, with a median error of {fresh_error} % of
the whole time; the early end of the interval lay at {fresh_low} % of it, in the middle of boxes.

## Called due

A swap is called due when the early end of the interval is within {due:g} days, or when the humidity
is past the limit. Asked once a week, it was called before the limit was passed in {before} % of
boxes, half of them {ahead} days ahead or more, and seven weeks ahead or earlier in {early} %.
With a sensor that was never checked these are {before_unchecked} %, {ahead_unchecked} days and
{early_unchecked} %: what it may be off is paid for with gel that is swapped sooner.
{wet} boxes went on to pass {wettest:g} % within the time simulated, none of them sooner than
{nearest} days after it was called.

`python tests/keeping/watch_check.py` writes this page.
"""


if __name__ == "__main__":
    PAGE.write_text(page(checks(BOXES, 2)), encoding="utf-8")
    print(PAGE.read_text(encoding="utf-8"))
