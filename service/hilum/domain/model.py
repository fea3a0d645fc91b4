"""The records Hilum keeps, frozen.

Times are milliseconds since 1970 UTC unless a name says otherwise.

Readings, lots, stays, placements, tests and events are the only truth; everything else is derived
from them and can be rebuilt.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MS_PER_HOUR = 3_600_000
MS_PER_DAY = 86_400_000


@dataclass(frozen=True, slots=True)
class Reading:
    """One moment of one sensor, exactly as it was measured. ``None``: not reported.

    ``sensor`` is ``<site>/<name>``. At least one of temperature and humidity is present.
    """

    sensor: str
    time_ms: int
    temp_c: float | None = None
    rh_pct: float | None = None
    battery_pct: float | None = None
    battery_v: float | None = None


class RejectReason(StrEnum):
    """Why something that arrived was not kept as a reading."""

    TOPIC = "topic"  # the topic is not one we can take
    TOO_LARGE = "too-large"
    NOT_JSON = "not-json"
    SHAPE = "shape"  # JSON, but not what the contract says
    UNIT = "unit"
    NO_VALUE = "no-value"  # neither temperature nor humidity
    NOT_A_NUMBER = "not-a-number"
    RANGE = "range"  # no air can have this value
    FAULT = "fault"  # a known fault value of a probe
    TIME = "time"  # clock wrong
    CONFLICT = "conflict"  # same sensor and time, another value
    TOO_MANY_SENSORS = "too-many-sensors"
    TOO_OFTEN = "too-often"  # more than a sensor may fill the disk with
    TURNED_AWAY = "turned-away"  # by the broker, which says so; the message was never here


@dataclass(frozen=True, slots=True)
class Reject:
    """Something that arrived and was not kept, with the reason in words."""

    received_ms: int
    topic: str
    reason: RejectReason
    detail: str
    payload: bytes = b""  # at most the first 2,000 bytes
    sensor: str | None = None


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one sensor in order of time; NaN where a quantity was not reported."""

    time_ms: Ints
    temp_c: Floats
    rh_pct: Floats

    def __len__(self) -> int:
        return len(self.time_ms)


@dataclass(frozen=True, slots=True)
class HourTier:
    """Summaries of one sensor by hour or day, in order; only periods that have readings."""

    start_ms: Ints
    count: Ints
    temp_min: Floats
    temp_mean: Floats
    temp_max: Floats
    rh_min: Floats
    rh_mean: Floats
    rh_max: Floats

    def __len__(self) -> int:
        return len(self.start_ms)


@dataclass(frozen=True, slots=True)
class AddOutcome:
    """What became of a batch of readings handed to a store."""

    stored: int = 0
    duplicates: int = 0
    conflicts: tuple[Reading, ...] = ()


@dataclass(frozen=True, slots=True)
class Sensor:
    """A sensor that has spoken at least once, or was entered by hand."""

    name: str  # <site>/<name>
    first_seen_ms: int
    last_seen_ms: int | None = None  # when its newest message arrived (arrival, not sensor clock)
    online: bool | None = None  # presence by last will; None: it never said
    note: str = ""


class BoxType(StrEnum):
    """What kind of enclosure; sets defaults for limits and for how it breathes."""

    DRAWER = "drawer"
    CARDBOARD = "cardboard"
    TUB = "tub"  # gasketed plastic
    JAR = "jar"  # glass, rubber ring
    FRIDGE = "fridge"  # a jar or tub kept in a fridge
    FREEZER = "freezer"
    SHELF = "shelf"


@dataclass(frozen=True, slots=True)
class Box:
    """Anything closed or half-closed that holds lots."""

    slug: str  # stable, lower case, used in addresses and topics
    name: str
    type: BoxType
    target_low_pct: float = 15.0  # target band of eRH
    target_high_pct: float = 35.0
    gap_limit_s: int = 6 * 3600  # longer silences are bridged with the worse end
    volume_l: float | None = None
    note: str = ""
    archived: bool = False


class Role(StrEnum):
    """What a sensor measures for a box."""

    INSIDE = "inside"  # the ledger reads this one; at most one at a time per box
    SECOND = "second"  # also inside, for comparison only
    OUTSIDE = "outside"  # the room around the box


@dataclass(frozen=True, slots=True)
class Placement:
    """A sensor stands in (or beside) a box from one time to another (``None``: until now)."""

    id: int
    sensor: str
    box: str  # slug
    role: Role
    from_ms: int
    to_ms: int | None = None


class Wrap(StrEnum):
    """How a lot is packed inside its box; sets how fast it follows the box."""

    OPEN = "open"  # open tray, cloth bag
    PAPER = "paper"
    POLY = "poly"  # zip or heat-sealed polyethylene
    FOIL = "foil"  # foil laminate, sealed: holds its own moisture
    JAR = "jar"  # closed glass jar inside the box: holds its own moisture


PREPARED = ("treated", "pelleted", "primed")
"""Fields of a lot that say what was done to the seed."""


@dataclass(frozen=True, slots=True)
class Lot:
    """Seed of one variety from one source and harvest.

    ``label_pct`` is the germination printed on the packet or measured first, on ``label_date``,
    with ``label_n`` seeds tested (``None``: unknown, taken as 400, the ISTA working sample).
    Before its first stay the lot lived at ``prior_temp_c`` and ``prior_rh_pct`` in its wrap.
    ``treated``: with a pesticide; ``pelleted``: built up to round grains; ``primed``: soaked and
    dried back so that it comes up faster.
    """

    code: str  # stable, short, unique, printed on labels
    kind: str  # key of the kinds table
    variety: str = ""
    source: str = ""
    year: int | None = None  # harvest or packing year
    label_pct: float | None = None
    label_n: int | None = None
    label_date: date | None = None
    minimum_pct: float | None = None  # None: the table's minimum germination for the kind
    prior_temp_c: float = 20.0
    prior_rh_pct: float = 50.0
    seeds: float | None = None
    grams: float | None = None
    note: str = ""
    archived: bool = False
    treated: bool = False
    pelleted: bool = False
    primed: bool = False

    @property
    def prepared(self) -> tuple[str, ...]:
        """What was done to the seed before it was packed."""
        return tuple(name for name in PREPARED if getattr(self, name))


