"""What the watch sees in readings: each rule from the store up, with its edges."""

from dataclasses import replace
from datetime import UTC

import pytest

from hilum.domain.alerts import AlertState, RuleSetting
from hilum.domain.model import (
    Box,
    BoxType,
    Lot,
    Reading,
    Role,
    Sensor,
    Stay,
    Wrap,
)
from hilum.domain.ports import Store
from hilum.keeping.watching.alerts import AlertEngine
from hilum.keeping.watching.frost import shut_advice
from hilum.keeping.watching.watch import Watch
from hilum.stores.memory import MemoryStore
from keeping.watching import HOUR, MINUTE, T0, ManualClock, Small


@pytest.fixture
def tub() -> Small:
    """A tub with a sensor."""
    small = Small()
    small.place()
    return small


def test_a_damp_tub(tub: Small) -> None:
    """Above the target for three hours is told; at the target it is not."""
    tub.run(600, rh_pct=35.0)
    assert tub.told() == []
    tub.run(180, rh_pct=35.1)
    assert tub.state("damp") is AlertState.WAITING
    tub.run(10, rh_pct=35.1)
    assert tub.told() == [("damp", "raised")]
    alert = tub.open("damp")
    assert alert is not None
    assert alert.sentence == "Blue tub is damp: 35 % seed humidity, above its 35 %."
    tub.run(170, rh_pct=32.0)
    assert tub.state("damp") is AlertState.RAISED
    tub.run(20, rh_pct=32.0)
    assert tub.told() == [("damp", "raised"), ("damp", "cleared")]


def test_readings_that_come_late_count_by_their_own_time(tub: Small) -> None:
    """A sensor that sends its readings in batches is judged by when they were taken."""
    tub.run(60)
    for step in range(1, 25):
        late = Reading("home/tub", T0 + 60 * MINUTE + step * 10 * MINUTE, 18.0, 45.0)
        tub.store.add([late], T0 + 300 * MINUTE)
    tub.clock.time_ms = T0 + 301 * MINUTE
    tub.engine.round()
    assert ("damp", "raised") in tub.told()


def test_a_silence_does_not_count_as_damp(tub: Small) -> None:
    """Two damp readings with a silence longer than the gap limit between them prove nothing."""
    tub.run(60, rh_pct=40.0)
    tub.clock.time_ms += 7 * HOUR
    tub.run(60, rh_pct=40.0)
    assert ("damp", "raised") not in tub.told()


@pytest.mark.parametrize(
    ("kinds", "limit"),
    [(("maize",), 70.0), (("maize", "onion"), 65.0), ((), 65.0), (("no-such-kind",), 65.0)],
)
def test_mould_risk_by_what_lies_in_the_box(kinds: tuple[str, ...], limit: float) -> None:
    """65 %, or 70 % where only starchy seed lies (Meronuk's table); a day past it is told."""
    small = Small(BoxType.DRAWER)
    small.place()
    for number, key in enumerate(kinds):
        small.store.save_lot(Lot(f"A{number}", {"maize": "sweet-corn"}.get(key, key)))
        small.store.add_stay(Stay(0, f"A{number}", "tub", Wrap.PAPER, T0))
    small.run(30 * 60, rh_pct=limit, every=60)
    assert small.told() == []
    small.run(24 * 60, rh_pct=limit + 0.1, every=60)
    assert small.told() == []
    small.run(60, rh_pct=limit + 0.1, every=60)
    assert small.told() == [("mould", "raised")]


@pytest.mark.parametrize(
    ("box_type", "limit", "hours"),
    [(BoxType.TUB, 25.0, 24), (BoxType.FRIDGE, 10.0, 36), (BoxType.FREEZER, -10.0, 36)],
)
def test_too_warm(box_type: BoxType, limit: float, hours: int) -> None:
    """25 °C in a room for a day; in the cold 10 and -10 °C for longer than warming up takes."""
    small = Small(box_type)
    small.place()
    small.run(60, temp_c=limit - 0.1)
    small.run(hours * 60, temp_c=limit + 0.1, every=60)
    assert ("warm", "raised") not in small.told()
    small.run(60, temp_c=limit + 0.1, every=60)
    assert ("warm", "raised") in small.told()


def test_a_lid_left_open_below_the_target() -> None:
    """A rise of more than 10 % over the box's own middle is told after three hours."""
    small = Small()
    small.place()
    small.run(72 * 60, rh_pct=15.0, every=60)
    small.refresh()
    small.run(240, rh_pct=25.0)
    assert small.told() == []
    small.run(190, rh_pct=25.1)
    assert small.told() == [("open", "raised")]
    small.run(40 * 60, rh_pct=25.1, every=60)
    small.refresh()
    small.run(40 * 60, rh_pct=25.1, every=60)  # its own middle has followed by now
    assert small.state("open") is AlertState.RAISED
    small.run(190, rh_pct=20.0)
    assert small.told() == [("open", "raised"), ("open", "cleared")]


