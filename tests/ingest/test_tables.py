"""Readings from CSV-like files, as people's loggers and spreadsheets write them."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Reading
from hilum.ingest.tables import Problem, read_rows, recognise

BRUSSELS = ZoneInfo("Europe/Brussels")


def read(
    text: str, zone: ZoneInfo | None = None, *, day_first: bool | None = None
) -> list[Reading | Problem]:
    """Recognise and read a whole table."""
    lines = text.splitlines()
    return list(read_rows(lines, recognise(lines, day_first=day_first), "home/x", zone))


def utc_ms(*parts: int) -> int:
    """Milliseconds of a UTC time."""
    return round(datetime(*parts, tzinfo=UTC).timestamp() * 1000)  # type: ignore[arg-type, misc]


@pytest.mark.parametrize(
    ("text", "temp_c", "rh_pct"),
    [
        ("time,temperature,humidity\n2024-01-02T03:04:05Z,20.5,40\n", 20.5, 40.0),
        ("Timestamp;Temp (°C);RH (%)\n2024-01-02T03:04:05Z;20,5;40,0\n", 20.5, 40.0),
        ("Date\tClock\tT\tRH\n2024-01-02\t03:04:05+00:00\t20.5\t40\n", 20.5, 40.0),
        ("time_utc,temp_f,rh_pct\n2024-01-02T03:04:05Z,68.9,40\n", 20.5, 40.0),
        ("timestamp,temperature [degF],humidity\n1704164645,68.9,40%\n", 20.5, 40.0),
        ("timestamp,temperature,humidity\n1704164645000,20.5,0.4\n", 20.5, 40.0),
        ("Logger 7\n\ndate,temperature,humidity\n2024-01-02 03:04:05Z,20.5,40\n", 20.5, 40.0),
    ],
)
def test_usual_layouts_are_recognised(text: str, temp_c: float, rh_pct: float) -> None:
    """Separators, headings, units and times in the usual notations give the same reading."""
    (reading,) = read(text)

    assert isinstance(reading, Reading)
    assert reading.time_ms == utc_ms(2024, 1, 2, 3, 4, 5)
    assert reading.temp_c == pytest.approx(temp_c)
    assert reading.rh_pct == pytest.approx(rh_pct)


def test_a_header_one_column_short_is_seen_as_a_row_number() -> None:
    """A row number before the named columns shifts them by one."""
    text = '"date","Temperature","Humidity"\n"140","2015-02-02 14:19:00",23.7,26.272\n'

    (reading,) = read(text, BRUSSELS)

    assert reading == Reading("home/x", utc_ms(2015, 2, 2, 13, 19), 23.7, 26.272)


def test_a_humidity_ratio_is_not_taken_for_humidity() -> None:
    """Only a relative-humidity column counts as humidity."""
    (reading,) = read("time,temperature,HumidityRatio\n2024-01-01T00:00Z,20,0.004\n")

    assert isinstance(reading, Reading)
    assert reading.rh_pct is None


def test_local_times_need_a_zone() -> None:
    """Local times without a zone are refused with what to give."""
    with pytest.raises(InvalidInputError, match="--time-zone"):
        read("time,temperature,humidity\n2024-01-01 00:00,20,40\n")


def test_the_repeated_hour_in_autumn_is_read_in_order() -> None:
    """Where the clock goes back, the second 02:30 is an hour after the first (EU rule, 2024)."""
    text = "time,temperature,humidity\n2024-10-27 02:30,20,40\n2024-10-27 02:10,20,40\n"

    first, second = read(text, BRUSSELS)

    assert isinstance(first, Reading)
    assert isinstance(second, Reading)
    assert first.time_ms == utc_ms(2024, 10, 27, 0, 30)
    assert second.time_ms == utc_ms(2024, 10, 27, 1, 10)


def test_the_skipped_hour_in_spring_is_a_problem_not_a_guess() -> None:
    """A local time that never was is reported with its line."""
    text = "time,temperature,humidity\n2024-03-31 02:30,20,40\n2024-03-31 03:30,20,40\n"

    problem, reading = read(text, BRUSSELS)

    assert isinstance(problem, Problem)
    assert problem.line == 2
    assert "summer time" in problem.reason
    assert isinstance(reading, Reading)
    assert reading.time_ms == utc_ms(2024, 3, 31, 1, 30)


def test_ambiguous_dates_are_asked_about() -> None:
    """03/04/2024 is refused until the order is said; 13/04/2024 says it itself."""
    text = "time,temperature,humidity\n03/04/2024 05:06,20,40\n"
    with pytest.raises(InvalidInputError, match="day first or month first"):
        read(text, BRUSSELS)

    (asked,) = read(text, ZoneInfo("UTC"), day_first=False)
    (clear,) = read(text.replace("03/04", "13/04"), ZoneInfo("UTC"))

    assert isinstance(asked, Reading)
    assert isinstance(clear, Reading)
    assert asked.time_ms == utc_ms(2024, 3, 4, 5, 6)
    assert clear.time_ms == utc_ms(2024, 4, 13, 5, 6)


def test_bad_rows_do_not_stop_the_rest() -> None:
    """Each row that cannot be read is reported with its line and reason."""
    text = (
        "time,temperature,humidity\n"
        "2024-01-01T00:00Z,20,40\n"
        "yesterday,20,40\n"
        "2024-01-01T00:02Z,warm,40\n"
        "2024-01-01T00:03Z,,\n"
        "2024-01-01T00:04Z,21,\n"
    )

    outcome = read(text)

    assert [type(item).__name__ for item in outcome] == [
        "Reading", "Problem", "Problem", "Problem", "Reading",
    ]  # fmt: skip
    assert [item.line for item in outcome if isinstance(item, Problem)] == [3, 4, 5]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("a,b,c\n1,2,3\n", "temperature or humidity"),
        ("when it was,temperature\n2024-01-01,20\n", "time"),
        ("time,temperature,humidity\n", "no rows"),
        ("time,temperature,humidity\nsoon,20,40\n", "not a time"),
    ],
)
def test_a_table_that_cannot_be_used_says_why(text: str, words: str) -> None:
    """An unusable file is refused with what was seen."""
    with pytest.raises(InvalidInputError, match=words):
        read(text)
