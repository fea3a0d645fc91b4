"""The boxes of the Saltmarsh Lane seed library as physics: how they are built and what is done.

None of the figures is measured; they lie within the ranges the sources give for such things.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR
from hilum.simulate.box import Ajar, BoxEvent, BoxModel, BoxSpec, BoxTruth, Opening, SeedMass, Swap
from hilum.simulate.sensor import SensorSpec, WrongClock
from hilum.simulate.weather import STEP_S, Climate, ColdSpec, RoomSpec, surroundings

STORY_DAYS = 426  # fourteen months
STEP_MS = STEP_S * 1000
SITE = "saltmarsh"
DRAWER, TUB, JAR, ROOM = (f"{SITE}/{name}" for name in ("drawer", "tub", "fridge-jar", "room"))

GEL_G = 200.0
AJAR_DAYS = (245, 252)
WEIGHED_DAY, SWAP_DAY = 262, 270
FLAT_DAYS = (150, 158)
HASTY_DAY, CLOCK_DAY, FREEZER_DAY = 290, 331, 423
LOOKS_IN_DAYS = range(6, FREEZER_DAY, 7)
CLOCK_THINKS_MS = 946_684_800_000  # 2000-01-01: where a clock without battery begins

_DRAWER_SPEC = BoxSpec(
    volume_l=14.0,
    air_changes_per_day=24.0,
    thermal_tau_h=1.5,
    seeds=(
        SeedMass(260.0, 0.25, 4.0),  # small seed in paper
        SeedMass(1100.0, 0.03, 16.0),  # peas and beans
        SeedMass(900.0, 0.0, 2.0),  # cards and packets: takes up water about like starchy seed
    ),
)
_TUB_SPEC = BoxSpec(
    volume_l=23.0,
    air_changes_per_day=1.0,  # gasketed clip-lid box: 0.1 to 1 (memory, low)
    wall_area_m2=0.5,
    thermal_tau_h=5.0,
    gel_g=GEL_G,
    gel_start=0.085,
    start_rh_pct=16.0,
    seeds=(
        SeedMass(190.0, 0.28, 4.0),
        SeedMass(90.0, 0.05, 16.0),
        SeedMass(160.0, 0.0, 1.0),  # paper packets
    ),
)
_JAR_SPEC = BoxSpec(
    volume_l=1.6,
    air_changes_per_day=0.04,  # screw jar, rubber ring: below 0.05 (memory, low)
    thermal_tau_h=1.5,
    start_rh_pct=26.0,
    mixing_min=60.0,
    seeds=(SeedMass(18.0, 0.25, 4.0), SeedMass(20.0, 0.0, 1.0)),
)


@dataclass(frozen=True, slots=True)
class Story:
    """When things happened, in days and hours (UTC) since the story began at a midnight."""

    now_ms: int

    @property
    def start_ms(self) -> int:
        """Midnight fourteen months before now."""
        return (self.now_ms // MS_PER_DAY - STORY_DAYS) * MS_PER_DAY

    def at(self, day: int, hour: float = 12.0) -> int:
        """Moment of a day of the story."""
        return self.start_ms + day * MS_PER_DAY + round(hour * MS_PER_HOUR)

    def moment(self, day: int, hour: float = 12.0) -> datetime:
        """The same as a date and time."""
        return datetime.fromtimestamp(self.at(day, hour) / 1000, tz=UTC)


def outings(story: Story) -> list[tuple[int, int]]:
    """When the jar stood in the room: a day before each opening, except the hasty one."""
    patient = [(story.at(d - 1, 18.0), story.at(d, 19.0)) for d in (41, 96, 161, 221, 331, 401)]
    return sorted([*patient, (story.at(HASTY_DAY, 11.0), story.at(HASTY_DAY, 11.5))])


def looks_in(story: Story) -> list[int]:
    """When somebody looked at the pages and took note of what stood there: once a week."""
    return [story.at(day, 18.0) for day in LOOKS_IN_DAYS]


def tub_openings(story: Story, seed: int) -> list[Opening]:
    """About two a week, at hours when people are about."""
    rng = np.random.default_rng((seed, 50))
    days = np.flatnonzero(rng.random(STORY_DAYS) < 0.28).tolist()
    return [Opening(story.at(day, rng.uniform(9.0, 19.0)), share=0.9) for day in days]


def _events(story: Story, seed: int) -> Mapping[str, list[BoxEvent]]:
    opened = [Opening(end - MS_PER_HOUR // 3, share=1.0) for _, end in outings(story)]
    return {
        DRAWER: [],
        TUB: [
            *tub_openings(story, seed),
            Ajar(story.at(AJAR_DAYS[0], 13.0), story.at(AJAR_DAYS[1], 8.5), 45.0),
            Swap(story.at(SWAP_DAY, 10.3)),
        ],
        JAR: [*opened],
    }


class Scenery:
    """Room, fridge and boxes, which go on for as long as they are asked to.

    Parameters
    ----------
    story : Story
        When things happen.
    seed : int
        Same seed and story, same scenery.
    """

    def __init__(self, story: Story, seed: int) -> None:
        start = story.start_ms
        self.now_ms = start
        self._room = surroundings(RoomSpec(), start, seed * 2 + 1)
        self._fridge = surroundings(ColdSpec(), start, seed * 2 + 2)
        self._outings = outings(story)
        events = _events(story, seed)
        self._boxes = {
            DRAWER: BoxModel(_DRAWER_SPEC, start, 18.0, 58.0, events[DRAWER]),
            TUB: BoxModel(_TUB_SPEC, start, 18.0, 58.0, events[TUB]),
            JAR: BoxModel(_JAR_SPEC, start, 5.0, 58.0, events[JAR]),
        }

    def advance(self, end_ms: int) -> tuple[Climate, dict[str, BoxTruth]]:
        """Go on to the first step that reaches a time; give the room and the box at each sensor."""
        count = max(0, -(-(end_ms - self.now_ms) // STEP_MS))
        self.now_ms += count * STEP_MS
        room, fridge = self._room.advance(count), self._fridge.advance(count)
        out = np.zeros(count, dtype=bool)
        for start, end in self._outings:
            out |= (room.time_ms > start) & (room.time_ms <= end)
        jar = Climate(
            room.time_ms,
            np.where(out, room.temp_c, fridge.temp_c),
            np.where(out, room.rh_pct, fridge.rh_pct),
        )
        around = {DRAWER: room, TUB: room, JAR: jar}
        return room, {name: box.advance(around[name]) for name, box in self._boxes.items()}


def sensor_specs(story: Story) -> dict[str, SensorSpec]:
    """The four sensors with their faults, in order of name."""
    start, end = story.at(0, 0.0), story.now_ms
    flat, changed = story.at(FLAT_DAYS[0], 6.2), story.at(FLAT_DAYS[1], 17.5)
    new, right = story.at(CLOCK_DAY, 17.2), story.at(CLOCK_DAY, 19.9)
    empty = story.at(FLAT_DAYS[0] - 24, 0.0)
    sensors = [
        SensorSpec(
            DRAWER,
            offset_temp_c=0.1,
            offset_rh_pct=0.8,
            second=11,
            silent=((flat, changed),),
            battery=(
                (start, 71),
                (empty, 38),
                (flat, 2),
                (changed - 1, 2),
                (changed, 100),
                (end, 74),
            ),
        ),
        SensorSpec(
            JAR,
            offset_temp_c=-0.1,
            offset_rh_pct=1.1,
            second=26,
            battery=((start, 78), (new - 1, 19), (new, 100), (end, 91)),
            wrong_clock=(WrongClock(new, right, CLOCK_THINKS_MS - new),),
        ),
        SensorSpec(ROOM, offset_rh_pct=-0.5, second=41, battery=((start, 96), (end, 63))),
        SensorSpec(
            TUB, offset_temp_c=0.05, offset_rh_pct=-0.7, second=56, battery=((start, 90), (end, 55))
        ),
    ]
    return {sensor.name: sensor for sensor in sensors}