def add_lot(small: Small, code: str, kind: str, mc_wet_pct: float | None) -> None:
    """Put a lot into the box in a sealed wrap with a moisture of its own."""
    small.store.save_lot(Lot(code, kind))
    small.store.add_stay(Stay(0, code, "tub", Wrap.FOIL, T0, None, mc_wet_pct))


@pytest.mark.parametrize(
    ("kind", "mc_wet_pct", "danger"),
    [
        ("pea", 8.9, False),  # starchy: at most 9 % (moisture limits of science.freezing)
        ("pea", 9.1, True),
        ("lettuce", 6.4, False),  # oily: at most 6.5 %
        ("lettuce", 6.6, True),
        ("dahlia-tuber", None, True),
    ],
)
def test_freezing_danger(kind: str, mc_wet_pct: float | None, danger: bool) -> None:
    """Below 0 °C for an hour with seed that must not freeze is told at once, also at night."""
    small = Small(BoxType.FREEZER)
    small.place()
    add_lot(small, "A1", kind, mc_wet_pct)
    small.run(120, temp_c=0.0)
    assert small.told() == []
    small.run(80, temp_c=-0.1)
    raised = [step for rule, step in small.told() if rule == "freezing"]
    assert raised == (["raised"] if danger else [])
    assert all(notice.urgent for notice in small.store.notices(alert="freezing"))


def test_a_freezer_without_a_sensor_is_taken_to_freeze() -> None:
    """Moist seed in a freezer nobody measures is told, and over once the seed is taken out."""
    small = Small(BoxType.FREEZER)
    add_lot(small, "A1", "pea", 12.0)
    add_lot(small, "A2", "pea", 8.0)
    small.clock.time_ms += 2 * HOUR
    small.engine.round()
    alert = small.open("freezing")
    assert alert is not None
    assert alert.lot == "A1"
    assert "A1" in alert.sentence
    assert "A2" not in alert.sentence
    small.store.end_stay(1, small.clock.time_ms)
    small.clock.time_ms += HOUR
    small.engine.round()
    assert small.told() == [("freezing", "raised"), ("freezing", "cleared")]


def test_a_rule_switched_off_and_on_again_tells_again() -> None:
    """What was ended by switching the rule off is raised anew, although nothing has changed."""
    small = Small(BoxType.FREEZER)
    add_lot(small, "A1", "pea", 12.0)
    for on in (True, False, True):
        small.store.save_rule_setting(RuleSetting("freezing", "tub", on=on))
        small.clock.time_ms += 2 * HOUR
        small.engine.round()
    assert [step for _, step in small.told()] == ["raised", "cleared", "raised"]


def test_a_jar_from_the_fridge_is_to_be_kept_shut() -> None:
    """A cold jar that warms up is told at once; in the fridge, and once warm, it may be opened.

    The room is not measured: 20 °C and 60 %, whose dew point is 12.0 °C (moist-air tables), so the
    jar may be opened from 14 °C on.
    """
    small = Small(BoxType.FRIDGE)
    small.place()
    small.run(47 * 60, temp_c=4.0, every=60)
    small.refresh()
    small.run(60, temp_c=4.0)
    small.run(30, temp_c=4.0)
    assert small.told() == []
    small.run(10, temp_c=8.9)
    assert small.told() == []
    small.run(10, temp_c=9.1)
    assert small.told() == [("condensation", "raised")]
    alert = small.open("condensation")
    assert alert is not None
    assert alert.until_ms is not None
    assert small.clock.time_ms < alert.until_ms <= small.clock.time_ms + 10 * HOUR
    for temp_c in (10.5, 11.5, 12.5, 13.4, 13.9):
        small.run(10, temp_c=temp_c)
        assert small.state("condensation") is AlertState.RAISED
    small.run(10, temp_c=14.1)
    assert small.told()[-1] == ("condensation", "cleared")


def test_a_jar_as_warm_as_a_cool_room_may_be_opened() -> None:
    """Once it no longer warms up it is as warm as its room, whatever the room was taken to be."""
    small = Small(BoxType.FRIDGE)
    small.place()
    small.run(47 * 60, temp_c=4.0, every=60)
    small.refresh()
    small.run(60, temp_c=4.0)
    for temp_c in (9.5, 11.0, 12.0):
        small.run(10, temp_c=temp_c)
    assert small.state("condensation") is AlertState.RAISED
    small.run(120, temp_c=12.2)
    assert small.told() == [("condensation", "raised"), ("condensation", "cleared")]


