"""Sensors, boxes, lots and where they were: what every store must do with them."""

from dataclasses import replace
from datetime import date

import pytest

from hilum.domain.errors import ConflictError, InvalidInputError, NotFoundError, StoreError
from hilum.domain.model import (
    Box,
    BoxType,
    Lot,
    Placement,
    Reading,
    Role,
    Sensor,
    Stay,
    Wrap,
)
from hilum.domain.ports import Store

DAY = 86_400_000

BOX = Box(
    *("tub", "Blue tub", BoxType.TUB),
    target_low_pct=20.0,
    target_high_pct=30.0,
    gap_limit_s=7200,
    volume_l=12.5,
    note="by the door",
    archived=True,
)
LOT = Lot(
    *("A1", "sweet-corn", "Tall yellow", "own", 2024),
    label_pct=92.0,
    label_n=200,
    label_date=date(2024, 11, 3),
    minimum_pct=75.0,
    prior_temp_c=18.0,
    prior_rh_pct=45.0,
    seeds=120.0,
    grams=33.3,
    note="ä ö ü “quoted” 種",
    archived=True,
)


def test_sensor_saved_comes_back(store: Store) -> None:
    """A sensor entered by hand is kept whole; saving again replaces it and keeps its readings."""
    sensor = Sensor("home/one", 5, 9, online=True, note="on the shelf")
    store.save_sensor(sensor)
    assert store.sensor("home/one") == sensor
    store.add([Reading("home/one", 1, 20.0)], received_ms=3)
    store.save_sensor(replace(sensor, note="in the tub"))
    assert store.sensors() == [replace(sensor, note="in the tub")]
    assert store.extent("home/one") == (1, 1, 1)
    with pytest.raises(NotFoundError, match="no sensor “home/two”"):
        store.sensor("home/two")
    with pytest.raises(InvalidInputError):
        store.save_sensor(Sensor("", 0))


def test_presence_is_not_a_message_of_the_sensor(store: Store) -> None:
    """A last will sets presence and registers an unknown sensor, but it has not spoken by it."""
    store.set_presence("home/one", online=True, received_ms=50)
    assert store.sensor("home/one") == Sensor("home/one", 50, None, online=True)
    store.add([Reading("home/one", 1, 20.0)], received_ms=60)
    store.set_presence("home/one", online=False, received_ms=70)
    assert store.sensor("home/one") == Sensor("home/one", 50, 60, online=False)


def test_box_saved_comes_back(store: Store) -> None:
    """A box is kept whole; saving again replaces it; boxes are listed by name."""
    store.save_box(BOX)
    assert store.box("tub") == BOX
    store.save_box(Box("a", "Zinc drawer", BoxType.DRAWER))
    store.save_box(Box("tub", "Any tub", BoxType.TUB))
    assert [box.name for box in store.boxes()] == ["Any tub", "Zinc drawer"]
    with pytest.raises(NotFoundError, match="no box “jar”"):
        store.box("jar")


@pytest.mark.parametrize(
    ("box", "field"),
    [
        (replace(BOX, slug=""), "name"),
        (replace(BOX, name=" "), "name"),
        (replace(BOX, target_low_pct=40.0), "target_low_pct"),
        (replace(BOX, target_high_pct=101.0), "target_low_pct"),
        (replace(BOX, gap_limit_s=0), "gap_limit_s"),
    ],
)
def test_box_that_cannot_be_used_is_refused(store: Store, box: Box, field: str) -> None:
    """A box without a name or with impossible limits is refused, and the field is named."""
    with pytest.raises(InvalidInputError) as caught:
        store.save_box(box)
    assert caught.value.field == field
    assert store.boxes() == []


def test_lot_saved_comes_back(store: Store) -> None:
    """A lot is kept whole; saving again replaces it; lots are listed by code."""
    store.save_lot(LOT)
    assert store.lot("A1") == LOT
    store.save_lot(Lot("A0", "onion"))
    store.save_lot(replace(LOT, note=""))
    assert store.lots() == [Lot("A0", "onion"), replace(LOT, note="")]
    with pytest.raises(NotFoundError, match="no lot “Z9”"):
        store.lot("Z9")


def test_lot_whose_kind_has_left_the_table_can_be_put_away(store: Store) -> None:
    """A lot of a kind that no table knows any more is kept and can be changed."""
    lot = Lot("A1", "kind-of-long-ago")
    store.save_lot(lot)
    store.save_lot(replace(lot, archived=True))
    assert store.lots() == [replace(lot, archived=True)]


@pytest.mark.parametrize(
    ("lot", "field"),
    [
        (replace(LOT, code=" "), "code"),
        (replace(LOT, kind=""), "kind"),
        (replace(LOT, label_pct=101.0), "label_pct"),
        (replace(LOT, label_n=0), "label_n"),
        (replace(LOT, minimum_pct=-1.0), "minimum_pct"),
        (replace(LOT, prior_rh_pct=float("nan")), "prior_rh_pct"),
        (replace(LOT, seeds=-1.0), "seeds"),
    ],
)
def test_save_lots_keeps_all_or_none(store: Store, lot: Lot, field: str) -> None:
    """One lot that cannot be used keeps the whole list out, and its field is named."""
    with pytest.raises(InvalidInputError) as caught:
        store.save_lots([Lot("GOOD", "sweet-corn"), lot])
    assert caught.value.field == field
    assert store.lots() == []


