"""What happened, what is to come, the calendar, and dates on axes: worked out and on the page."""

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from starlette.testclient import TestClient

from hilum.domain.alerts import Alert, AlertChange, AlertState
from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, Event, EventType
from hilum.web import pages
from hilum.web.parts import WebParts
from hilum.web.views.aheads import drawn, end_ms, told
from hilum.web.views.calendars import calendar
from hilum.web.views.charts import Scale
from hilum.web.views.format import Style
from hilum.web.views.marks import marks
from hilum.web.views.marks import told as happened
from hilum.web.views.timeaxis import time_ticks
from web.elements import parse
from web.pictures import COMING
from web.small_world import NOW_MS, START_MS

STYLE = Style(ZoneInfo("UTC"))
WEEK = (NOW_MS - 7 * MS_PER_DAY, NOW_MS)


def note(parts: WebParts, hours: float, kind: EventType = EventType.OPENED) -> Event:
    """Write a line about the drawer so many hours ago."""
    time_ms = NOW_MS - round(hours * MS_PER_HOUR)
    return parts.store.add_event(Event(0, time_ms, kind, box="drawer"))


def alarm(parts: WebParts, since_h: float, until_h: float | None, *, raised: bool = True) -> None:
    """Tell an alert about the drawer."""
    since_ms = NOW_MS - round(since_h * MS_PER_HOUR)
    over_ms = None if until_h is None else NOW_MS - round(until_h * MS_PER_HOUR)
    state = AlertState.RAISED if over_ms is None else AlertState.CLEARED
    raised_ms = since_ms if raised else None
    alert = Alert(
        f"a{since_h:g}", "damp", state, since_ms, "The drawer is damp.", "Dry it.",
        box="drawer", raised_ms=raised_ms, cleared_ms=over_ms,
    )  # fmt: skip
    parts.store.change_alerts([AlertChange(alert, None)])


def test_what_happened_is_marked_within_its_span(parts: WebParts) -> None:
    """Openings, desiccant and alerts that were told; not what was struck out, waited or is old."""
    for hours in (1, 30, 200):
        note(parts, hours)
    note(parts, 40, EventType.SWAP)
    note(parts, 41, EventType.WEIGHED)
    parts.store.strike_event(note(parts, 20).id)
    alarm(parts, 50, 45)
    alarm(parts, 300, None)  # goes on
    alarm(parts, 60, 55, raised=False)  # passed while waiting
    alarm(parts, 400, 390)
    found = marks(parts.store, parts.store.box("drawer"), WEEK, NOW_MS)
    hours_ago = [(mark.sign, (NOW_MS - mark.time_ms) / MS_PER_HOUR) for mark in found]
    assert hours_ago == [
        ("alert", 300), ("opened", 120), ("alert", 50), ("weighed", 41), ("swap", 40),
        ("opened", 30), ("opened", 1),
    ]  # fmt: skip
    assert [mark.until_ms for mark in found if mark.sign == "alert"] == [
        NOW_MS,
        NOW_MS - 45 * MS_PER_HOUR,
    ]
    assert happened(found) == (
        "opened 3 times, fresh desiccant once, desiccant weighed once and 2\xa0alerts"
    )


def test_marks_are_drawn_told_and_in_the_table(client: TestClient, parts: WebParts) -> None:
    """Whoever does not see a sign reads it in the summary and in the row of its day."""
    note(parts, 30)
    alarm(parts, 50, 45)
    found = parse(client.get("/boxes/drawer").text)
    history = found.one("section", of="history")
    rail = history.one("svg", of="rail")
    assert [title.text for title in rail.all("title")][-1] == "2025-11-24 04:12: Opened"
    assert len(rail.all("rect", of="mark-span")) == 1
    assert "opened twice and 1 alert" in history.one(of="summary").text
    rows = {row.one("th").text: row.all("td")[-1].text for row in history.one("tbody").all("tr")}
    assert rows["2025-11-24"] == "opened once"
    assert rows["2025-11-23"] == "1 alert"
    assert rows["2025-11-25"] == ""
    answer = client.get("/api/boxes/drawer/history").json()
    assert [mark["sign"] for mark in answer["marks"]] == ["opened", "alert", "opened"]


