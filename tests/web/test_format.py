"""Figures, dates and states in words."""

from zoneinfo import ZoneInfo

import pytest

from hilum.keeping.overview import Freshness
from hilum.web.render import whole
from hilum.web.reviews import times_words
from hilum.web.views.format import (
    Style,
    ago,
    band_words,
    count,
    freshness_words,
    number,
    pct,
    plain,
    sentence_list,
    span_pct,
)

MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000


@pytest.mark.parametrize(
    ("value", "digits", "words"),
    [(3.14159, 1, "3.1"), (-0.04, 1, "0.0"), (-18.26, 1, "−18.3"), (62.4, 0, "62")],
)
def test_numbers_have_a_true_minus_and_no_negative_zero(
    value: float, digits: int, words: str
) -> None:
    """A hyphen is no minus, and −0.0 puzzles people."""
    assert number(value, digits) == words


def test_a_range_that_reads_the_same_is_one_figure() -> None:
    """7–7 % would be silly."""
    assert span_pct(6.9, 10.2) == "7–10\xa0%"
    assert span_pct(6.9, 7.2) == "7\xa0%"
    assert pct(None) == "—"


@pytest.mark.parametrize(
    ("age_ms", "words"),
    [
        (59_000, "just now"),
        (2 * MINUTE, "2\xa0min ago"),
        (59 * MINUTE, "59\xa0min ago"),
        (47 * HOUR, "47\xa0h ago"),
        (2 * DAY, "2\xa0days ago"),
    ],
)
def test_ages_are_coarse(age_ms: int, words: str) -> None:
    """Minutes, then hours, then days."""
    assert ago(age_ms) == words


def test_lists_read_as_in_a_sentence() -> None:
    """Commas, and an "and" before the last."""
    assert [sentence_list(["a", "b", "c"][:n]) for n in range(4)] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]


def test_counts_have_their_noun() -> None:
    """One lot, two lots, no lots."""
    assert [count(n, "lot") for n in (0, 1, 2, 12_345)] == [
        "0\xa0lots",
        "1\xa0lot",
        "2\xa0lots",
        "12,345\xa0lots",
    ]


def test_temperature_follows_the_setting() -> None:
    """−40 is the same in both; 20 °C is 68 °F."""
    zone = ZoneInfo("UTC")
    assert Style(zone).temp(20.0) == "20.0\xa0°C"
    assert Style(zone, fahrenheit=True).temp(20.0) == "68.0\xa0°F"
    assert Style(zone, fahrenheit=True).temp(-40.0) == "−40.0\xa0°F"
    assert Style(zone).temp(None) == "—"


def test_times_are_written_in_the_zone_of_the_settings() -> None:
    """Half past midnight UTC in summer is half past two in Brussels, the same day."""
    style = Style(ZoneInfo("Europe/Brussels"))
    assert style.moment(1_751_329_800_000) == "2025-07-01 02:30"  # 2025-07-01T00:30Z
    assert Style(ZoneInfo("America/New_York")).day(1_751_329_800_000) == "2025-06-30"


def test_freshness_never_passes_an_old_value_off_as_new() -> None:
    """Late and silent say so; no value says that."""
    assert freshness_words(Freshness.FRESH, 5 * MINUTE) == "5\xa0min ago"
    assert freshness_words(Freshness.LATE, 3 * HOUR) == "last heard 3\xa0h ago"
    assert freshness_words(Freshness.SILENT, 9 * HOUR) == "silent, last heard 9\xa0h ago"
    assert freshness_words(Freshness.NO_READING, None) == "nothing received yet"
    assert freshness_words(Freshness.NO_SENSOR, None) == "no sensor"


def test_a_humidity_is_placed_beside_its_band() -> None:
    """Both ends belong to the band."""
    assert [band_words(erh, 15, 35) for erh in (14.9, 15, 35, 35.1)] == [
        "drier than its band",
        "in its band",
        "in its band",
        "above its band",
    ]


def test_no_line_ends_within_a_date_or_before_a_unit() -> None:
    """Each is wrapped to stay together, what is around it is escaped, the text is the same."""
    assert whole("10-20 %") == '10-<span class="one">20 %</span>'
    found = whole("at -18 °C <b> and 21 % by 2027-02-13")
    assert found == (
        'at <span class="one">−18 °C</span> &lt;b&gt; and <span class="one">21 %</span> by '
        '<span class="one">2027-02-13</span>'
    )
    assert whole("in about 2 years") == 'in about <span class="one">2 years</span>'


@pytest.mark.parametrize(
    ("amount", "words"),
    [(180.0, "180"), (23.0, "23"), (12.34, "12.3"), (2.47, "2.5"), (5.0, "5"), (0.04, "0.04")],
)
def test_amounts_have_no_decimal_that_says_nothing(amount: float, words: str) -> None:
    """A whole number stands without decimals; a pinch of fine seed is not nothing."""
    assert plain(amount) == words


@pytest.mark.parametrize(
    ("now", "before", "words"),
    [
        (0.0148, 0.0054, "2.7 times"),
        (0.05, 0.002, "25 times"),
        (0.0100, 0.0102, "about the same"),
        (0.002, 0.004, "0.5 times"),
        (0.01, None, "—"),
        (0.01, 0.0, "—"),
        (None, 0.01, "—"),
    ],
)
def test_ageing_stands_beside_that_of_the_year_before(
    now: float | None, before: float | None, words: str
) -> None:
    """How many times as fast, by division; nothing where either year is not known."""
    assert times_words(now, before)[0] == words
