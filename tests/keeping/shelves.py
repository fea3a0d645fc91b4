"""Lots without sensors: they live at their prior conditions, so that loss can be worked by hand."""

from datetime import UTC, date, datetime, timedelta

from hilum.domain.model import GerminationTest, Lot, PlanLine, SeasonPlan
from hilum.keeping.seasons.season import Season, plan_season
from hilum.stores.memory import MemoryStore

TODAY = date(2026, 11, 2)
NOW_MS = round(datetime(2026, 11, 2, tzinfo=UTC).timestamp() * 1000)


def lot(
    code: str, kind: str = "onion", *, age_days: int = 0, pct: float = 90.0, **more: object
) -> Lot:
    """A lot with a germination figure so many days old, kept at 20 °C and 50 % humidity since."""
    when = TODAY - timedelta(days=age_days)
    return Lot(code, kind, label_pct=pct, label_date=when, **more)  # type: ignore[arg-type]


def shelf_of(*lots: Lot, tests: tuple[GerminationTest, ...] = ()) -> MemoryStore:
    """A store with these lots."""
    store = MemoryStore()
    store.save_lots(lots)
    for test in tests:
        store.add_test(test)
    return store


def answered(store: MemoryStore, *lines: PlanLine, sow_on: date = TODAY, **how: object) -> Season:
    """A season plan for these lines, answered today."""
    plan = SeasonPlan(0, "Test", sow_on, **how)  # type: ignore[arg-type]
    return plan_season(store, plan, lines, NOW_MS)
