"""What the people of the Saltmarsh Lane seed library wrote down."""

import csv
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

import numpy as np

from hilum.domain.model import Event, EventType
from hilum.simulate.box import BoxTruth
from hilum.simulate.scenery import (
    AJAR_DAYS,
    CLOCK_DAY,
    DRAWER,
    FLAT_DAYS,
    FREEZER_DAY,
    GEL_G,
    HASTY_DAY,
    JAR,
    SWAP_DAY,
    WEIGHED_DAY,
    Story,
    outings,
    tub_openings,
)

NOTED_EVERY = 4  # openings of the tub somebody bothered to write down

_WORDS = {
    SWAP_DAY: "Moved into the tub with the fresh gel.",
    FREEZER_DAY: "Straight from the drawer into the freezer, without drying it first.",
}


@cache
def table(name: str) -> tuple[Mapping[str, str], ...]:
    """Read ``saltmarsh_<name>.csv`` of this package."""
    text = files("hilum.simulate").joinpath(f"saltmarsh_{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def events(story: Story, tub: BoxTruth, seed: int) -> list[Event]:
    """All lines of the journal, in order of time.

    Parameters
    ----------
    story : Story
        When things happened.
    tub : BoxTruth
        What really happened in the tub: its gel was weighed.
    seed : int
        The world's seed.
    """
    found = [
        *_about_the_tub(story, tub),
        *_about_sensors(story),
        *_openings(story, seed),
        *_moves(story),
    ]
    return sorted(found, key=lambda event: event.time_ms)


def _gel(text: str, time_ms: int) -> Event:
    data = (("desiccant", "silica-gel"), ("grams", GEL_G))
    return Event(0, time_ms, EventType.SWAP, box="tub", text=text, data=data)


def _about_the_tub(story: Story, tub: BoxTruth) -> list[Event]:
    weighed_ms = story.at(WEIGHED_DAY, 18.0)
    load = float(np.interp(weighed_ms, tub.time_ms, tub.gel_load))
    return [
        _gel("200 g of gel, some weeks old already when the sensors came.", story.at(0, 9.0)),
        Event(
            0,
            story.at(AJAR_DAYS[1], 8.6),
            EventType.NOTE,
            box="tub",
            text="Found the lid not clicked down on one side. Closed it.",
        ),
        Event(
            0,
            weighed_ms,
            EventType.WEIGHED,
            box="tub",
            text="Weighed the bag of gel on the kitchen scales.",
            data=(("grams", round(GEL_G * (1.0 + load))), ("dry_grams", GEL_G)),
        ),
        _gel("200 g of gel, fresh from the oven.", story.at(SWAP_DAY, 10.3)),
    ]


def _about_sensors(story: Story) -> list[Event]:
    return [
        Event(
            0,
            story.at(FLAT_DAYS[1], 17.6),
            EventType.NOTE,
            box="drawer",
            sensor=DRAWER,
            text="The battery had been flat for a week. Changed it.",
        ),
        Event(
            0,
            story.at(CLOCK_DAY, 20.0),
            EventType.NOTE,
            box="fridge-jar",
            sensor=JAR,
            text="After the new battery its clock stood in the year 2000 for three hours.",
        ),
    ]


def _openings(story: Story, seed: int) -> list[Event]:
    tub = [
        Event(0, opening.at_ms, EventType.OPENED, box="tub", text="Looked something out.")
        for opening in tub_openings(story, seed)[::NOTED_EVERY]
    ]
    jar = []
    for start_ms, end_ms in outings(story):
        hasty = start_ms == story.at(HASTY_DAY, 11.0)
        text = "Opened straight from the fridge, in a hurry." if hasty else "Opened warm."
        jar.append(Event(0, end_ms - 20 * 60_000, EventType.OPENED, box="fridge-jar", text=text))
    return tub + jar


def _moves(story: Story) -> list[Event]:
    return [
        Event(
            0,
            story.at(int(row["day"]), 10.6),
            EventType.MOVED,
            box=row["moved_to"],
            lot=row["code"],
            text=_WORDS.get(int(row["day"]), "Moved from the drawer into the tub."),
        )
        for row in table("lots")
        if row["moved_to"]
    ]
