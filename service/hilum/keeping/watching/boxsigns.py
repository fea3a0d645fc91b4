"""What the rules about boxes see."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TypeVar

import numpy as np

from hilum.domain.model import MS_PER_HOUR, Box, BoxType, Floats, Ints, Placement, Wrap
from hilum.domain.ports import Store
from hilum.keeping.overview import Conditions, current_sensor, newest_conditions
from hilum.keeping.reckoning import corrected
from hilum.keeping.reckoning.conditions import box_conditions, inside
from hilum.keeping.watching.frost import AtRisk, at_risk, lots_here, shut_advice
from hilum.keeping.watching.judging import Sign, single
from hilum.keeping.watching.lossahead import loss_ahead
from hilum.keeping.watching.rules import RULES, Limits
from hilum.keeping.watching.scene import NOTHING, Scene
from hilum.science.errors import UnknownNameError
from hilum.science.kinds import kind

T = TypeVar("T")

MOULD_PCT, MOULD_STARCHY_PCT = 65.0, 70.0
"""Humidity at which the first fungi grow (Meronuk, in Plants 2022, 11:3167, read: 65 to 70 %). The
upper end is taken where all seed is starchy (derived)."""

STARCHY_OIL_PCT = 10.0

BASE_HOURS = (72, 6)
"""Hours before the newest reading between which a box's own middle is taken."""

BASE_LEAST = 12

WARMING_C = 5.0
"""A box this much warmer than its middle of the last three days was taken out of the cold. Doors
and defrosting warm a fridge by less; no source."""

SETTLED_C = 0.3
"""A box that warms by no more in an hour is about as warm as its room, and no water settles on it.
No source; with a time constant of 8 h it is then 2.5 °C colder than the room."""

RISING_C = 1.0
"""A box taken out of the cold warms by more than this in an hour; a room does not. No source."""

FRESH_MS = 30 * 60_000
FREEZER_C = -18.0
SLACK_MS = MS_PER_HOUR
SAID_LOTS = 3
RISK_EVERY_MS, DESICCANT_EVERY_MS, LOSS_EVERY_MS = (hours * MS_PER_HOUR for hours in (1, 6, 24))

Desiccant = Callable[[Store, Box, int], float | None]
"""Days until the desiccant of a box may have to be swapped; ``None`` if nobody can say."""


