"""When people are told: as the settings say, or as set, from the next message on."""

from datetime import UTC, time

import pytest

from hilum.domain.alerts import DigestTime, QuietTimes, Telling
from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.keeping.watching.tellingtimes import (
    TellingTimes,
    digest_words,
    quiet_words,
    reset_digest,
    reset_quiet,
    set_digest,
    set_quiet,
)
from keeping.watching import DAY, HOUR, MAIL, T0, Small

SUNDAY_NINE = T0 + 4 * DAY + 9 * HOUR  # 2025-01-05
MONDAY = DigestTime(on=True, weekday=0, hour=9)


@pytest.fixture
def small() -> Small:
    """A tub, whose watch looks at what is set at each moment."""
    made = Small()
    made.place()
    return made


@pytest.fixture
def times(small: Small) -> TellingTimes:
    """The usual times."""
    return TellingTimes(small.store, Telling(), UTC)


def test_quiet_hours_hold_from_the_moment_they_are_set(small: Small, times: TellingTimes) -> None:
    """Midnight is quiet by the settings until seven; set otherwise, it is not; put back, it is."""
    assert times.due_ms(T0) == T0 + 7 * HOUR
    set_quiet(small.store, QuietTimes(time(1), time(5)), T0)
    assert times.due_ms(T0) == T0
    assert times.due_ms(T0 + HOUR) == T0 + 5 * HOUR
    reset_quiet(small.store, T0)
    assert times.due_ms(T0) == T0 + 7 * HOUR


def test_an_alert_waits_by_what_is_set(small: Small) -> None:
    """Damp at midnight is told at once where somebody set that there are no quiet hours."""
    small.engine._quiet = TellingTimes(small.store, Telling(), UTC)
    set_quiet(small.store, QuietTimes(time.min, time.min), T0)
    small.run(200, rh_pct=50.0)
    (notice, *_) = small.store.notices()
    assert notice.due_ms == notice.made_ms


def test_the_digest_comes_when_it_is_set(small: Small, times: TellingTimes) -> None:
    """On Sunday by the settings; moved to Monday it comes on Monday, once."""
    assert [n.key for n in times.digests((MAIL,), SUNDAY_NINE)] == ["digest.2025-01-05"]
    set_digest(small.store, MONDAY, SUNDAY_NINE - HOUR)
    assert times.digests((MAIL,), SUNDAY_NINE) == []
    assert [n.key for n in times.digests((MAIL,), SUNDAY_NINE + DAY)] == ["digest.2025-01-06"]


def test_a_digest_whose_new_time_has_passed_is_not_made_up_for(
    small: Small, times: TellingTimes
) -> None:
    """Moved on Tuesday to Monday, or put back to Sunday, the next one is that of next week."""
    tuesday = SUNDAY_NINE + 2 * DAY
    set_digest(small.store, MONDAY, tuesday)
    assert times.digests((MAIL,), tuesday) == []
    assert len(times.digests((MAIL,), SUNDAY_NINE + 8 * DAY)) == 1
    reset_digest(small.store, tuesday)
    assert times.digests((MAIL,), tuesday) == []


def test_no_digest_where_it_is_switched_off(small: Small, times: TellingTimes) -> None:
    """Switched off here, none comes, whatever the settings say; and the other way round."""
    set_digest(small.store, DigestTime(on=False), T0)
    assert times.digests((MAIL,), SUNDAY_NINE) == []
    off = TellingTimes(small.store, Telling(digest=DigestTime(on=False)), UTC)
    set_digest(small.store, DigestTime(), T0)
    assert len(off.digests((MAIL,), SUNDAY_NINE)) == 1


def test_what_cannot_be_set_or_put_back(small: Small) -> None:
    """There is no eighth day and no 24th hour; what was not set cannot be put back."""
    with pytest.raises(InvalidInputError, match="day of the week"):
        set_digest(small.store, DigestTime(weekday=7), T0)
    with pytest.raises(InvalidInputError, match="between 0 and 23"):
        set_digest(small.store, DigestTime(hour=24), T0)
    for reset in (reset_quiet, reset_digest):
        with pytest.raises(NotFoundError, match="as in the settings"):
            reset(small.store, T0)
    assert small.store.events() == []


def test_words() -> None:
    """Times stand with two digits; none and off are said."""
    assert quiet_words(QuietTimes()) == "From 22:00 to 07:00, local time."
    assert quiet_words(QuietTimes(time.min, time.min)).startswith("No quiet hours")
    assert digest_words(DigestTime(hour=0)) == "Every Sunday at 00:00, local time."
    assert digest_words(DigestTime(on=False)) == "Switched off."
