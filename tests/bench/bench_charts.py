"""How long the chart of ten years takes against the chart of a day.

``python tests/bench/bench_charts.py [readings]`` asks for the history of a box as its page does:
rows from the store, reduced to 480 buckets, and drawn. Repeated in turn; the least time counts.
"""

import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench.decade import SENSOR, asked, database
from bench.rows import Row, least, ms, table
from hilum.domain.model import MS_PER_DAY
from hilum.keeping.overview import box_history
from hilum.stores.sqlite import SqliteStore
from hilum.web.views.charts import decimate
from hilum.web.views.history import BUCKETS

TIMES = 30


def measure(path: Path) -> list[Row]:
    """Time both over a database of ``decade``."""
    with closing(SqliteStore.open_readonly(path)) as store:
        box = store.box("tub")
        extent = store.extent(SENSOR)
        assert extent is not None
        _, first_ms, last_ms = extent

        def draw(days: float) -> None:
            start_ms, end_ms = last_ms - int(days * MS_PER_DAY), last_ms + 1
            found = box_history(store, box, start_ms, end_ms, BUCKETS)
            decimate(found, start_ms, end_ms, BUCKETS)

        years = (last_ms - first_ms) / MS_PER_DAY / 365.25
        spans = {"day": 1.0, "month": 30.0, "year": 365.0, "all": years * 365.25}
        found = dict(
            zip(spans, least(TIMES, *(_asking(draw, d) for d in spans.values())), strict=True)
        )
    told = f"day {ms(found['day'])}, month {ms(found['month'])}, year {ms(found['year'])}"
    work = f"chart of {years:.0f} years"
    return [
        Row(work, ms(found["all"]), told, found["all"] / found["day"], 2),
        Row(f"{work}, alone", ms(found["all"]), "", 1000 * found["all"], 20, unit=" ms"),
    ]


def _asking(draw: Callable[[float], None], days: float) -> Callable[[], None]:
    return lambda: draw(days)


if __name__ == "__main__":
    with database(asked()) as found:
        print(table(measure(found)))