class BoxSigns:
    """Signs of one box.

    Parameters
    ----------
    scene : Scene
        The round.
    box : Box
        The box.
    desiccant : callable or None
        Tells when the desiccant is due.
    """

    def __init__(self, scene: Scene, box: Box, desiccant: Desiccant | None) -> None:
        self._scene = scene
        self._box = box
        self._desiccant = desiccant
        self._placements: list[Placement] = list(scene.store.placements(box=box.slug))
        self._newest: Conditions | None = newest_conditions(scene.store, box, scene.now_ms)

    def signs(self) -> Iterator[Sign]:
        """Everything the rules can say about the box."""
        yield from self._air("damp", "erh_pct")
        yield from self._air("mould", "erh_pct", self._mould_limit)
        yield from self._air("warm", "temp_c")
        yield from self._left_open()
        yield from self._freezing()
        yield from self._condensation()
        yield from self._swap()
        yield from self._loss()

    def _sign(self, key: str, limits: Limits, series: tuple[Ints, Floats], **more: object) -> Sign:
        words = {"name": self._box.name, **more.pop("words", {})}  # type: ignore[dict-item]
        more.setdefault("from_ms", self._from_ms(limits) if len(series[0]) > 1 else None)
        gap_ms = self._box.gap_limit_s * 1000
        return Sign(
            RULES[key], limits, *series, words, box=self._box.slug, gap_ms=gap_ms,
            **more,  # type: ignore[arg-type]
        )  # fmt: skip

    def _air(
        self, key: str, quantity: str, own_limit: Callable[[], float] | None = None
    ) -> Iterator[Sign]:
        limits = self._scene.limits(key, self._box, own_limit() if own_limit else None)
        if limits is not None and self._stands_here():
            yield self._sign(key, limits, self._series(key, quantity, limits))

    def _stands_here(self) -> bool:
        return current_sensor(inside(self._placements), self._scene.now_ms) is not None

    def _series(self, key: str, quantity: str, limits: Limits) -> tuple[Ints, Floats]:
        """Readings as far back as the dwell; only the newest where that settles it."""
        newest = self._newest
        value = None if newest is None else getattr(newest, quantity)
        if newest is None or value is None:
            return NOTHING
        told = self._scene.is_told(RULES[key], self._box.slug)
        if limits.calm(value) != told:
            return single(newest.time_ms, value)
        start_ms = self._from_ms(limits) or 0
        found = box_conditions(self._scene.store, self._placements, start_ms, newest.time_ms + 1)
        values = found.rh_pct if quantity == "erh_pct" else found.temp_c
        if not len(values):  # the other quantity is not measured
            return single(newest.time_ms, value)
        return found.time_ms, values

    def _from_ms(self, limits: Limits) -> int | None:
        """From when on readings are looked at: far enough to see a silence before the dwell."""
        if self._newest is None:
            return None
        back_ms = (limits.dwell_s + self._box.gap_limit_s) * 1000 + SLACK_MS
        return self._newest.time_ms - back_ms

    def _mould_limit(self) -> float:
        newest = self._newest
        low = MOULD_PCT - RULES["mould"].band
        told = self._scene.open_alert(RULES["mould"], self._box.slug) is not None
        if not told and (newest is None or newest.erh_pct is None or newest.erh_pct <= low):
            return MOULD_PCT
        starchy = self._slow("starchy", RISK_EVERY_MS, self._all_starchy)
        return MOULD_STARCHY_PCT if starchy else MOULD_PCT

    def _all_starchy(self) -> bool:
        oils = []
        for lot, stay in lots_here(self._scene.store, self._box.slug, self._scene.now_ms):
            if stay.wrap in {Wrap.FOIL, Wrap.JAR}:
                continue
            try:
                oils.append(kind(lot.kind).oil_pct.value)
            except UnknownNameError:
                return False
        return bool(oils) and max(oils) <= STARCHY_OIL_PCT

    def _left_open(self) -> Iterator[Sign]:
        rise = self._scene.limits("open", self._box)
        if rise is None or not self._stands_here():
            return
        alert, newest = self._scene.open_alert(RULES["open"], self._box.slug), self._newest
        if alert is not None and alert.limit is not None:  # as it was before the rise
            base: float | None = alert.limit - rise.limit
        else:
            base = None if newest is None else self._middle(newest.time_ms, "rh_mean")
        if base is not None:
            limits = replace(rise, limit=base + rise.limit, release=base + rise.release)
            series = self._series("open", "erh_pct", limits)
            yield self._sign("open", limits, series, words={"base": base})

    def _middle(self, newest_ms: int, column: str) -> float | None:
        """Middle of the hourly means of the last days; ``None`` with too few of them."""
        hour = newest_ms // MS_PER_HOUR

        def find() -> float | None:
            placement = current_sensor(inside(self._placements), newest_ms)
            if placement is None:
                return None
            start, end = ((hour - back) * MS_PER_HOUR for back in BASE_HOURS)
            start = max(start, placement.from_ms)
            tier = corrected.hours(self._scene.store, placement.sensor, start, end)
            values = getattr(tier, column)
            values = values[~np.isnan(values)]
            return float(np.median(values)) if len(values) >= BASE_LEAST else None

        return self._slow(f"middle {column} {hour}", MS_PER_HOUR, find)

    def _freezing(self) -> Iterator[Sign]:
        limits = self._scene.limits("freezing", self._box)
        if limits is None:
            return
        measured = self._stands_here()
        if measured and (self._newest is None or self._newest.temp_c is None):
            yield self._sign("freezing", limits, NOTHING)
            return
        temp_c = FREEZER_C
        if measured and self._newest is not None and self._newest.temp_c is not None:
            temp_c = self._newest.temp_c
        elif self._box.type is not BoxType.FREEZER:
            return
        if (
            limits.calm(temp_c)
            and self._scene.open_alert(RULES["freezing"], self._box.slug) is None
        ):
            return
        lots: list[AtRisk] = self._slow(
            "risk", RISK_EVERY_MS, lambda: at_risk(self._scene.store, self._box.slug, self._now)
        )
        if not lots:
            return
        since_ms = min(lot.since_ms for lot in lots)
        series = single(self._now, temp_c)
        if measured:
            series = self._series("freezing", "temp_c", limits)
        told = [f"{each.lot} ({each.why})" for each in lots]
        words = {"lots": said(told)}
        yield self._sign(
            "freezing", limits, series, words=words, lot=lots[0].lot,
            since_ms=None if measured else since_ms,
        )  # fmt: skip

    def _condensation(self) -> Iterator[Sign]:
        limits = self._scene.limits("condensation", self._box)
        newest = self._newest
        if limits is None or newest is None or newest.temp_c is None:
            return
        told = self._scene.open_alert(RULES["condensation"], self._box.slug) is not None
        if self._now - newest.time_ms > FRESH_MS:
            yield self._sign("condensation", limits, NOTHING)
            return
        if not self._warms_up(newest.time_ms, newest.temp_c):
            if told:
                yield self._sign("condensation", limits, single(newest.time_ms, 0.0))
            return
        advice = shut_advice(self._scene.store, self._box, self._now)
        if advice is not None:
            until = advice.until_ms or self._now
            yield self._sign(
                "condensation", limits, single(newest.time_ms, max(advice.margin_c, 0.0)),
                words={"until": self._scene.local(until)}, until_ms=until,
            )  # fmt: skip

    def _warms_up(self, newest_ms: int, temp_c: float) -> bool:
        """Whether a box was taken out of the cold and is not yet as warm as what surrounds it."""
        base = self._middle(newest_ms, "temp_mean")
        placement = current_sensor(inside(self._placements), newest_ms)
        if base is None or temp_c < base + WARMING_C or placement is None:
            return False
        earlier = corrected.before(self._scene.store, placement.sensor, newest_ms - MS_PER_HOUR + 1)
        if earlier is None or earlier.temp_c is None:
            return True
        told = self._scene.open_alert(RULES["condensation"], self._box.slug) is not None
        return temp_c - earlier.temp_c > (SETTLED_C if told else RISING_C)

    def _swap(self) -> Iterator[Sign]:
        limits = self._scene.limits("desiccant", self._box)
        find = self._desiccant
        if limits is None or find is None:
            return
        days = self._slow(
            "desiccant", DESICCANT_EVERY_MS, lambda: find(self._scene.store, self._box, self._now)
        )
        if days is not None:
            when = "already" if days < 1.0 else f"in about {days:.0f} days"
            series = single(self._now, max(days, 0.0))
            yield self._sign("desiccant", limits, series, words={"when": when})
        elif self._is_old():  # nobody measures: what was said stays
            yield self._sign("desiccant", limits, NOTHING)

    def _is_old(self) -> bool:
        newest, gap_ms = self._newest, self._box.gap_limit_s * 1000
        return newest is None or self._now - newest.time_ms > gap_ms

    def _loss(self) -> Iterator[Sign]:
        limits = self._scene.limits("loss", self._box)
        if limits is None:
            return
        ahead = self._slow(
            "loss",
            LOSS_EVERY_MS,
            lambda: loss_ahead(self._scene.store, self._box, self._now, limits.limit),
        )
        if ahead is not None:
            words = {"lots": said(ahead.lots)}
            yield self._sign(
                "loss", limits, single(self._now, ahead.times), words=words, lot=ahead.worst
            )

    @property
    def _now(self) -> int:
        return self._scene.now_ms

    def _slow(self, name: str, every_ms: int, make: Callable[[], T]) -> T:
        return self._scene.slow.get((name, self._box), self._now, every_ms, make)


def said(lots: list[str]) -> str:
    """Name some lots and count the rest."""
    more = len(lots) - SAID_LOTS
    named = "; ".join(lots[:SAID_LOTS])
    return f"{named}; and {more} more" if more > 0 else named
