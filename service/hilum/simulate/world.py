"""The demo world: the invented Saltmarsh Lane seed library over fourteen months.

Everything in it is made up, or a common name of a species. The same seed and the same time give
the same world to the last bit.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache

import numpy as np

from hilum.domain.model import (
    PREPARED,
    Box,
    BoxType,
    Event,
    GerminationTest,
    Lot,
    Placement,
    PlanLine,
    Reject,
    RejectReason,
    Role,
    SeasonPlan,
    Sensor,
    Stay,
    Wrap,
)
from hilum.science.kinds import find_kind
from hilum.simulate import journal
from hilum.simulate.box import BoxTruth
from hilum.simulate.scenery import (
    CLOCK_THINKS_MS,
    DRAWER,
    JAR,
    ROOM,
    TUB,
    Scenery,
    Story,
    sensor_specs,
)
from hilum.simulate.sensor import Record, SensorSpec, measure, minutes, senml
from hilum.simulate.weather import Climate

HARVEST_MONTH = 10  # by then seed of the year is in and tested
SOWN = (3, 20)  # month and day of sowing
PLANNED_DAYS = 30  # a sowing nearer than that is past planning: the next one is planned

# Where seed lived before it came here: °C and %. As its people guess; nobody measured it.
_BEFORE = {
    "bought packet": (15.0, 35.0),
    "own harvest": (16.0, 45.0),
    "seed swap": (18.0, 45.0),
}


@dataclass(frozen=True, slots=True)
class World:
    """Everything the demo shows. Ids are 0: the store gives them."""

    story: Story
    boxes: Sequence[Box]
    sensors: Sequence[Sensor]
    placements: Sequence[Placement]
    lots: Sequence[Lot]
    stays: Sequence[Stay]  # of each lot in order
    tests: Sequence[GerminationTest]
    events: Sequence[Event]
    rejects: Sequence[Reject]
    plan: SeasonPlan  # of the next spring
    wanted: Sequence[PlanLine]
    readings: Mapping[str, Record]  # by sensor
    truth: Mapping[str, BoxTruth]  # by sensor: what really happened in its box
    room: Climate  # what really happened around the boxes
    specs: Mapping[str, SensorSpec]
    scenery: Scenery  # at the end of the story; goes on from there


def build_world(now_ms: int, seed: int = 1) -> World:
    """Simulate the seed library up to a moment.

    Parameters
    ----------
    now_ms : int
        End of the world so far, milliseconds UTC.
    seed : int
        Same seed and time, same world.

    Returns
    -------
    World
        About 2.4 million readings of four sensors, and all that was written down.
    """
    story = Story(now_ms)
    scenery = Scenery(story, seed)
    room, truth = scenery.advance(now_ms)
    specs = sensor_specs(story)
    readings, rejects = _measured(story, specs, {ROOM: room, **_by_sensor(truth)}, seed)
    return World(
        story=story,
        boxes=_boxes(),
        sensors=[_sensor(story, name, note) for name, note in _SENSOR_NOTES.items()],
        placements=_placements(story),
        lots=_lots(now_ms),
        stays=_stays(story),
        tests=_tests(story),
        events=journal.events(story, truth[TUB], seed),
        rejects=rejects,
        plan=_plan(now_ms),
        wanted=_wanted(),
        readings=readings,
        truth=truth,
        room=room,
        specs=specs,
        scenery=scenery,
    )


def _by_sensor(truth: Mapping[str, BoxTruth]) -> dict[str, Climate]:
    return {name: Climate(t.time_ms, t.temp_c, t.rh_pct) for name, t in truth.items()}


def _measured(
    story: Story, specs: Mapping[str, SensorSpec], air: Mapping[str, Climate], seed: int
) -> tuple[dict[str, Record], list[Reject]]:
    readings, rejects = {}, []
    for i, (name, spec) in enumerate(specs.items()):
        rng = np.random.default_rng((seed, 100 + i))
        times = minutes(spec, story.start_ms, story.now_ms)
        readings[name], mistimed = measure(spec, air[name], times, rng)
        rejects += _rejected(spec, mistimed)
    return readings, rejects


def _rejected(spec: SensorSpec, record: Record) -> list[Reject]:
    """What arrived while the clock was wrong, as the service would have refused it."""
    found = []
    rows = zip(
        record.time_ms.tolist(),
        record.temp_c.tolist(),
        record.rh_pct.tolist(),
        record.battery_pct.tolist(),
        strict=True,
    )
    for time_ms, *values in rows:
        said_ms = time_ms - spec.wrong_clock[0].from_ms + CLOCK_THINKS_MS
        said = datetime.fromtimestamp(said_ms / 1000, tz=UTC)
        found.append(
            Reject(
                received_ms=time_ms + 300,
                topic=f"hilum/{spec.name}/readings",
                reason=RejectReason.TIME,
                detail=f"The sensor's clock is wrong: it said {said:%Y-%m-%d %H:%M} UTC, "
                "which lies before 2010.",
                payload=senml(said_ms, *values),
                sensor=spec.name,
            )
        )
    return found


def _boxes() -> list[Box]:
    return [
        Box(
            "drawer",
            "Card-index drawer",
            BoxType.DRAWER,
            target_low_pct=20.0,
            target_high_pct=60.0,
            volume_l=14.0,
            note="Wooden, open at the back. It can be no drier than the room.",
        ),
        Box(
            "tub",
            "Gasketed tub",
            BoxType.TUB,
            target_low_pct=12.0,
            target_high_pct=30.0,
            volume_l=23.0,
            note="200 g of silica gel in a cloth bag under the packets.",
        ),
        Box(
            "fridge-jar",
            "Jar in the fridge",
            BoxType.FRIDGE,
            volume_l=1.6,
            note="A day out in the room before it is opened.",
        ),
        Box(
            "freezer",
            "Household freezer",
            BoxType.FREEZER,
            note="No sensor inside: what happens here is not measured.",
        ),
    ]


_SENSOR_NOTES = {
    DRAWER: "At the front, between the cards",
    JAR: "Under the lid",
    ROOM: "On the wall beside the shelf",
    TUB: "Taped inside the lid",
}


def _sensor(story: Story, name: str, note: str) -> Sensor:
    return Sensor(name, first_seen_ms=story.start_ms, online=True, note=note)


def _placements(story: Story) -> list[Placement]:
    inside = {DRAWER: "drawer", TUB: "tub", JAR: "fridge-jar"}
    start = story.start_ms
    return [
        *(Placement(0, name, box, Role.INSIDE, start) for name, box in inside.items()),
        Placement(0, ROOM, "tub", Role.OUTSIDE, start),
    ]


@cache
def _kind(name: str) -> str:
    return find_kind(name).kind.key


def harvest_year(now_ms: int) -> int:
    """Year of the newest harvest that is in and tested."""
    now = datetime.fromtimestamp(now_ms / 1000, tz=UTC)
    return now.year if now.month >= HARVEST_MONTH else now.year - 1


def _label_date(row: Mapping[str, str], newest_year: int) -> date:
    """Mid September for this year's seed, else some month after harvest, always the same one."""
    age = int(row["age"])
    if age == 0:
        return date(newest_year, 9, 15)
    return date(newest_year - age, 10 + int(row["code"][-3:]) % 3, 15)


