"""One look at everything that is watched."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo

from hilum.domain.alerts import Alert
from hilum.domain.errors import HilumError, OutOfRangeError
from hilum.domain.model import Box, Reject, Role
from hilum.domain.ports import Store
from hilum.keeping.watching.boxsigns import BoxSigns, Desiccant
from hilum.keeping.watching.judging import Sign
from hilum.keeping.watching.pace import Paces
from hilum.keeping.watching.scene import About, Scene, Slow
from hilum.keeping.watching.sensorsigns import (
    REJECTS_READ,
    SLOW_EVERY_MS,
    SensorSigns,
    Watched,
    gathered,
    last_heard_ms,
    silence_sign,
    watched,
)

__all__ = ["View", "Watch"]

PAUSE_MS = 10 * 60_000


@dataclass(frozen=True, slots=True)
class View:
    """What a look gave. ``problems`` are boxes that could not be looked at, with the reason."""

    signs: Sequence[Sign]
    problems: Mapping[str, str] = field(default_factory=dict)

    def is_unknown(self, about: About) -> bool:
        """Whether nothing could be found out about this."""
        return about[1] in self.problems


class Watch:
    """Looks at boxes and sensors.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    zone : tzinfo
        For times in sentences.
    desiccant : callable, optional
        Tells the days until the desiccant of a box must be swapped.
    pause_ms : int
        After a longer time without a look (the machine slept) silence counts anew.
    slow : Slow, optional
        Remembers what is costly from look to look.
    paces : Paces, optional
        Knows how often sensors speak.
    """

    def __init__(
        self,
        store: Store,
        zone: tzinfo = UTC,
        desiccant: Desiccant | None = None,
        pause_ms: int = PAUSE_MS,
        *,
        slow: Slow | None = None,
        paces: Paces | None = None,
    ) -> None:
        self._store = store
        self._zone = zone
        self._desiccant = desiccant
        self._pause_ms = pause_ms
        self._listening_ms = self._looked_ms = -pause_ms
        self._slow = slow or Slow()
        self._paces = paces or Paces(store)

    def look(self, now_ms: int, open_alerts: Mapping[About, Alert]) -> View:
        """Gather the signs of all boxes in use and their sensors."""
        if now_ms - self._looked_ms > self._pause_ms:
            self._listening_ms = now_ms
        self._looked_ms = now_ms
        settings = {(each.rule, each.box): each for each in self._store.rule_settings()}
        self._slow.rest_on((settings, self._store.corrections()))
        scene = Scene(self._store, now_ms, settings, open_alerts, self._local, self._slow)
        boxes = {box.slug: box for box in self._store.boxes() if not box.archived}
        items = watched(self._store, boxes, now_ms)
        self._paces.note([(item.sensor.name, last_heard_ms(self._store, item)) for item in items])
        rejects = self._rejects(scene)
        signs: list[Sign] = []
        silences: list[Sign] = []
        problems: dict[str, str] = {}
        for slug, box in boxes.items():
            here = [item for item in items if item.placement.box == slug]
            try:
                signs += self._box(scene, box, here, rejects)
                silences += self._silences(scene, here)
            except (HilumError, OutOfRangeError, ArithmeticError) as error:
                problems[slug] = str(error)
        return View([*signs, *gathered(scene, silences)], problems)

    def _box(
        self, scene: Scene, box: Box, here: Sequence[Watched], rejects: Sequence[Reject]
    ) -> list[Sign]:
        signs = list(BoxSigns(scene, box, self._desiccant).signs())
        main = next((item for item in here if item.placement.role is Role.INSIDE), None)
        for item in here:
            partner = main if item.placement.role is Role.SECOND else None
            signs += scene.slow.get(
                ("sensor", item.placement, box),
                scene.now_ms,
                SLOW_EVERY_MS,
                SensorSigns(scene, item, rejects, partner).signs,
            )
        return signs

    def _silences(self, scene: Scene, here: Sequence[Watched]) -> list[Sign]:
        found = (
            silence_sign(scene, item, self._paces.pace_s(item.sensor.name), self._listening_ms)
            for item in here
        )
        return [sign for sign in found if sign is not None]

    def _rejects(self, scene: Scene) -> Sequence[Reject]:
        return scene.slow.get(
            ("rejects",),
            scene.now_ms,
            SLOW_EVERY_MS // 12,
            lambda: self._store.rejects(limit=REJECTS_READ),
        )

    def _local(self, time_ms: int) -> str:
        when = datetime.fromtimestamp(time_ms / 1000, UTC).astimezone(self._zone)
        return f"{when:%H:%M} on {when.day} {when:%B}"