@dataclass(frozen=True, slots=True)
class Stay:
    """A lot in a box from one time to another (``None``: until now).

    ``start_mc_wet_pct`` is its moisture on arrival when known; ``None``: carried over from the stay
    before, or from the conditions before the first one.
    """

    id: int
    lot: str  # code
    box: str  # slug
    wrap: Wrap
    from_ms: int
    to_ms: int | None = None
    start_mc_wet_pct: float | None = None


@dataclass(frozen=True, slots=True)
class GerminationTest:
    """A test: so many sown, so many came up."""

    id: int
    lot: str
    on: date
    sown: int
    germinated: int
    method: str = ""
    replicates: tuple[int, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class SeasonPlan:
    """What is to be sown on one date, and how the seed is taken to be kept until then.

    ``storage`` is a name the season page knows ("recent": at the burn rate of the last 30 days;
    "given": at ``temp_c`` and ``rh_pct``). Lines are kept apart: see ``PlanLine``.
    """

    id: int
    name: str
    sow_on: date
    storage: str = "recent"
    temp_c: float | None = None
    rh_pct: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One thing wanted in a season: so many plants of a kind, of one variety or of any ("").

    A new packet holds ``packet_seeds`` seeds, or seed for ``packet_plants`` plants; ``None``: not
    known. ``loss_pct`` of the seedlings are lost after emergence; ``field_factor`` is the share of
    germinating seed that emerges where it is sown.
    """

    kind: str  # key of the kinds table
    plants: int
    variety: str = ""
    packet_seeds: int | None = None
    packet_plants: int | None = None
    loss_pct: float = 10.0
    field_factor: float = 1.0
    note: str = ""


class EventType(StrEnum):
    """What was written into the journal."""

    OPENED = "opened"
    SWAP = "swap"  # fresh desiccant
    WEIGHED = "weighed"
    MOVED = "moved"
    TEST = "test"
    NOTE = "note"
    ALERT = "alert"
    SETTING = "setting"


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the journal. ``data`` holds the figures of the event as JSON-like values."""

    id: int
    time_ms: int
    type: EventType
    box: str | None = None
    lot: str | None = None
    sensor: str | None = None
    text: str = ""
    data: tuple[tuple[str, float | str | None], ...] = ()
    struck: bool = False  # corrected: kept, struck through


@dataclass(frozen=True, slots=True)
class Changes:
    """What is written in one step: all of it or nothing.

    Boxes and lots are added, or replaced by slug and code. Stays, tests and events with ``id`` 0
    are added in this order; those with another ``id`` replace the one that has it. Nothing is
    settled on the way: a stay that is to end where another begins is given with its end.
    """

    boxes: tuple[Box, ...] = ()
    lots: tuple[Lot, ...] = ()
    stays: tuple[Stay, ...] = ()
    tests: tuple[GerminationTest, ...] = ()
    dropped_tests: tuple[int, ...] = ()  # ids
    events: tuple[Event, ...] = ()


@dataclass(frozen=True, slots=True)
class CurveKey:
    """What one loss curve belongs to.

    A *shared* curve (``start_ms`` is ``None``) follows a box from its first reading on and serves
    every lot with this seed model and wrap. A *start-up* curve follows seed that entered the box at
    ``start_ms`` with moisture ``start_mc_dry_pct`` until it has joined the shared one. In a sealed
    wrap the curve never joins: moisture stays what it was.
    """

    box: str
    model: str  # key of the seed model
    wrap: Wrap
    start_ms: int | None = None
    start_mc_dry_pct: float | None = None


@dataclass(frozen=True, slots=True)
class LedgerRows:
    """Hourly rows of one curve, in order; a row stands for each hour that has a reading.

    All sums run from the curve's start up to ``last_ms``, the time of the hour's last reading.
    Moisture is that of the model's seed (a surrogate's, where a surrogate is used).
    """

    hour: Ints  # hours since 1970 UTC
    last_ms: Ints
    temp_c: Floats  # at last_ms
    rh_pct: Floats  # of the box, at last_ms
    mc_dry_pct: Floats  # at last_ms
    loss_probit: Floats  # cumulative, with loss multiplier 1
    covered_s: Floats  # cumulative seconds backed by readings
    estimated_s: Floats  # cumulative seconds bridged over gaps
    wet_s: Floats  # cumulative seconds in which the equation is not valid
    cold_probit: Floats  # the part of the loss that ran below 5 °C, where doubt is larger
    dry_probit: Floats  # the part of the loss that ran below 20 % eRH, where doubt is larger

    def __len__(self) -> int:
        return len(self.hour)


@dataclass(frozen=True, slots=True)
class DirtyMark:
    """Readings of a sensor changed from this time on; ``mark`` tells one change from the next."""

    sensor: str
    from_ms: int
    mark: int


@dataclass(frozen=True, slots=True)
class Arrival:
    """Readings of a sensor were stored by another process; the earliest is of this time."""

    sensor: str
    from_ms: int
    received_ms: int


@dataclass(frozen=True, slots=True)
class ReadingPage:
    """Readings with all their columns, for export: a batch in order of time."""

    readings: Sequence[Reading]