def test_placement_gets_an_id_and_marks_its_start(furnished: Store) -> None:
    """Placements are given ids, listed by start, and mark their sensor dirty from the start."""
    late = furnished.add_placement(Placement(0, "home/one", "tub", Role.INSIDE, 5 * DAY))
    early = furnished.add_placement(Placement(0, "home/two", "tub", Role.SECOND, DAY, 2 * DAY))
    assert late.id != early.id != 0
    assert furnished.placements(box="tub") == [early, late]
    assert furnished.placements(sensor="home/one", box="tub") == [late]
    assert furnished.placements(box="jar") == []
    marks = [(mark.sensor, mark.from_ms) for mark in furnished.dirty()]
    assert marks == [("home/one", 5 * DAY), ("home/two", DAY)]


def test_a_new_gap_limit_marks_the_inside_sensors(furnished: Store) -> None:
    """What a silence costs changes with the limit, so the box's ledger is asked for again."""
    furnished.add_placement(Placement(0, "home/one", "tub", Role.INSIDE, 5 * DAY))
    furnished.add_placement(Placement(0, "home/two", "tub", Role.SECOND, DAY))
    furnished.clear_dirty(furnished.dirty())
    tub = furnished.box("tub")
    furnished.save_box(replace(tub, note="oak"))
    assert furnished.dirty() == []
    furnished.save_box(replace(tub, gap_limit_s=tub.gap_limit_s + 1))
    assert [(mark.sensor, mark.from_ms) for mark in furnished.dirty()] == [("home/one", 5 * DAY)]


def test_placement_needs_a_box_and_a_sensor_that_are_known(furnished: Store) -> None:
    """A placement that refers to nothing is refused."""
    with pytest.raises(NotFoundError, match="no box “attic”"):
        furnished.add_placement(Placement(0, "home/one", "attic", Role.INSIDE, 0))
    with pytest.raises(NotFoundError, match="no sensor “home/none”"):
        furnished.add_placement(Placement(0, "home/none", "tub", Role.INSIDE, 0))
    with pytest.raises(NotFoundError, match="no placement “7”"):
        furnished.end_placement(7, 0)


def test_box_has_one_inside_sensor_at_a_time(furnished: Store) -> None:
    """A second inside sensor is refused in words; a second or a later one is welcome."""
    furnished.add_placement(Placement(0, "home/one", "tub", Role.INSIDE, 0, 10 * DAY))
    with pytest.raises(ConflictError) as caught:
        furnished.add_placement(Placement(0, "home/two", "tub", Role.INSIDE, 9 * DAY))
    assert str(caught.value) == (
        "Box “tub” already has an inside sensor from 1970-01-01 00:00 UTC to 1970-01-11 00:00 UTC: "
        "home/one. Say first that it stands there no longer (hilum sensors end, or on the page of "
        "sensors), or place home/two as a second sensor."
    )
    furnished.add_placement(Placement(0, "home/two", "tub", Role.SECOND, 8 * DAY, 10 * DAY))
    furnished.add_placement(Placement(0, "home/two", "tub", Role.INSIDE, 10 * DAY))


def test_sensor_is_in_one_place_at_a_time(furnished: Store) -> None:
    """A sensor cannot stand in two boxes at once, in whatever role."""
    furnished.add_placement(Placement(0, "home/one", "tub", Role.INSIDE, 5 * DAY))
    with pytest.raises(ConflictError) as caught:
        furnished.add_placement(Placement(0, "home/one", "jar", Role.OUTSIDE, 0))
    assert str(caught.value) == (
        "Sensor home/one stands in box “tub” from 1970-01-06 00:00 UTC until now; "
        "it cannot be in two places at the same time."
    )
    furnished.add_placement(Placement(0, "home/one", "jar", Role.OUTSIDE, 0, 5 * DAY))


def test_end_placement_marks_what_changed(furnished: Store) -> None:
    """Ending marks the sensor dirty from the end on; moving an end, from the earlier of both."""
    placed = furnished.add_placement(Placement(0, "home/one", "tub", Role.INSIDE, 0))
    for to_ms, marked_ms in ((9 * DAY, 9 * DAY), (5 * DAY, 5 * DAY), (7 * DAY, 5 * DAY)):
        furnished.clear_dirty(furnished.dirty())
        furnished.end_placement(placed.id, to_ms)
        assert furnished.placements() == [replace(placed, to_ms=to_ms)]
        assert [mark.from_ms for mark in furnished.dirty()] == [marked_ms]
    furnished.add_placement(Placement(0, "home/one", "jar", Role.INSIDE, 7 * DAY))
    with pytest.raises(ConflictError):
        furnished.end_placement(placed.id, 8 * DAY)


