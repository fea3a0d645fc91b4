"""What the pages need from the rest of Hilum, handed over by ``bootstrap``."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

from hilum.domain.alerts import Telling
from hilum.domain.ports import Clock, Store
from hilum.web.kept import Kept
from hilum.web.live import LiveHub
from hilum.web.sheetparts import SheetReader
from hilum.web.views.format import Style


@dataclass(frozen=True, slots=True)
class IngestStatus:
    """How readings are arriving, in words a page can show."""

    connected: bool
    broker: str  # "127.0.0.1:1883", or "off"
    detail: str = ""  # why not connected, or what is odd
    durable: bool = True  # False: the embedded broker, which forgets when it stops
    received: int = 0  # messages since the start
    stored: int = 0  # readings since the start
    rejected: int = 0  # values since the start
    waiting: int = 0  # messages in the queue


@dataclass(frozen=True, slots=True)
class HealthCheck:
    """One thing that must work, for whoever watches over Hilum."""

    what: str
    good: bool
    words: str


@dataclass(frozen=True, slots=True)
class WebSettings:
    """The settings the pages use."""

    site: str = "home"
    time_zone: str = "UTC"
    temperature_unit: str = "C"
    public_url: str = ""  # how others reach the pages; empty: nobody said


LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})


@dataclass(frozen=True, slots=True)
class Doors:
    """Under which names pages are served, and to whom without a password."""

    local: bool = True  # to this machine only: while no password is set, its user needs none
    hosts: frozenset[str] = LOOPBACK_NAMES
    any_number: bool = False  # also under any address in numbers
    first_key: str = ""  # digest of the key in the link that sets the first password


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of a message that a device sent."""

    stored: int
    duplicates: int
    rejected: tuple[tuple[str, str], ...]  # stable reason, and a sentence


TakeIn = Callable[[str, bytes], Taken]
"""Keeps a message of a sensor, ``site/name``, durably before it returns."""


@dataclass(frozen=True, slots=True)
class SettingShown:
    """One setting as it is shown: no secret among them."""

    name: str
    value: str
    source: str  # where it was set
    words: str  # what it does


@dataclass(frozen=True, slots=True)
class SettingsShown:
    """All settings, the file that holds them, and the channels on which alerts are told."""

    file: str
    rows: tuple[SettingShown, ...]
    channels: tuple[str, ...]


def nothing() -> None:
    """Do nothing."""


@dataclass(frozen=True, slots=True)
class WebParts:
    """Everything ``create_app`` needs."""

    store: Store
    clock: Clock
    live: LiveHub
    ingest_status: Callable[[], IngestStatus]
    settings: WebSettings = WebSettings()
    health: Callable[[], Sequence[HealthCheck]] = tuple
    sheets: Callable[[], SheetReader] | None = None  # loaded when somebody asks
    shown: Callable[[], SettingsShown] | None = None
    try_channel: Callable[[str], None] | None = None  # sends a test, by name of channel
    see: Callable[[str], object] | None = None  # takes note of an alert, by id
    telling: Telling = field(default_factory=Telling)  # when people are told, as the settings say
    changed: Callable[[], None] = nothing
    """Called after a person changed something, so that what follows from it is worked out."""
    doors: Doors = Doors()
    ingest_http: TakeIn | None = None
    compiled: Path | None = None  # folder for templates as they are run; they may go at any time
    patience_s: float | None = None
    """After so long a page says that it is being worked out; ``None``: it is waited for."""
    kept: Kept = field(init=False)
    """Answers about many lots, kept until what they rest on changes."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "kept", Kept(self.store, self.clock, self.patience_s))

    @property
    def style(self) -> Style:
        """How this place writes times and temperatures."""
        return Style(ZoneInfo(self.settings.time_zone), self.settings.temperature_unit == "F")