def test_what_is_to_come_is_drawn_to_its_interval() -> None:
    """Half as far ahead as behind, never beyond what is foretold, and not for a week."""
    assert end_ms(WEEK, COMING) == NOW_MS
    assert end_ms((NOW_MS - 40 * MS_PER_DAY, NOW_MS), COMING) == NOW_MS + 20 * MS_PER_DAY
    assert end_ms((NOW_MS - 4000 * MS_PER_DAY, NOW_MS), COMING) == COMING.time_ms[-1]
    assert end_ms((NOW_MS - 400 * MS_PER_DAY, NOW_MS), None) == NOW_MS
    span = (NOW_MS - 60 * MS_PER_DAY, NOW_MS + 40 * MS_PER_DAY)
    found = drawn(COMING.until(span[1]), span, Scale(0.0, 60.0, ()))
    assert found.due == (70.0, 30.0, 50.0)  # from day 70 of 100 to the end; 30 % is half way up
    assert found.line.startswith("M600.0 63.33L")  # now; 22 of 60 %
    assert found.line.count("L") == 8
    later = replace(COMING, due_ms=(NOW_MS + 90 * MS_PER_DAY, None, None))
    assert drawn(later, span, Scale(0.0, 60.0, ())).due is None
    assert told(COMING, STYLE) == (
        "If nothing is done: 30–56\xa0% by 2026-02-28; fresh desiccant due between 2025-12-05 and "
        "later than a year from now."
    )
    calm = replace(COMING, due_ms=(None, None, None))
    assert told(calm, STYLE).endswith("and no desiccant due within a year.")


def test_the_page_says_what_is_to_come(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawn in the panel of humidity alone, told in a sentence, with its sign explained."""
    monkeypatch.setattr(pages, "future", lambda _: COMING)
    history = parse(client.get("/boxes/tub?range=month").text).one("section", of="history")
    assert len(history.all("path", of="ahead")) == 1
    assert len(history.all("rect", of="due")) == 1
    assert "If nothing is done" in history.text
    assert "to come, nine futures in ten" in history.one("ul", of="key").text
    week = parse(client.get("/boxes/tub").text).one("section", of="history")
    assert not week.all("path", of="ahead")


def test_the_calendar_tells_days_apart_by_more_than_colour(parts: WebParts) -> None:
    """Each day is of one kind, with a pattern and words; a day without readings is missing."""
    box = replace(parts.store.box("drawer"), target_low_pct=34.0, target_high_pct=38.0)
    found = calendar(parts.store, box, NOW_MS, STYLE)
    assert found is not None
    days = [day for month in found.months for day in month.days]
    assert len(days) == 365
    assert days[-1].words.startswith("2025-11-25: ")
    assert sum(day.kind == "none" for day in days) == 365 - 41  # forty days and today
    assert {day.kind for day in days} == {"dry", "in", "above", "far", "none"}
    assert [key.kind for key in found.keys] == ["dry", "in", "above", "far", "none"]
    november = found.months[-1]
    assert (november.name, november.missing) == ("2025-11", "0")
    assert int(november.above) == sum(day.kind in {"above", "far"} for day in november.days)
    assert "324\xa0days without readings" in found.summary
    assert calendar(parts.store, parts.store.box("shoebox"), NOW_MS, STYLE) is None


def test_a_day_of_the_calendar_is_the_mean_of_its_hours(parts: WebParts) -> None:
    """Set beside the readings themselves, day by day of the zone of the settings."""
    style = Style(ZoneInfo("Pacific/Auckland"))
    found = calendar(parts.store, parts.store.box("drawer"), NOW_MS, style)
    assert found is not None
    series = parts.store.series("lane/a1", START_MS, NOW_MS)
    day = [style.local(int(time_ms)).date().isoformat() for time_ms in series.time_ms]
    rh_pct = np.array(series.rh_pct)[np.array(day) == "2025-11-10"]
    (words,) = [
        each.words
        for month in found.months
        for each in month.days
        if each.words.startswith("2025-11-10")
    ]
    assert f": {rh_pct.mean():.0f}\xa0%" in words


@pytest.mark.parametrize(
    ("days", "labels"),
    [
        (1, ["12:00", "18:00", "00:00", "06:00"]),
        (7, ["11-20", "11-22", "11-24"]),
        (365, ["2025-01", "2025-04", "2025-07", "2025-10"]),
        (3650, ["2018", "2020", "2022", "2024"]),
    ],
)
def test_axes_carry_round_dates(days: int, labels: list[str]) -> None:
    """From a day to ten years, every label is a round moment and stands where that lies."""
    span = (NOW_MS - days * MS_PER_DAY, NOW_MS)
    found = time_ticks(*span, 5, STYLE)
    assert [words for _, words in found] == labels
    assert all(5 <= place <= 95 for place, _ in found)
    if days == 365:
        start = datetime(2025, 4, 1, tzinfo=UTC).timestamp() * 1000
        assert found[1][0] == pytest.approx(100 * (start - span[0]) / (span[1] - span[0]), abs=0.01)
