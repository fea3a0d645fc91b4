"""Incremental work on the ledger against computing it all again."""

import random
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import cast

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hilum.domain.model import (
    CurveKey,
    LedgerRows,
    Lot,
    Placement,
    Reading,
    Role,
    Sensor,
    Stay,
    Wrap,
)
from hilum.domain.ports import Store
from hilum.keeping.reckoning import keeper as keeper_module
from hilum.keeping.reckoning import runs as runs_module
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.keeping.reckoning.ledger import JOINED_DRY_PCT
from hilum.stores.memory import MemoryStore
from keeping.worlds import (
    DAY_MS,
    HOUR_MS,
    SENSOR,
    STORES,
    T0,
    add_box,
    add_readings,
    bits,
    history,
)

OTHER = "lane/b2"


@pytest.fixture(params=STORES)
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """Each store in turn."""
    made = STORES[request.param](tmp_path)
    yield made
    made.close()


def add_lots(store: Store) -> None:
    """Two boxes; lots in paper, poly and foil, early and late, and one that moves."""
    add_box(store, "tub", SENSOR)
    add_box(store, "jar", OTHER, gap_limit_s=2 * 3600)
    for code, kind in (("L1", "onion"), ("L2", "lettuce"), ("L3", "sweet-corn"), ("L4", "onion")):
        store.save_lot(Lot(code, kind))
    day = [T0 + i * DAY_MS for i in range(12)]
    store.add_stay(Stay(0, "L1", "tub", Wrap.PAPER, day[0] - DAY_MS))
    store.add_stay(Stay(0, "L1", "jar", Wrap.PAPER, day[2] + 777))
    store.add_stay(Stay(0, "L2", "tub", Wrap.OPEN, day[1] + 99, start_mc_wet_pct=4.0))
    store.add_stay(Stay(0, "L3", "jar", Wrap.POLY, day[0]))
    store.add_stay(Stay(0, "L4", "tub", Wrap.FOIL, day[1]))
    store.add_stay(Stay(0, "L4", "jar", Wrap.OPEN, day[3]))


def all_readings(seed: int) -> list[Reading]:
    """Readings of both sensors, some of them halves of one moment."""
    readings = [Reading(SENSOR, *each) for each in history(seed, 500, 2700.0)]
    readings += [Reading(OTHER, *each) for each in history(seed + 1, 500, 2700.0)]
    halves = [replace(r, rh_pct=None) for r in readings[::7]]
    halves += [replace(r, temp_c=None) for r in readings[::7]]
    rest = [r for i, r in enumerate(readings) if i % 7]
    lonely = [replace(r, time_ms=r.time_ms + 1, temp_c=None) for r in readings[3::11]]
    return [*rest, *halves, *lonely]


def keep_up(store: Store) -> None:
    """What the service does when it starts and after each batch."""
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()


def rebuilt(readings: list[Reading]) -> Store:
    """A fresh store with everything computed at once."""
    store = MemoryStore()
    add_lots(store)
    store.add(sorted(readings, key=lambda r: r.time_ms), T0)
    LedgerKeeper(store).rebuild()
    return store


