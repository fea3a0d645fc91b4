"""The memory store and the SQLite store give the same answers to the same calls."""

from collections.abc import Callable
from contextlib import closing
from dataclasses import fields, is_dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from hilum.domain.corrections import Correction
from hilum.domain.errors import HilumError
from hilum.domain.model import (
    MS_PER_HOUR,
    Box,
    BoxType,
    CurveKey,
    Event,
    EventType,
    GerminationTest,
    LedgerRows,
    Lot,
    Placement,
    PlanLine,
    Reading,
    Reject,
    RejectReason,
    Role,
    SeasonPlan,
    Stay,
    Wrap,
)
from hilum.domain.ports import Store
from hilum.stores.memory import MemoryStore
from hilum.stores.sqlite import SqliteStore

STEP = 20 * 60_000
sensors = st.sampled_from(["home/a", "home/b"])
boxes = st.sampled_from(["x", "y"])
lots = st.sampled_from(["L1", "L2"])
times = st.integers(0, 12).map(lambda step: step * STEP)
ends = st.none() | times
temps = st.none() | st.sampled_from([20.0, 20.1])
readings = st.builds(
    Reading, sensors, times, temps, st.none() | st.just(40.0), st.none(), st.none() | st.just(3.0)
).filter(lambda reading: (reading.temp_c, reading.rh_pct) != (None, None))
keys = st.builds(
    CurveKey, boxes, st.just("model"), st.sampled_from([Wrap.PAPER, Wrap.FOIL]), ends, temps
)

plans = st.builds(
    SeasonPlan,
    st.integers(0, 3),
    st.sampled_from(["Spring", "Ä", "", "Autumn"]),
    st.sampled_from([date(2027, 3, 1), date(2026, 9, 1)]),
    st.sampled_from(["recent", "given", "shelf"]),
    temps,
    temps,
)
plan_lines = st.builds(
    PlanLine,
    st.sampled_from(["lettuce", "onion", "no-such", ""]),
    st.sampled_from([50, 1, 400, 0]),
    st.sampled_from(["", "Ännchen"]),
    st.none() | st.sampled_from([100, 1, 0]),
    st.none() | st.just(5),
    st.sampled_from([10.0, 0.0, 12.5, 95.0]),
    st.sampled_from([1.0, 0.8, 0.5, 1.5]),
)


@st.composite
def ledger_rows(draw: st.DrawFn) -> LedgerRows:
    """Draw rows of some hours, mostly in order."""
    hours = draw(st.lists(st.integers(0, 5), max_size=5).map(sorted))
    hour = np.array(hours, dtype=np.int64)
    numbers = [hour / draw(st.integers(1, 7)) for _ in range(9)]
    return LedgerRows(hour, hour * MS_PER_HOUR + draw(st.integers(0, 99)), *numbers)


def plain(answer: object) -> object:
    """Make answers comparable: arrays as lists, means rounded (each store adds up its own way)."""
    if isinstance(answer, list | tuple):
        return [plain(item) for item in answer]
    if isinstance(answer, np.ndarray):
        return answer.tolist()
    if is_dataclass(answer):
        values = [(field.name, getattr(answer, field.name)) for field in fields(answer)]
        return type(answer), [
            [name, repr(np.round(value, 9).tolist() if "mean" in name else value.tolist())]
            if isinstance(value, np.ndarray)
            else value
            for name, value in values
        ]
    return answer


