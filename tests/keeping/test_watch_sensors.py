"""What the watch sees of sensors: each rule from the store up, with its edges."""

from dataclasses import replace

import numpy as np
import pytest

from hilum.domain.corrections import Correction
from hilum.domain.model import (
    Reading,
    Reject,
    RejectReason,
    Role,
    Series,
)
from hilum.keeping.watching.alerts import AlertEngine
from hilum.keeping.watching.sensorsigns import stuck_hours
from hilum.keeping.watching.watch import Watch
from keeping.watching import DAY, HOUR, MINUTE, Small


@pytest.fixture
def tub() -> Small:
    """A tub with a sensor."""
    small = Small()
    small.place()
    return small


def test_a_silent_sensor_by_its_own_pace(tub: Small) -> None:
    """A sensor that speaks every ten minutes is silent after twenty, and then speaks again."""
    tub.run(300)
    for minute in range(1, 22):
        tub.clock.time_ms += MINUTE
        tub.engine.round()
        assert bool(tub.told()) == (minute > 20)
    alert = tub.open("silent")
    assert alert is not None
    assert alert.sentence == (
        "The sensor home/tub (Blue tub) has said nothing for 21 minutes; "
        "usually it speaks every 10 minutes."
    )
    tub.run(10)
    assert tub.told() == [("silent", "raised"), ("silent", "cleared")]


def test_a_fast_sensor_has_fifteen_minutes(tub: Small) -> None:
    """Twice a minute would be hasty: 15 minutes at least."""
    tub.run(60, every=1)
    tub.clock.time_ms += 15 * MINUTE
    tub.engine.round()
    assert tub.told() == []
    tub.clock.time_ms += MINUTE
    tub.engine.round()
    assert tub.told() == [("silent", "raised")]


def test_a_sensor_that_sends_in_batches_is_not_silent_in_between(tub: Small) -> None:
    """A batch of minutes every six hours is no silence in between, also after a new start."""
    for _ in range(12):
        tub.clock.time_ms += 6 * HOUR
        end_ms = tub.clock.time_ms
        tub.store.add(
            [Reading("home/tub", end_ms - i * MINUTE, 18.0 + i % 9, 25.0) for i in range(360)],
            end_ms,
        )
        tub.engine.round()
    assert tub.store.paces() == {"home/tub": 6 * 3600}
    before = len(tub.told())
    again = Small(pause_ms=10 * DAY)
    again.store, again.clock = tub.store, tub.clock
    again.watch = Watch(tub.store, pause_ms=10 * DAY)
    again.engine = AlertEngine(tub.store, tub.clock, again.watch)
    for hours, silent in ((0, False), (11.9, False), (0.2, True)):
        tub.clock.time_ms += round(hours * HOUR)
        again.engine.round()
        assert (tub.open("silent") is not None) == silent
    assert len(tub.told()) == before


def test_after_a_start_sensors_have_time_to_speak(tub: Small) -> None:
    """What fell silent while Hilum was away is told its own limit after the start, not before."""
    tub.run(300)
    tub.clock.time_ms += 5 * DAY
    for minute in range(25):
        tub.engine.round()
        assert bool(tub.told()) == (minute > 20)
        tub.clock.time_ms += MINUTE


def test_when_most_sensors_fall_silent_it_is_told_once() -> None:
    """A lost network is one alert, not one for each sensor."""
    small = Small()
    small.place()
    for number in range(4):
        small.place(f"home/s{number}", Role.SECOND)
    names = ["home/tub", *(f"home/s{number}" for number in range(4))]
    for _ in range(40):
        small.clock.time_ms += 10 * MINUTE
        for name in names:
            small.report(sensor=name)
        small.engine.round()
    for _ in range(30):
        small.clock.time_ms += MINUTE
        small.engine.round()
    assert small.told() == [("network", "raised")]
    alert = small.open("network")
    assert alert is not None
    assert alert.sentence == "Of 5 sensors, 5 say nothing any more."
    for name in names[1:]:
        small.report(sensor=name)
    small.engine.round()
    assert small.told() == [("network", "raised"), ("silent", "raised"), ("network", "cleared")]


def test_a_stuck_sensor(tub: Small) -> None:
    """A value that has not changed at all for more than 24 hours is told."""
    for hour in range(27):
        tub.clock.time_ms += HOUR
        tub.report(18.25, 25.5)
        tub.engine.round()
        assert bool(tub.told()) == (hour > 24), hour
    tub.run(120, every=60)
    assert [each for each in tub.told() if each[0] == "stuck"] == [
        ("stuck", "raised"),
        ("stuck", "cleared"),
    ]


