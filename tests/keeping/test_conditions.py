"""Readings of a box's inside sensors, completed and joined."""

import math
from itertools import pairwise

import numpy as np

from hilum.domain.model import Placement, Reading, Role, Sensor, Series
from hilum.keeping.reckoning.conditions import box_conditions, conditions
from hilum.stores.memory import MemoryStore
from keeping.worlds import T0, add_box

NAN = math.nan
MINUTE = 60_000


def test_half_readings_are_completed_by_the_newest_other_value() -> None:
    """A value no older than fifteen minutes completes; what stays incomplete is left out."""
    minutes = np.array([0, 1, 2, 3, 17, 18, 19], np.int64)
    temp_c = np.array([NAN, 20.0, NAN, 21.0, NAN, 22.0, NAN])
    rh_pct = np.array([40.0, NAN, 41.0, NAN, 42.0, NAN, 43.0])
    paired = conditions(Series(minutes * MINUTE, temp_c, rh_pct))
    assert (paired.time_ms // MINUTE).tolist() == [1, 2, 3, 17, 18, 19]
    assert paired.temp_c.tolist() == [20.0, 20.0, 21.0, 21.0, 22.0, 22.0]
    assert paired.rh_pct.tolist() == [40.0, 41.0, 41.0, 42.0, 42.0, 43.0]


def test_old_values_complete_nothing() -> None:
    """At fifteen minutes a value still completes, a millisecond later it does not."""
    for age_ms, kept in ((15 * MINUTE, 1), (15 * MINUTE + 1, 0)):
        series = Series(np.array([0, age_ms]), np.array([20.0, NAN]), np.array([NAN, 40.0]))
        assert len(conditions(series)) == kept


def test_any_division_of_the_time_gives_the_same_conditions() -> None:
    """Reading a box in parts completes as reading it at once does."""
    store = MemoryStore()
    add_box(store)
    rng = np.random.default_rng(4)
    times = T0 + np.cumsum(rng.integers(1, 10 * MINUTE, 200))
    for i, time_ms in enumerate(times.tolist()):
        value = float(rng.normal())
        half = {"temp_c": value} if i % 3 else {"rh_pct": value}
        store.add([Reading("lane/a1", time_ms, **half)], T0)
    placements = store.placements(box="tub")
    whole = box_conditions(store, placements, 0, 2**53)
    assert 100 < len(whole) < 200
    edges = [0, *times[::17].tolist(), 2**53]
    parts = [box_conditions(store, placements, start, end) for start, end in pairwise(edges)]
    for name in ("time_ms", "temp_c", "rh_pct"):
        joined = np.concatenate([getattr(part, name) for part in parts])
        assert joined.tobytes() == getattr(whole, name).tobytes()


def test_only_inside_sensors_count_and_only_while_they_stand_there() -> None:
    """A box's conditions come from one sensor after the other, each over its own time."""
    store = MemoryStore()
    add_box(store)
    (first,) = store.placements(box="tub")
    store.end_placement(first.id, T0 + 10)
    for name, role in (("lane/b2", Role.INSIDE), ("lane/room", Role.OUTSIDE)):
        store.save_sensor(Sensor(name, 0))
        store.add_placement(Placement(0, name, "tub", role, T0 + 10))
    for i, name in enumerate(("lane/a1", "lane/b2", "lane/room")):
        store.add([Reading(name, T0 + t, 20.0 + i, 50.0) for t in (0, 5, 10, 15)], T0)
    found = box_conditions(store, store.placements(box="tub"), 0, 2**53)
    assert (found.time_ms - T0).tolist() == [0, 5, 10, 15]
    assert found.temp_c.tolist() == [20.0, 20.0, 21.0, 21.0]
