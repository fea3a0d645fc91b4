"""Databases made up by hypothesis, and what of them an export holds."""

from dataclasses import replace
from datetime import date

from hypothesis import strategies as st

from hilum.domain.model import (
    Box,
    BoxType,
    Changes,
    Event,
    EventType,
    GerminationTest,
    Lot,
    Stay,
    Wrap,
)
from hilum.domain.ports import KeepingStore
from hilum.science.kinds import kinds

NOW = 1_790_000_000_000  # 2026-09-21
DAY = 86_400_000
LONG_AGO = date(1950, 1, 1)

NASTY = (
    *("=1+1", "+49", "-x", "@me", "'=x", "''-", "\tx", "a\rb", "a\nb", " ", "'", "_x0041_", "\x07"),
    *("<b>", "#N/A", "yes", "1", "2023-01-01", "ä", "“q”", 'a"b', "a,b;c", "\\", "NULL", "\ufeffx"),
)
TEXT = st.one_of(
    st.sampled_from(NASTY), st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
)
FLOAT = st.floats(0, 1e6, allow_nan=False)
PERCENT = st.floats(0, 100, allow_nan=False)
CODE = st.text(st.characters(categories=["L", "N", "P", "S"]), min_size=1, max_size=8)
KINDS = st.sampled_from(sorted(kinds()))


def optional(values: st.SearchStrategy[float]) -> st.SearchStrategy[float | None]:
    """A value or nothing."""
    return st.none() | values


@st.composite
def lots(draw: st.DrawFn) -> Lot:
    """Any lot a store keeps."""
    return Lot(
        code=draw(CODE),
        kind=draw(KINDS),
        variety=draw(TEXT),
        source=draw(TEXT),
        year=draw(st.none() | st.integers(1900, 2027)),
        label_pct=draw(optional(PERCENT)),
        label_n=draw(st.none() | st.integers(1, 1000)),
        label_date=draw(st.none() | st.dates(LONG_AGO, date(2026, 9, 1))),
        minimum_pct=draw(optional(PERCENT)),
        prior_temp_c=draw(st.floats(-30, 50)),
        prior_rh_pct=draw(PERCENT),
        seeds=draw(optional(FLOAT)),
        grams=draw(optional(FLOAT)),
        note=draw(TEXT),
        archived=draw(st.booleans()),
    )


@st.composite
def databases(draw: st.DrawFn) -> Changes:
    """Boxes, lots, where they were, tests and a journal that fit together."""
    names: list[str] = draw(st.lists(TEXT.filter(str.strip), max_size=3))
    boxes = tuple(
        Box(
            f"box-{n}",
            name,
            draw(st.sampled_from(BoxType)),
            12.5,
            40.0,
            60,
            draw(optional(FLOAT)),
            name,
        )
        for n, name in enumerate(names)
    )
    some: list[Lot] = draw(st.lists(lots(), max_size=4, unique_by=lambda lot: lot.code.casefold()))
    stays: list[Stay] = []
    tests: list[GerminationTest] = []
    for lot in some:
        if boxes:
            stays += draw(_some_stays(lot.code, [box.slug for box in boxes]))
        if draw(st.booleans()):
            germinated = draw(st.integers(0, 50))
            tests.append(
                GerminationTest(0, lot.code, LONG_AGO, 50, germinated, draw(TEXT), (germinated, 0))
            )
    events = tuple(
        Event(
            0,
            draw(st.integers(0, NOW)),
            draw(st.sampled_from(EventType)),
            lot=lot.code,
            text=draw(TEXT),
            data=(("a", draw(FLOAT)), ("b", None), (draw(TEXT), draw(TEXT))),
            struck=draw(st.booleans()),
        )
        for lot in some
    )
    return Changes(boxes, tuple(some), tuple(stays), tuple(tests), events=events)


@st.composite
def _some_stays(draw: st.DrawFn, code: str, slugs: list[str]) -> list[Stay]:
    lengths: list[int] = draw(st.lists(st.integers(0, 10**9), max_size=3))
    found = []
    start = draw(st.integers(0, NOW // 2))
    for length in lengths:
        mc = draw(optional(PERCENT))
        found.append(
            Stay(
                0,
                code,
                draw(st.sampled_from(slugs)),
                draw(st.sampled_from(Wrap)),
                start,
                start + length,
                mc,
            )
        )
        start += length
    still_there = draw(st.sampled_from([False, True]))
    if found and still_there:
        found[-1] = replace(found[-1], to_ms=None)
    return found


Content = tuple[object, ...]


def content(store: KeepingStore) -> Content:
    """Everything an export holds."""
    return (
        store.boxes(),
        store.lots(),
        store.stays(),
        store.tests(),
        [event for event in store.events() if event.sensor is None],
    )


def lots_and_places(store: KeepingStore) -> Content:
    """What the flat table holds: lots, and in which box, wrap and since when they lie."""
    names = {box.slug: box.name for box in store.boxes()}
    places = [
        (stay.lot, names[stay.box], stay.wrap, stay.from_ms)
        for stay in store.stays()
        if stay.to_ms is None
    ]
    return store.lots(), sorted(places)