def test_times_must_be_in_order(furnished: Store) -> None:
    """An end before its beginning, or a time no calendar has, is refused."""
    placed = furnished.add_placement(Placement(0, "home/one", "tub", Role.INSIDE, 2 * DAY))
    with pytest.raises(InvalidInputError, match=r"1970-01-02 00:00 UTC, lies before the beginning"):
        furnished.end_placement(placed.id, DAY)
    with pytest.raises(InvalidInputError, match="before the beginning"):
        furnished.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, 2 * DAY, DAY))
    with pytest.raises(InvalidInputError, match="between the years"):
        furnished.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, 10**18))
    with pytest.raises(InvalidInputError, match="between the years"):
        furnished.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, -1))
    assert furnished.placements() == [placed]
    assert furnished.stays() == []


def test_stay_ends_the_open_one(furnished: Store) -> None:
    """A lot put into another box leaves the one it was in; stays are listed by start."""
    first = furnished.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, DAY, start_mc_wet_pct=7.5))
    second = furnished.add_stay(Stay(0, "A1", "jar", Wrap.FOIL, 3 * DAY))
    other = furnished.add_stay(Stay(0, "B2", "jar", Wrap.OPEN, 2 * DAY))
    ended = replace(first, to_ms=3 * DAY)
    assert furnished.stays(lot="A1") == [ended, second]
    assert furnished.stays(box="jar") == [other, second]
    assert furnished.stays(lot="A1", box="tub") == [ended]


def test_stay_entered_late_fits_before_the_open_one(furnished: Store) -> None:
    """An earlier stay that ends in time leaves the open one as it is."""
    now = furnished.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, 5 * DAY))
    before = furnished.add_stay(Stay(0, "A1", "jar", Wrap.PAPER, DAY, 5 * DAY))
    assert furnished.stays() == [before, now]


def test_stay_at_the_same_time_corrects_the_open_one(furnished: Store) -> None:
    """A stay that begins with the open one leaves that one empty: it never was."""
    wrong = furnished.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, DAY))
    right = furnished.add_stay(Stay(0, "A1", "jar", Wrap.PAPER, DAY))
    assert furnished.stays() == [replace(wrong, to_ms=DAY), right]


@pytest.mark.parametrize(("from_day", "to_day"), [(0, 6), (0, None), (6, 7), (5, None), (2, 11)])
def test_stay_that_overlaps_another_is_refused(
    furnished: Store, from_day: int, to_day: int | None
) -> None:
    """A lot cannot be in two boxes at once, and nothing changes by the attempt."""
    kept = furnished.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, 5 * DAY, 10 * DAY))
    to_ms = None if to_day is None else to_day * DAY
    with pytest.raises(ConflictError) as caught:
        furnished.add_stay(Stay(0, "A1", "jar", Wrap.PAPER, from_day * DAY, to_ms))
    assert str(caught.value) == (
        "Lot A1 is in box “tub” from 1970-01-06 00:00 UTC to 1970-01-11 00:00 UTC; "
        "it cannot be in two boxes at the same time."
    )
    assert furnished.stays() == [kept]


def test_refused_stay_leaves_the_open_one_open(furnished: Store) -> None:
    """When a new stay is refused, the open one it would have ended stays open."""
    later = furnished.add_stay(Stay(0, "A1", "jar", Wrap.PAPER, 9 * DAY, 10 * DAY))
    with pytest.raises(ConflictError):
        furnished.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, DAY))
    opened = furnished.add_stay(Stay(0, "B2", "tub", Wrap.PAPER, DAY))
    with pytest.raises(NotFoundError, match="no box “attic”"):
        furnished.add_stay(Stay(0, "B2", "attic", Wrap.PAPER, 2 * DAY))
    with pytest.raises(NotFoundError, match="no lot “Z9”"):
        furnished.add_stay(Stay(0, "Z9", "tub", Wrap.PAPER, 2 * DAY))
    assert furnished.stays() == [opened, later]


def test_end_stay(furnished: Store) -> None:
    """A stay ends when told, but not into another stay."""
    first = furnished.add_stay(Stay(0, "A1", "tub", Wrap.PAPER, DAY))
    furnished.end_stay(first.id, 2 * DAY)
    second = furnished.add_stay(Stay(0, "A1", "jar", Wrap.PAPER, 3 * DAY))
    assert furnished.stays() == [replace(first, to_ms=2 * DAY), second]
    with pytest.raises(ConflictError):
        furnished.end_stay(first.id, 4 * DAY)
    with pytest.raises(NotFoundError, match="no stay “9”"):
        furnished.end_stay(9, 4 * DAY)


def test_closed_store_refuses_every_call(store: Store) -> None:
    """After closing, reading and writing raise StoreError; closing again does nothing."""
    store.add([Reading("home/one", 1, 20.0)], received_ms=0)
    pages = store.pages("home/one", 0, 10, 1)
    store.close()
    store.close()
    with pytest.raises(StoreError, match="closed"):
        store.lots()
    with pytest.raises(StoreError, match="closed"):
        store.add([Reading("home/one", 2, 20.0)], received_ms=0)
    with pytest.raises(StoreError, match="closed"):
        next(iter(pages))
