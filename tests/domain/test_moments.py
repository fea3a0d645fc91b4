"""Moments in messages are read in the zone of who reads them."""

from datetime import UTC
from zoneinfo import ZoneInfo

import pytest

from hilum.domain.moments import in_zone, utc_words

BRUSSELS = ZoneInfo("Europe/Brussels")


@pytest.mark.parametrize(
    ("words", "zone", "said"),
    [
        # Brussels: UTC+1, and UTC+2 from the last Sunday of March on (Directive 2000/84/EC)
        ("since 2026-03-01 18:30 UTC.", BRUSSELS, "since 2026-03-01 19:30."),
        ("at 2026-07-01 23:30 UTC", BRUSSELS, "at 2026-07-02 01:30"),
        (
            "from 2026-01-01 00:00 UTC to 2026-07-01 00:00 UTC",
            BRUSSELS,
            "from 2026-01-01 01:00 to 2026-07-01 02:00",
        ),
        ("since 2026-03-01 18:30 UTC.", UTC, "since 2026-03-01 18:30 UTC."),
        ("since 2026-03-01 18:30 UTC.", ZoneInfo("UTC"), "since 2026-03-01 18:30 UTC."),
        ("on 2026-13-41 77:30 UTC", BRUSSELS, "on 2026-13-41 77:30 UTC"),
        ("9999-12-31 23:59 UTC", BRUSSELS, "9999-12-31 23:59 UTC"),
        ("2026-03-01 18:30", BRUSSELS, "2026-03-01 18:30"),
    ],
)
def test_messages_in_a_zone(words: str, zone: ZoneInfo, said: str) -> None:
    """Each moment is moved, others and the rest of the words are left alone."""
    assert in_zone(words, zone) == said


def test_a_moment_is_written_to_the_minute() -> None:
    """As 1,772,389,859 s after 1970 (GNU date: 2026-03-01 18:30:59 UTC)."""
    assert utc_words(1_772_389_859_000) == "2026-03-01 18:30 UTC"
