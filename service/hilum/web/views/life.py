"""The life of a lot as a drawn line: the past by its storage, the future at the present rate."""

import numpy as np

from hilum.domain.model import MS_PER_DAY, Floats, GerminationTest, Ints
from hilum.domain.ports import Store
from hilum.keeping.lots.origin import label_day, ms_of
from hilum.keeping.lots.outlook import LotOutlook, life_line
from hilum.science.posterior import Band
from hilum.science.proportions import count_interval
from hilum.web.views.charts import PATH_HEIGHT, PATH_WIDTH, area_path, line_path
from hilum.web.views.format import Style, number, pct, span_pct
from hilum.web.views.marks import place_pct
from hilum.web.views.outlook import band_words
from hilum.web.views.picturecontexts import Life, LifeSowing, LifeTest
from hilum.web.views.pieces import Fact
from hilum.web.views.timeaxis import time_ticks

POINTS = 120
ROWS = 9
LEAST_AHEAD_DAYS, MOST_AHEAD_DAYS = 180.0, 5 * 365.25
TIME_LABELS = 5


def life_chart(store: Store, outlook: LotOutlook, style: Style) -> Life | None:
    """Draw a lot's viability from its start to some time ahead; ``None`` where it is not known."""
    if outlook.now is None or outlook.minimum is None:
        return None
    times_ms = _times(outlook)
    band = life_line(store, outlook.lot.code, times_ms, outlook.at_ms)
    median, low, high = (
        np.asarray(value, float) for value in (band.median_pct, band.low_pct, band.high_pct)
    )
    first, last = int(times_ms[0]), int(times_ms[-1])
    x = (times_ms - first) / (last - first) * PATH_WIDTH
    return Life(
        label=f"Viability from {style.day(first)} to {style.day(last)}: {_told(median)}",
        area=area_path(x, _down(low), _down(high)),
        line=line_path(x, _down(median)),
        minimum=100.0 - outlook.minimum.pct,
        now=round((outlook.at_ms - first) / (last - first) * 100, 2),
        tests=tuple(_test(seen.test, (first, last)) for seen in outlook.tests),
        sowing=_sowing(store, outlook.at_ms, (first, last)),
        ticks=tuple((100.0 - pct, number(pct)) for pct in (0, 20, 40, 60, 80, 100)),
        times=time_ticks(first, last, TIME_LABELS, style),
        rows=_rows(times_ms, median, low, high, style),
    )


def _times(outlook: LotOutlook) -> Ints:
    """Times evenly from the lot's start, or a month ago if that is later, to some time ahead."""
    day = label_day(outlook.lot)
    starts = [outlook.at_ms - 30 * MS_PER_DAY, *(ms_of(seen.test.on) for seen in outlook.tests)]
    if day is not None:
        starts.append(ms_of(day))
    past = outlook.at_ms - min(starts)
    ahead = min(max(past / 2, LEAST_AHEAD_DAYS * MS_PER_DAY), MOST_AHEAD_DAYS * MS_PER_DAY)
    return np.linspace(min(starts), outlook.at_ms + ahead, POINTS).astype(np.int64)


def _down(pct: Floats) -> Floats:
    return (100.0 - pct) / 100.0 * PATH_HEIGHT


def _test(test: GerminationTest, span: tuple[int, int]) -> LifeTest:
    """Place a test, with the interval its count alone allows."""
    low, high = (100 * share for share in count_interval(test.germinated, test.sown))
    came_up = 100 * test.germinated / test.sown
    return LifeTest(
        left=round(place_pct(ms_of(test.on), span), 2),
        top=round(100 - came_up, 2),
        low=round(100 - low, 2),
        high=round(100 - high, 2),
        words=f"{test.on}: {test.germinated} of {test.sown}, {pct(came_up)} "
        f"({span_pct(low, high)})",
    )


def _sowing(store: Store, at_ms: int, span: tuple[int, int]) -> LifeSowing | None:
    """Place the next sowing of the season plans, if it lies within the picture."""
    plans = sorted(store.season_plans(), key=lambda plan: plan.sow_on)
    plan = next((plan for plan in plans if ms_of(plan.sow_on) > at_ms), None)
    if plan is None or ms_of(plan.sow_on) > span[1]:
        return None
    left = round(place_pct(ms_of(plan.sow_on), span), 2)
    return LifeSowing(left, f"sowing planned for {plan.sow_on}")


def _told(median: Floats) -> str:
    known = median[~np.isnan(median)]
    return f"from about {number(float(known[0]))} to {number(float(known[-1]))} %"


def _rows(
    times_ms: Ints, median: Floats, low: Floats, high: Floats, style: Style
) -> tuple[Fact, ...]:
    """Give some points of the line as a table."""
    return tuple(
        Fact(
            style.day(int(times_ms[k])),
            band_words(Band(float(median[k]), float(low[k]), float(high[k]))),
        )
        for k in np.linspace(0, len(times_ms) - 1, ROWS).astype(int)
        if not np.isnan(median[k])
    )
