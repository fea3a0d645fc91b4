"""Many changes in one step: what every store must do with them."""

from dataclasses import replace
from datetime import date

import pytest

from hilum.domain.corrections import Correction
from hilum.domain.errors import ConflictError, HilumError, InvalidInputError, NotFoundError
from hilum.domain.model import (
    Box,
    BoxType,
    Changes,
    Event,
    EventType,
    GerminationTest,
    Lot,
    Placement,
    PlanLine,
    Reading,
    Role,
    SeasonPlan,
    Stay,
    Wrap,
)
from hilum.domain.ports import Store

NEW = Changes(
    boxes=(Box("crate", "Crate", BoxType.SHELF),),
    lots=(Lot("C3", "pea"),),
    stays=(Stay(0, "C3", "tub", Wrap.PAPER, 10, 20), Stay(0, "C3", "crate", Wrap.FOIL, 20)),
    tests=(GerminationTest(0, "C3", date(2024, 5, 1), 50, 40),),
    events=(Event(0, 20, EventType.MOVED, box="crate", lot="C3", text="Moved."),),
)

NEW_EVENT = Event(0, 20, EventType.OPENED, box="tub")


def test_what_is_new_comes_back_numbered(furnished: Store) -> None:
    """Boxes and lots of the same changes may be referred to; records come back with their ids."""
    written = furnished.change(NEW)
    assert all(stay.id for stay in written.stays)
    assert written.tests[0].id
    assert written.events[0].id
    assert furnished.box("crate") == NEW.boxes[0]
    assert furnished.lot("C3") == NEW.lots[0]
    assert tuple(furnished.stays(lot="C3")) == written.stays
    assert tuple(furnished.tests("C3")) == written.tests
    assert tuple(furnished.events(lot="C3")) == written.events
    assert [replace(stay, id=0) for stay in written.stays] == list(NEW.stays)


def test_what_has_an_id_is_replaced(furnished: Store) -> None:
    """A stay, a test and an event change in place; a dropped test is gone."""
    written = furnished.change(NEW)
    first, second = written.stays
    furnished.change(
        Changes(
            stays=(replace(first, to_ms=15), replace(second, from_ms=15)),
            dropped_tests=(written.tests[0].id,),
            events=(replace(written.events[0], struck=True),),
        )
    )
    assert [(stay.from_ms, stay.to_ms) for stay in furnished.stays(lot="C3")] == [
        (10, 15),
        (15, None),
    ]
    assert furnished.tests("C3") == []
    assert furnished.events(lot="C3")[0].struck


@pytest.mark.parametrize(
    ("changes", "error"),
    [
        (Changes(stays=(Stay(0, "A1", "attic", Wrap.OPEN, 5),)), NotFoundError),
        (Changes(stays=(Stay(0, "Z9", "tub", Wrap.OPEN, 5),)), NotFoundError),
        (Changes(stays=(Stay(99, "A1", "tub", Wrap.OPEN, 5),)), NotFoundError),
        (Changes(stays=(Stay(0, "A1", "tub", Wrap.OPEN, 5, 4),)), InvalidInputError),
        (
            Changes(
                stays=(Stay(0, "A1", "tub", Wrap.OPEN, 5), Stay(0, "A1", "jar", Wrap.OPEN, 9)),
            ),
            ConflictError,
        ),
        (Changes(tests=(GerminationTest(0, "Z9", date(2024, 1, 1), 9, 9),)), NotFoundError),
        (Changes(tests=(GerminationTest(0, "A1", date(2024, 1, 1), 9, 10),)), InvalidInputError),
        (Changes(dropped_tests=(99,)), NotFoundError),
        (Changes(events=(Event(0, 1, EventType.NOTE, sensor="home/none"),)), NotFoundError),
        (Changes(events=(Event(0, -1, EventType.NOTE),)), InvalidInputError),
        (Changes(lots=(Lot("D4", "pea", seeds=-1.0),)), InvalidInputError),
        (Changes(boxes=(Box("", "", BoxType.TUB),)), InvalidInputError),
    ],
)
def test_all_or_nothing(furnished: Store, changes: Changes, error: type[HilumError]) -> None:
    """One record that cannot be written keeps all the others out."""
    both = replace(
        changes,
        boxes=(*NEW.boxes, *changes.boxes),
        lots=(*NEW.lots, *changes.lots),
        stays=(*NEW.stays, *changes.stays),
        tests=(*NEW.tests, *changes.tests),
        events=(*NEW.events, *changes.events),
    )
    before = (furnished.boxes(), furnished.lots(), furnished.stays(), furnished.tests())
    with pytest.raises(error):
        furnished.change(both)
    assert (furnished.boxes(), furnished.lots(), furnished.stays(), furnished.tests()) == before
    assert furnished.events() == []


def test_revision_is_another_after_each_thing_entered(furnished: Store) -> None:
    """Every record that figures of lots rest on counts: added, changed or taken away."""
    seen = [furnished.revision()]

    def moved() -> bool:
        seen.append(furnished.revision())
        return seen[-1] not in seen[:-1]

    written = furnished.change(NEW)
    assert moved()
    furnished.save_lot(replace(NEW.lots[0], minimum_pct=70.0))
    assert moved()
    furnished.end_stay(written.stays[1].id, 30)
    assert moved()
    furnished.change(Changes(dropped_tests=(written.tests[0].id,)))
    assert moved()
    furnished.save_box(replace(NEW.boxes[0], archived=True))
    assert moved()
    placed = furnished.add_placement(Placement(0, "home/one", "tub", Role.INSIDE, 5))
    assert moved()
    furnished.end_placement(placed.id, 50)
    assert moved()
    furnished.add_correction(Correction(0, "home/one", 5, temp_offset_c=0.5))
    assert moved()
    plan = furnished.save_plan(SeasonPlan(0, "Spring", date(2027, 3, 1)), [PlanLine("pea", 9)])
    assert moved()
    furnished.save_plan(plan, [PlanLine("pea", 10)])
    assert moved()


def test_revision_stays_where_nothing_is_entered(furnished: Store) -> None:
    """Readings that come in and lines of the journal leave it as it is."""
    before = furnished.revision()
    furnished.add([Reading("home/one", 10, 21.0), Reading("home/new", 10, 21.0)], received_ms=10)
    furnished.add_event(NEW_EVENT)
    furnished.mark_dirty("home/one", 0)
    assert furnished.revision() == before
