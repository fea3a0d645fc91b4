"""A made-up future of a box, for tests of pictures."""

import numpy as np

from hilum.domain.model import MS_PER_DAY
from hilum.web.views.aheads import Future
from web.small_world import NOW_MS

DAYS = np.arange(0, 100, 5)
COMING = Future(
    time_ms=NOW_MS + DAYS * MS_PER_DAY,
    low_pct=20.0 + DAYS / 10,
    middle_pct=22.0 + DAYS / 5,
    high_pct=24.0 + DAYS / 3,
    limit_pct=30.0,
    due_ms=(NOW_MS + 10 * MS_PER_DAY, NOW_MS + 30 * MS_PER_DAY, None),
)
"""Damper and damper; due between ten days from now and some day beyond a year."""
