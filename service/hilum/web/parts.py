"""What the pages need from the rest of Hilum, handed over by ``bootstrap``."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from hilum.domain.ports import Clock, Store
from hilum.web.format import Style
from hilum.web.live import LiveHub


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
    changed: Callable[[], None] = nothing
    """Called after a person changed something, so that what follows from it is worked out."""

    @property
    def style(self) -> Style:
        """How this place writes times and temperatures."""
        return Style(ZoneInfo(self.settings.time_zone), self.settings.temperature_unit == "F")