class SameAnswers(RuleBasedStateMachine):
    """Calls both stores alike, and compares what they say or how they refuse."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = TemporaryDirectory()
        self.sqlite = SqliteStore(Path(self.folder.name, "hilum.db"))
        self.memory = MemoryStore()
        self.changed: dict[str, int] = {}  # since its summaries were last refreshed

    def both(self, call: Callable[[Store], object]) -> None:
        """Make one call on each store."""
        answers: list[object] = []
        for store in (self.sqlite, self.memory):
            try:
                answers.append(plain(call(store)))
            except HilumError as error:
                answers.append((type(error), str(error)))
        assert answers[0] == answers[1]

    @initialize(furnish=st.booleans())
    def furnish(self, furnish: bool) -> None:
        """Start empty, or with everything others refer to."""
        if furnish:
            for slug in ("x", "y"):
                self.save_box(slug, slug)
            self.save_lots(["L1", "L2"])
            self.add([Reading(name, 0, 20.0) for name in ("home/a", "home/b")], 0)

    @rule(batch=st.lists(readings, max_size=6), received_ms=times)
    def add(self, batch: list[Reading], received_ms: int) -> None:
        """Hand in readings."""
        self.both(lambda store: store.add(batch, received_ms))
        for reading in batch:
            earliest = self.changed.get(reading.sensor, reading.time_ms)
            self.changed[reading.sensor] = min(earliest, reading.time_ms)

    @rule(sensor=sensors, from_ms=times)
    def refresh(self, sensor: str, from_ms: int) -> None:
        """Bring summaries up to date, from the earliest change or from before it."""
        from_ms = min(from_ms, self.changed.pop(sensor, from_ms))
        self.both(lambda store: store.refresh_tiers({sensor: from_ms}))

    @rule(sensor=sensors, start_ms=times, end_ms=times)
    def ask(self, sensor: str, start_ms: int, end_ms: int) -> None:
        """Ask for readings."""
        self.both(lambda store: store.series(sensor, start_ms, end_ms))
        self.both(lambda store: store.before(sensor, end_ms))
        self.both(lambda store: [*store.pages(sensor, start_ms, end_ms, 2)])
        self.both(lambda store: store.hours(sensor, start_ms, end_ms))

    @rule(sensor=sensors, from_ms=times, gain=st.sampled_from([0.0, 1.0, 1.1]), number=times)
    def correct(self, sensor: str, from_ms: int, gain: float, number: int) -> None:
        """Correct a sensor, and take a correction back."""
        self.both(lambda store: store.add_correction(Correction(0, sensor, from_ms, 0.1, gain)))
        self.both(lambda store: store.remove_correction(number // STEP))
        self.both(lambda store: store.corrections(sensor))

    @rule(sensor=sensors, online=st.booleans(), received_ms=times)
    def presence(self, sensor: str, online: bool, received_ms: int) -> None:
        """Hear a last will."""
        self.both(lambda store: store.set_presence(sensor, online, received_ms))

    @rule(slug=boxes, name=st.sampled_from(["", "A", "B"]))
    def save_box(self, slug: str, name: str) -> None:
        """Save a box."""
        self.both(lambda store: store.save_box(Box(slug, name, BoxType.JAR)))

    @rule(codes=st.lists(lots | st.just(""), max_size=2))
    def save_lots(self, codes: list[str]) -> None:
        """Save lots."""
        self.both(lambda store: store.save_lots([Lot(code, "sweet-corn") for code in codes]))

    @rule(sensor=sensors, box=boxes, role=st.sampled_from(Role), from_ms=times, to_ms=ends)
    def place(self, sensor: str, box: str, role: Role, from_ms: int, to_ms: int | None) -> None:
        """Place a sensor."""
        self.both(lambda s: s.add_placement(Placement(0, sensor, box, role, from_ms, to_ms)))

    @rule(number=st.integers(1, 4), to_ms=times)
    def end(self, number: int, to_ms: int) -> None:
        """End a placement and a stay."""
        self.both(lambda store: store.end_placement(number, to_ms))
        self.both(lambda store: store.end_stay(number, to_ms))

    @rule(lot=lots, box=boxes, from_ms=times, to_ms=ends)
    def stay(self, lot: str, box: str, from_ms: int, to_ms: int | None) -> None:
        """Put a lot into a box."""
        self.both(lambda store: store.add_stay(Stay(0, lot, box, Wrap.PAPER, from_ms, to_ms)))

    @rule(lot=lots, day=st.integers(1, 28), germinated=st.integers(0, 6))
    def test(self, lot: str, day: int, germinated: int) -> None:
        """Enter a germination test."""
        found = GerminationTest(0, lot, date(2026, 1, day), 5, germinated, replicates=(germinated,))
        self.both(lambda store: store.add_test(found))

    @rule(time_ms=times, box=st.none() | boxes, lot=st.none() | lots, strike=st.integers(1, 3))
    def event(self, time_ms: int, box: str | None, lot: str | None, strike: int) -> None:
        """Write into the journal, and strike a line."""
        event = Event(0, time_ms, EventType.NOTE, box, lot, data=(("a", 1.5), ("b", None)))
        self.both(lambda store: store.add_event(event))
        self.both(lambda store: store.strike_event(strike))
        self.both(lambda store: store.events(box=box, lot=lot, start_ms=time_ms, limit=3))

    @rule(sensor=st.none() | sensors, reason=st.sampled_from(RejectReason))
    def reject(self, sensor: str | None, reason: RejectReason) -> None:
        """Refuse a message."""
        refused = [Reject(5, "t", reason, "why", b"x", sensor)]
        self.both(lambda store: store.add_rejects(refused))
        self.both(lambda store: store.rejects(sensor=sensor))

    @rule(sensor=sensors, from_ms=times, clear=st.booleans())
    def marks(self, sensor: str, from_ms: int, clear: bool) -> None:
        """Mark a sensor dirty, or clear its mark."""
        if clear:
            marks = [mark for mark in self.memory.dirty() if mark.sensor == sensor]
            self.both(lambda store: store.clear_dirty(marks))
        else:
            self.both(lambda store: store.mark_dirty(sensor, from_ms))

    @rule(some=st.lists(keys, max_size=3), drop=st.booleans())
    def curves(self, some: list[CurveKey], drop: bool) -> None:
        """Make curves known, or forget them."""
        self.both(lambda store: (store.drop_curves if drop else store.add_curves)(some))

    @rule(
        pick=st.integers(0, 3),
        other=keys,
        hour=st.integers(0, 5),
        rows=ledger_rows(),
        time_ms=times,
    )
    def rows(self, pick: int, other: CurveKey, hour: int, rows: LedgerRows, time_ms: int) -> None:
        """Replace rows of a curve, mostly a known one, and ask for them."""
        key = [*self.memory.curves(), other, other, other, other][pick]
        self.both(lambda store: store.replace_rows([(key, hour, rows)]))
        self.both(lambda store: store.rows(key, hour, hour + 2))
        self.both(lambda store: store.rows_at([(key, time_ms), (other, 0), (key, 0)]))

    @rule(plan=plans, lines=st.lists(plan_lines, max_size=3))
    def save_plan(self, plan: SeasonPlan, lines: list[PlanLine]) -> None:
        """Save a plan for a season, a new one or one that may be there."""
        self.both(lambda store: store.save_plan(plan, lines))

    @rule(plan_id=st.integers(0, 3), drop=st.booleans())
    def plan(self, plan_id: int, drop: bool) -> None:
        """Ask for a plan, and forget it or not."""
        self.both(lambda store: store.season_plan(plan_id))
        self.both(lambda store: store.plan_lines(plan_id))
        if drop:
            self.both(lambda store: store.drop_plan(plan_id))

    @invariant()
    def everything(self) -> None:
        """Everything kept is the same."""
        self.both(lambda s: [s.sensors(), s.boxes(), s.placements(), s.lots(), s.stays()])
        self.both(lambda store: store.corrections())
        self.both(lambda s: [[plan, s.plan_lines(plan.id)] for plan in s.season_plans()])
        self.both(lambda s: [s.tests(), s.events(), s.rejects(), sorted(s.reject_counts().items())])
        self.both(lambda s: [s.dirty(), s.curves(), [s.rows(key) for key in s.curves()]])
        self.both(lambda s: [s.extent("home/a"), s.newest("home/a"), s.days("home/a", 0, 10**9)])

    def teardown(self) -> None:
        """The file is sound in the end, too."""
        with self.folder, closing(self.sqlite):
            assert self.sqlite.check_integrity() == []


SameAnswers.TestCase.settings = settings(max_examples=50, stateful_step_count=40)
TestSameAnswers = SameAnswers.TestCase
