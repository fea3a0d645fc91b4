"""Which sensor a topic speaks for, and how its payload is to be read. Pure."""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from hilum.ingest.sources import Source

ROOT = "hilum"
MAX_PART = 64
CACHED = 10_000


class Kind(Enum):
    """What a message is."""

    READINGS = "readings"
    STATUS = "status"
    SOURCE = "source"
    ARRIVED = "arrived"  # a note of a worker; in the place of the sensor stands its site


class Part(Enum):
    """Which part of the work a process does."""

    ALL = "all"  # stores readings and keeps everything made of them
    STORING = "storing"  # a worker among others: stores readings, and tells so
    KEEPING = "keeping"  # keeps everything made of readings that workers store


@dataclass(frozen=True, slots=True)
class Route:
    """What a topic means. ``problem``: why it cannot be used, in words."""

    kind: Kind
    sensor: str = ""
    source: Source | None = None
    problem: str = ""


def name_problem(name: str) -> str:
    """Say what is wrong with a site's or sensor's name; empty if nothing.

    Letters, marks and digits of any script, space and ``- _ . :`` are taken, the first one a letter
    or digit, 64 at most: such a name can stand in an address, a file name and a topic.
    """
    if not name:
        return "The name of the sensor is empty."
    if len(name) > MAX_PART:
        return f"The name of the sensor has {len(name)} characters; at most {MAX_PART} are taken."
    if not name[0].isalnum() or name.endswith(" "):
        return "The name of the sensor must begin with a letter or digit and not end in a space."
    if not all(c in " -_.:" or unicodedata.category(c)[0] in "LMN" for c in name):
        return "The name of the sensor may hold letters, digits, spaces and - _ . : only."
    return ""


class Router:
    """Finds the meaning of topics.

    Parameters
    ----------
    sources : sequence of Source
        Other devices; the first that fits a topic reads it.
    root : str
        First level of Hilum's own topics.
    """

    def __init__(self, sources: Sequence[Source], root: str = ROOT) -> None:
        self.root = root
        self.sources = tuple(sources)
        self._known: dict[str, Route] = {}

    def filters(self, part: Part = Part.ALL, site: str = "+", group: str = "") -> tuple[str, ...]:
        """Every topic filter to subscribe to.

        Parameters
        ----------
        part : Part
            What the process does.
        site : str
            Whose lots are kept here; counts for ``KEEPING``.
        group : str
            Name under which workers share messages; counts for ``STORING``.
        """
        if part is Part.KEEPING:
            return (f"{self.root}/{site}/arrived", f"{self.root}/{site}/+/status")
        readings = f"{self.root}/+/+/readings"
        others = tuple(dict.fromkeys(source.filter for source in self.sources))
        if part is Part.STORING:
            return tuple(f"$share/{group}/{each}" for each in (readings, *others))
        return (readings, f"{self.root}/+/+/status", *others)

    def route(self, topic: str) -> Route:
        """Give the meaning of a topic."""
        route = self._known.get(topic)
        if route is None:
            route = self._find(topic)
            if not route.problem and len(topic) <= 1000 and len(self._known) < CACHED:
                self._known[topic] = route
        return route

    def _find(self, topic: str) -> Route:
        levels = topic.split("/")
        if len(levels) == 4 and levels[0] == self.root and levels[3] in {"readings", "status"}:
            return _named(Kind(levels[3]), levels[1], levels[2], None)
        if len(levels) == 3 and levels[0] == self.root and levels[2] == Kind.ARRIVED.value:
            return Route(Kind.ARRIVED, levels[1])
        for source in self.sources:
            name = source.sensor_level(levels)
            if name is not None:
                return _named(Kind.SOURCE, source.site, name, source)
        return Route(Kind.READINGS, problem="No sensor is known to speak on this topic.")


def _named(kind: Kind, site: str, name: str, source: Source | None) -> Route:
    site, name = unicodedata.normalize("NFC", site), unicodedata.normalize("NFC", name)
    problem = name_problem(site).replace("sensor", "site") or name_problem(name)
    if problem:
        return Route(kind, problem=problem)
    return Route(kind, f"{site}/{name}", source)