def _lots(now_ms: int) -> list[Lot]:
    year = harvest_year(now_ms)
    return [
        Lot(
            code=row["code"],
            kind=_kind(row["kind"]),
            variety=row["variety"],
            source=row["source"],
            year=year - int(row["age"]),
            label_pct=float(row["label_pct"]),
            label_n=int(row["label_n"]) if row["label_n"] else None,
            label_date=_label_date(row, year),
            prior_temp_c=_BEFORE[row["source"]][0],
            prior_rh_pct=_BEFORE[row["source"]][1],
            grams=float(row["grams"]),
            note=row["note"] or "",
            **{name: name in row["prepared"].split() for name in PREPARED},
        )
        for row in journal.table("lots")
    ]


def _stays(story: Story) -> list[Stay]:
    """Where each lot was: from the start, or ten days after its first test, until it moved."""
    year = harvest_year(story.now_ms)
    found = []
    for row in journal.table("lots"):
        tested = datetime.combine(_label_date(row, year), datetime.min.time(), UTC)
        ready_ms = int((tested + timedelta(days=10, hours=11)).timestamp() * 1000)
        arrived_ms = max(story.at(0, 9.0), ready_ms)
        found.append(Stay(0, row["code"], row["box"], Wrap(row["wrap"]), arrived_ms))
        if row["moved_to"]:
            moved_ms = story.at(int(row["day"]), 10.6)
            wrap = Wrap(row["moved_wrap"])
            found.append(Stay(0, row["code"], row["moved_to"], wrap, moved_ms))
    return found


def _tests(story: Story) -> list[GerminationTest]:
    return [
        GerminationTest(
            id=0,
            lot=row["lot"],
            on=story.moment(int(row["day"])).date(),
            sown=int(row["sown"]),
            germinated=int(row["germinated"]),
            method=row["method"],
            replicates=tuple(int(n) for n in row["replicates"].split()),
            note=row["note"],
        )
        for row in journal.table("tests")
    ]


def _plan(now_ms: int) -> SeasonPlan:
    """What is sown next spring."""
    today = datetime.fromtimestamp(now_ms / 1000, tz=UTC).date()
    sown = date(today.year, *SOWN)
    if (sown - today).days < PLANNED_DAYS:
        sown = date(today.year + 1, *SOWN)
    return SeasonPlan(0, f"Spring {sown.year}", sown)


def _wanted() -> list[PlanLine]:
    return [
        PlanLine(
            kind=_kind(row["kind"]),
            plants=int(row["plants"]),
            variety=row["variety"],
            packet_seeds=int(row["packet"]),
            note=row["note"],
        )
        for row in journal.table("wanted")
    ]