def test_shut_until_by_the_sensor_of_the_room(tub: Small) -> None:
    """With a sensor outside, its dew point counts: 25 °C and 50 % has 13.9 °C (ASHRAE)."""
    tub.place("home/room", Role.OUTSIDE)
    tub.report(10.0, 30.0)
    tub.report(25.0, 50.0, sensor="home/room")
    advice = shut_advice(tub.store, tub.box, T0)
    assert advice is not None
    assert advice.dew_point_c == pytest.approx(13.86, abs=0.02)
    assert advice.by == "home/room"
    assert advice.until_ms is not None
    tub.clock.time_ms += MINUTE
    tub.report(15.9, 30.0)
    warm = shut_advice(tub.store, tub.box, tub.clock.time_ms)
    assert warm is not None
    assert warm.until_ms is None


def test_desiccant_due(tub: Small) -> None:
    """Fewer than 14 days for a day is told, more than 28 days ends it, unknown changes nothing."""
    days: list[float | None] = [14.0]

    def due(store: Store, box: Box, now_ms: int) -> float | None:
        del store, now_ms
        assert box.slug == "tub"
        return days[0]

    tub.watch = Watch(tub.store, desiccant=due)
    tub.engine = AlertEngine(tub.store, tub.clock, tub.watch, tub.engine._plans)
    for value, told in ((14.0, 0), (13.9, 1), (20.0, 1), (28.0, 2)):
        days[0] = value
        tub.run(36 * 60, every=60)
        assert len([1 for rule, _ in tub.told() if rule == "desiccant"]) == told


# Everything together


def test_boxes_put_away_are_not_watched(tub: Small) -> None:
    """An archived box raises nothing, and what was raised about it ends."""
    tub.run(300, rh_pct=50.0)
    assert tub.told() == [("damp", "raised")]
    tub.store.save_box(replace(tub.box, archived=True))
    tub.run(300, rh_pct=90.0)
    assert tub.told() == [("damp", "raised"), ("damp", "cleared")]


def test_a_rule_can_be_switched_off(tub: Small) -> None:
    """A rule that is off for a box says nothing there."""
    tub.store.save_rule_setting(RuleSetting("damp", "tub", on=False))
    tub.run(300, rh_pct=50.0)
    assert tub.told() == []


def test_a_box_that_cannot_be_looked_at_does_not_stop_the_others() -> None:
    """An error in one box is reported, and the others are watched."""
    store = MemoryStore()
    clock = ManualClock()
    for slug in ("a", "b"):
        store.save_box(Box(slug, slug.upper(), BoxType.FREEZER))
        store.save_lot(Lot(slug, "pea"))
        store.add_stay(Stay(0, slug, slug, Wrap.FOIL, T0, None, 12.0))

    def due(_store: Store, box: Box, _now_ms: int) -> float | None:
        if box.slug == "a":
            raise ZeroDivisionError("no sachet")
        return None

    engine = AlertEngine(store, clock, Watch(store, UTC, due))
    clock.time_ms += 2 * HOUR
    assert engine.round().problems == {"a": "no sachet"}
    assert [alert.box for alert in store.alerts()] == ["b"]


def test_the_same_history_gives_the_same_alerts() -> None:
    """Two runs over the same readings give the same alerts, to the id."""

    def run() -> object:
        small = Small()
        small.place()
        small.run(300)
        small.run(400, rh_pct=50.0)
        small.run(300)
        return small.store.alerts(), small.store.notices(), small.store.events()

    assert run() == run()
    assert run() != ([], [], [])


def test_an_engine_that_starts_anew_each_round_does_the_same() -> None:
    """Nothing that matters is only in memory: a new engine every round gives the same alerts."""
    results = []
    for anew in (False, True):
        small = Small()
        small.place()
        for minutes, rh_pct in ((300, 25.0), (400, 50.0), (60, 33.0), (300, 25.0)):
            for _ in range(minutes // 10):
                small.run(10, rh_pct=rh_pct)
                if anew:
                    small.watch = Watch(small.store, pause_ms=2 * HOUR)
                    small.engine = AlertEngine(
                        small.store, small.clock, small.watch, small.engine._plans
                    )
        results.append((small.store.alerts(), small.store.notices()))
    assert results[0] == results[1]
    assert len(results[0][1]) == 2


def test_a_sensor_may_have_any_name() -> None:
    """Braces in a name are no template, and the sentence carries the name as it is."""
    small = Small()
    small.store.save_box(replace(small.box, name="{0.__class__} <b>"))
    small.store.save_sensor(Sensor("home/tub", 0))
    small.place()
    small.run(300, rh_pct=50.0)
    alert = small.open("damp")
    assert alert is not None
    assert alert.sentence.startswith("{0.__class__} <b> is damp")
