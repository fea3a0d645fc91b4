"""The day a lot's germination figure is set against, from which its loss counts."""

from datetime import UTC, date, datetime, time

from hilum.domain.model import Lot

ASSUMED_MONTH, ASSUMED_DAY = 10, 1
"""Where only a year is known: 1 October, after most harvests of the north and before the selling
season. Our assumption, no source."""


def label_day(lot: Lot) -> date | None:
    """Give the day of the germination figure, or that assumed from the lot's year, or ``None``."""
    if lot.label_date is not None:
        return lot.label_date
    if lot.year is not None and 1 <= lot.year <= date.max.year:
        return date(lot.year, ASSUMED_MONTH, ASSUMED_DAY)
    return None


def is_assumed(lot: Lot) -> bool:
    """Tell whether the day was assumed from the year."""
    return lot.label_date is None and label_day(lot) is not None


def ms_of(day: date) -> int:
    """Milliseconds since 1970 UTC at which a day begins."""
    return int(datetime.combine(day, time(), UTC).timestamp() * 1000)
