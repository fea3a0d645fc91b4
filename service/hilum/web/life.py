"""The life of a lot as a drawn line: the past by its storage, the future at the present rate."""

import numpy as np

from hilum.domain.model import MS_PER_DAY, Floats, Ints
from hilum.domain.ports import Store
from hilum.keeping.lots.origin import label_day, ms_of
from hilum.keeping.lots.outlook import LotOutlook, life_line
from hilum.science.posterior import Band
from hilum.web.charts import PATH_HEIGHT, PATH_WIDTH, area_path, line_path
from hilum.web.contexts import Life
from hilum.web.format import Style, number
from hilum.web.outlook import band_words
from hilum.web.pieces import Fact

POINTS = 120
ROWS = 9
LEAST_AHEAD_DAYS, MOST_AHEAD_DAYS = 180.0, 5 * 365.25
TIME_LABELS = 4


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
        tests=tuple(
            (
                round((ms_of(seen.test.on) - first) / (last - first) * 100, 2),
                round(100 - 100 * seen.test.germinated / seen.test.sown, 2),
            )
            for seen in outlook.tests
        ),
        ticks=tuple((100.0 - pct, number(pct)) for pct in (0, 20, 40, 60, 80, 100)),
        times=tuple(
            ((k + 0.5) / TIME_LABELS * 100, f"{style.local(_at(first, last, k)):%Y-%m}")
            for k in range(TIME_LABELS)
        ),
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


def _at(first: int, last: int, place: int) -> int:
    return first + int((place + 0.5) / TIME_LABELS * (last - first))


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