NAN = float("nan")


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "hours"),
    [
        ([5.0] * 30, [40.0] * 30, 29.0),
        ([5.0, 5.1] * 15, [40.0] * 30, 0.0),
        ([5.0, 5.1] * 15, [100.0] * 30, 29.0),  # at the end of its scale
        ([NAN] * 30, [40.0] * 30, None),  # humidity alone may stand still in a jar
        ([5.0] * 30, [NAN] * 30, 29.0),
        ([4.0] + [5.0] * 29, [40.0] * 30, 28.0),
        ([4.0] * 10 + [5.0] * 20, [40.0] * 30, 0.0),  # too few readings to tell
    ],
)
def test_what_counts_as_stuck(
    temp_c: list[float], rh_pct: list[float], hours: float | None
) -> None:
    """Both quantities must stand still, or humidity at the end of its scale."""
    times = np.arange(30, dtype=np.int64) * HOUR
    assert stuck_hours(Series(times, np.array(temp_c), np.array(rh_pct))) == hours


def test_a_jumping_sensor(tub: Small) -> None:
    """More than ten jumps within a minute, without a change of temperature, are told."""
    for jumps, told in ((10, 0), (1, 1)):
        for _ in range(jumps):
            tub.run(3, every=1, rh_pct=25.0)
            tub.run(2, every=1, rh_pct=25.0)
            tub.clock.time_ms += MINUTE
            tub.report(18.0, 36.0)
            tub.run(4, every=5, rh_pct=25.0)
        tub.run(60, rh_pct=25.0)
        assert len([1 for rule, _ in tub.told() if rule == "jumps"]) == told


def test_two_sensors_that_disagree() -> None:
    """A middle difference of more than 5 % humidity is told, naming both."""
    for apart, told in ((5.0, 0), (5.2, 1)):
        small = Small()
        small.place()
        small.place("home/second", Role.SECOND)
        for hour in range(60):
            small.clock.time_ms += HOUR
            small.report(18.0 + hour % 2, 25.0)
            small.report(18.0 + hour % 2, 25.0 - apart, sensor="home/second")
        small.refresh()
        small.engine.round()
        assert small.told() == [("drift", "raised")] * told
    alert = small.open("drift")
    assert alert is not None
    assert "home/second" in alert.sentence
    assert "home/tub" in alert.sentence


def test_sensors_are_compared_as_corrected() -> None:
    """Two sensors 6 % apart agree once one of them is corrected by as much."""
    for offset, told in ((0.0, 1), (6.0, 0)):
        small = Small()
        small.place()
        small.place("home/second", Role.SECOND)
        small.store.add_correction(Correction(0, "home/second", 0, rh_offset_pct=offset))
        for hour in range(60):
            small.clock.time_ms += HOUR
            small.report(18.0 + hour % 2, 25.0)
            small.report(18.0 + hour % 2, 19.0, sensor="home/second")
        small.refresh()
        small.engine.round()
        assert small.told() == [("drift", "raised")] * told


@pytest.mark.parametrize(
    ("reason", "rule", "most"), [(RejectReason.FAULT, "faulty", 2), (RejectReason.TIME, "clock", 0)]
)
def test_refused_messages(tub: Small, reason: RejectReason, rule: str, most: int) -> None:
    """Too many fault values, or any impossible time, within a day are told; a day later it ends."""
    tub.run(60, every=60)
    bad = Reject(tub.clock.time_ms, "t", reason, "", sensor="home/tub")
    tub.store.add_rejects([replace(bad, sensor="home/other")] * 9 + [bad] * most)
    tub.run(120, every=60)
    assert tub.told() == []
    tub.store.add_rejects([bad])
    tub.run(120, every=60)
    assert tub.told() == [(rule, "raised")]
    tub.run(24 * 60, every=60)
    assert tub.told() == [(rule, "raised"), (rule, "cleared")]


@pytest.mark.parametrize(("rule", "good", "low"), [("battery", 15.0, 14.9), ("voltage", 2.4, 2.39)])
def test_a_low_battery(tub: Small, rule: str, good: float, low: float) -> None:
    """Below 15 %, or below the voltage that is low for such a cell, for six hours."""

    def go_on(hours: int, value: float) -> None:
        for hour in range(hours):
            tub.clock.time_ms += HOUR
            percent = rule == "battery"
            tub.report(
                18.0 + hour % 2,
                battery_pct=value if percent else None,
                battery_v=None if percent else value,
            )
            tub.engine.round()

    go_on(24, 90.0 if rule == "battery" else 3.0)
    go_on(30, good)
    assert tub.told() == []
    go_on(7, low)
    assert tub.told() == []
    go_on(8, low)
    assert tub.told() == [(rule, "raised")]


def test_a_mains_supply_has_no_low_voltage(tub: Small) -> None:
    """Five volts are no cell of ours: nothing is said about them."""
    for hour, volts in enumerate([5.0] * 20 + [2.0] * 40):
        tub.clock.time_ms += HOUR
        tub.report(18.0 + hour % 2, battery_v=volts)
        tub.engine.round()
        if hour == 30:
            break
    assert ("voltage", "raised") not in tub.told()