@settings(max_examples=6)
@given(seed=st.integers(0, 2**32), name=st.sampled_from(sorted(STORES)))
def test_any_order_of_arrival_gives_the_same_bits(seed: int, name: str) -> None:
    """Readings late, twice, in halves and in any batches end in what a rebuild computes."""
    order = random.Random(seed)  # noqa: S311, no secret
    readings = all_readings(order.randrange(5))
    arriving = [*readings, *order.sample(readings, 40)]
    order.shuffle(arriving)
    if order.random() < 0.5:
        arriving.sort(key=lambda r: r.time_ms // (order.randint(1, 48) * HOUR_MS))
    with tempfile.TemporaryDirectory() as folder:
        store = STORES[name](Path(folder))
        add_lots(store)
        keeper = LedgerKeeper(store)
        while arriving:
            size = order.randint(1, 200)
            store.add(arriving[:size], T0)
            del arriving[:size]
            keeper = order.choice([keeper, LedgerKeeper(store)])  # the service may start anew
            keeper.ensure_curves()
            keeper.update()
        assert bits(store) == bits(rebuilt(readings))
        store.close()


def test_readings_that_come_meanwhile_do_not_begin_it_all_again(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One comes at every write; a later round begins where the last came; the end is a rebuild."""
    add_lots(store)
    readings = sorted(all_readings(2), key=lambda r: r.time_ms)
    known, coming = readings[:-8], iter(readings[-8:])
    store.add(known, T0)
    keeper = LedgerKeeper(store)
    write, begins = store.replace_rows, []

    def replace_rows(changes: Sequence[tuple[CurveKey, int, LedgerRows]]) -> None:
        write(changes)
        store.add([each for each in [next(coming, None)] if each is not None], T0)

    monkeypatch.setattr(store, "replace_rows", replace_rows)
    keeper.ensure_curves()
    while marks := store.dirty():
        begins.append(min(mark.from_ms for mark in marks))
        keeper.update()
    assert next(coming, None) is None
    assert len(begins) > 2
    assert begins[0] <= known[0].time_ms
    assert min(begins[2:]) >= known[-1].time_ms - DAY_MS
    monkeypatch.undo()
    assert bits(store) == bits(rebuilt(readings))


def test_the_world_of_these_tests_is_not_idle() -> None:
    """Its curves have rows, some start-up joins, and a lot that moves carries its moisture over."""
    store = rebuilt(all_readings(1))
    rows = {key: store.rows(key) for key in store.curves()}
    assert all(len(each) > 100 for each in rows.values())
    joining = [
        (own, rows[replace(key, start_ms=None, start_mc_dry_pct=None)])
        for key, own in rows.items()
        if key.start_ms is not None
    ]
    ended = [(own, shared) for own, shared in joining if own.hour[-1] < shared.hour[-1]]
    assert ended
    for own, shared in ended:
        difference = np.abs(own.mc_dry_pct - shared.mc_dry_pct[np.isin(shared.hour, own.hour)])
        assert difference[-1] < JOINED_DRY_PCT <= difference[:-1].min()


def test_nothing_to_do_costs_one_question() -> None:
    """An update without marks asks the store for marks and for nothing else."""
    store = rebuilt(all_readings(0))
    asked: list[str] = []

    class Watched:
        def __getattr__(self, name: str) -> object:
            asked.append(name)
            return getattr(store, name)

    assert LedgerKeeper(cast("Store", Watched())).update() == 0
    assert asked == ["dirty"]


@pytest.mark.parametrize(
    ("method", "after"),
    [
        *(("replace_rows", after) for after in range(3)),
        *(("clear_dirty", after) for after in range(2)),
        *(("mark_dirty", after) for after in range(3)),
        *(("add_curves", after) for after in range(2)),
        *(("refresh_tiers", after) for after in range(2)),
    ],
)
def test_a_crash_at_any_write_costs_nothing(method: str, after: int) -> None:
    """Stopped in the middle, the same work is done again and ends in the same rows."""
    readings = all_readings(2)
    store = MemoryStore()
    add_lots(store)
    store.add(readings, T0)
    calls = iter(range(after))
    original = getattr(store, method)

    def failing(*args: object) -> object:
        if next(calls, None) is None:
            raise KeyboardInterrupt
        return original(*args)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store, method, failing)
        with pytest.raises(KeyboardInterrupt):
            keep_up(store)
    keep_up(store)
    assert bits(store) == bits(rebuilt(readings))


def test_chunks_leave_no_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    """Small chunks and many writes give the same bits as one of each."""
    readings = all_readings(3)
    whole = bits(rebuilt(readings))
    monkeypatch.setattr(runs_module, "CHUNK_HOURS", (5, 7))
    monkeypatch.setattr(runs_module, "HELD_ROWS", 20)
    assert bits(rebuilt(readings)) == whole


@pytest.mark.parametrize("together", [1, 2])
def test_company_leaves_no_trace(monkeypatch: pytest.MonkeyPatch, together: int) -> None:
    """Boxes followed together have the bits they have when each is followed alone."""
    readings = all_readings(4)
    parts = [readings[i::7] for i in range(7)]
    found = []
    for most in (together, 100):
        monkeypatch.setattr(keeper_module, "TOGETHER", most)
        monkeypatch.setattr(keeper_module, "LITTLE_MS", 2**60)
        store = MemoryStore()
        add_lots(store)
        keeper = LedgerKeeper(store)
        for part in parts:
            store.add(part, T0)
            keeper.ensure_curves()
            keeper.update()
        found.append(bits(store))
    assert found[0] == found[1] == bits(rebuilt(readings))


def test_stopped_between_long_histories_it_goes_on(store: Store) -> None:
    """What is written stays written: stopped after one box, only the others are computed again."""
    for slug in ("a", "b", "c"):
        add_box(store, slug, f"lane/{slug}")
        store.save_lot(Lot(slug, "onion"))
        store.add_stay(Stay(0, slug, slug, Wrap.OPEN, T0))
        times = [T0 + i * HOUR_MS for i in range(24 * 10)]
        store.add([Reading(f"lane/{slug}", time_ms, 20.0, 40.0) for time_ms in times], T0)

    def stop(done: float) -> None:
        if done > 0.4:
            raise KeyboardInterrupt

    keeper = LedgerKeeper(store)
    with pytest.raises(KeyboardInterrupt):
        keeper.rebuild(stop)
    assert len(store.dirty()) < 3
    heard: list[float] = []
    keeper = LedgerKeeper(store)
    keeper.resume(heard.append)
    whole = bits(store)
    assert heard == sorted(heard)
    assert heard[-1] == 1.0
    keeper.rebuild()
    assert bits(store) == whole


def test_a_live_reading_touches_only_its_hour(store: Store) -> None:
    """New readings change the rows of their own hour; a new curve leaves the others alone."""
    add_box(store)
    store.save_lot(Lot("L1", "onion"))
    store.add_stay(Stay(0, "L1", "tub", Wrap.OPEN, T0))
    add_readings(store, [(T0 + i * 600_000, 20.0, 40.0) for i in range(300)])
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
    changes: list[tuple[Wrap, int]] = []
    original = store.replace_rows

    def noting(rows: Sequence[tuple[CurveKey, int, LedgerRows]]) -> None:
        changes.extend((key.wrap, len(new)) for key, _, new in rows)
        original(rows)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store, "replace_rows", noting)
        add_readings(store, [(T0 + 300 * 600_000, 20.0, 40.0)])
        keeper.update()
        assert set(changes) == {(Wrap.OPEN, 1)}
        changes.clear()
        store.save_lot(Lot("L2", "onion"))
        store.add_stay(Stay(0, "L2", "tub", Wrap.PAPER, T0))
        assert keeper.ensure_curves()
        keeper.update()
    assert {count for wrap, count in changes if wrap is Wrap.OPEN} == {1}
    assert all(count > 40 for wrap, count in changes if wrap is Wrap.PAPER)


def test_curves_nobody_needs_are_forgotten(store: Store) -> None:
    """A lot whose figures change leaves no curve of its old start behind."""
    add_box(store)
    store.save_lot(Lot("L1", "onion", prior_rh_pct=40.0))
    store.add_stay(Stay(0, "L1", "tub", Wrap.PAPER, T0))
    keeper = LedgerKeeper(store)
    assert keeper.ensure_curves()
    before = set(store.curves())
    assert not keeper.ensure_curves()
    store.save_lot(Lot("L1", "onion", prior_rh_pct=60.0))
    assert keeper.ensure_curves()
    assert len(store.curves()) == len(before)
    assert set(store.curves()) != before


def test_a_change_taken_back_brings_the_curve_back() -> None:
    """A start-up curve that had joined, was forgotten and is needed again is computed again."""
    store = MemoryStore()
    add_lots(store)
    store.add(all_readings(1), T0)
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
    before = bits(store)
    lot = store.lot("L3")
    for changed in (replace(lot, prior_rh_pct=20.0), lot):
        store.save_lot(changed)
        keeper.ensure_curves()
        keeper.update()
    assert bits(store) == before


def test_a_lot_without_a_model_needs_no_curve(store: Store) -> None:
    """Storage organs are left out."""
    add_box(store)
    store.save_lot(Lot("L1", "onion-set"))
    store.add_stay(Stay(0, "L1", "tub", Wrap.PAPER, T0))
    assert not LedgerKeeper(store).ensure_curves()
    assert list(store.curves()) == []


def test_a_moved_sensor_takes_its_readings_along(store: Store) -> None:
    """Ending a placement late takes the readings after it out of the box's ledger again."""
    add_lots(store)
    readings = all_readings(4)
    store.add(readings, T0)
    keeper = LedgerKeeper(store)
    keeper.ensure_curves()
    keeper.update()
    (placement,) = store.placements(box="tub")
    moved_ms = T0 + 5 * DAY_MS
    store.end_placement(placement.id, moved_ms)
    store.save_sensor(Sensor("lane/c3", 0))
    store.add_placement(Placement(0, "lane/c3", "tub", Role.INSIDE, moved_ms))
    keeper.update()
    shared = [key for key in store.curves("tub") if key.start_ms is None]
    assert shared
    for key in shared:
        assert store.rows(key).last_ms[-1] < moved_ms
    before = bits(store)
    LedgerKeeper(store).rebuild()
    assert bits(store) == before


def test_a_new_gap_limit_is_worked_off(store: Store) -> None:
    """After a box's gap limit changed its ledger is that of a rebuild with the new limit."""
    add_lots(store)
    store.add(all_readings(0), T0)
    keep_up(store)
    before = bits(store)
    store.save_box(replace(store.box("tub"), gap_limit_s=24 * 3600))
    keep_up(store)
    after = bits(store)
    assert after != before
    LedgerKeeper(store).rebuild()
    assert bits(store) == after


def test_tiers_are_brought_up_to_date(store: Store) -> None:
    """Working off a mark also refreshes the sensor's hour and day summaries."""
    add_box(store)
    add_readings(store, [(T0 + i * 600_000, 20.0, 40.0) for i in range(30)])
    LedgerKeeper(store).update()
    assert int(store.hours(SENSOR, 0, 2**53).count.sum()) == 30


def test_rebuild_tells_how_far_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """Progress never falls within a round and ends at one."""
    monkeypatch.setattr(runs_module, "CHUNK_HOURS", (24, 24))
    store = MemoryStore()
    add_box(store)
    store.save_lot(Lot("L1", "onion"))
    store.add_stay(Stay(0, "L1", "tub", Wrap.PAPER, T0))
    add_readings(store, history(1, 1000, 600.0))
    told: list[float] = []
    LedgerKeeper(store).rebuild(told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) > 5
