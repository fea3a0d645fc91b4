"""Which lots must not freeze, and how long a cold box must stay shut."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from hilum.domain.model import MS_PER_HOUR, Box, BoxType, Lot, Role, Stay
from hilum.domain.ports import Store
from hilum.keeping.lots.losses import Losses
from hilum.keeping.overview import current_sensor, newest_conditions
from hilum.keeping.reckoning import corrected
from hilum.science.errors import UnknownNameError
from hilum.science.freezing import (
    MOST_ASKED_PCT,
    Freezing,
    freezing_advice,
    opening_advice,
)
from hilum.science.kinds import Behaviour, Kind, kind

ASSUMED_ROOM = (20.0, 60.0)
"""Room where no sensor stands outside a box: °C and % RH; its dew point is 12.0 °C."""

THERMAL_TAU_H = ((2.0, 2.0), (math.inf, 8.0))
"""Volume up to which [L], and time constant of warming [h]: a 1 L jar 1 to 2 h, a 10 L box 4 to 8 h
(memory, low; the slow end of each). Without a volume it is taken for a jar where it is one."""

MOST_TAUS = 5.0

DANGERS = frozenset({Freezing.NO, Freezing.DANGER, Freezing.NEVER})


@dataclass(frozen=True, slots=True)
class AtRisk:
    """A lot that must not freeze, and why."""

    lot: str
    since_ms: int
    why: str


@dataclass(frozen=True, slots=True)
class ShutAdvice:
    """How long a cold box should stay shut if it stands in the room from now on.

    ``until_ms`` is ``None`` where it may be opened at once. ``by`` names the sensor of the room;
    without one the room is taken to be at 20 °C and 60 % humidity.
    """

    box_temp_c: float
    dew_point_c: float
    until_ms: int | None
    by: str | None
    open_from_c: float

    @property
    def margin_c(self) -> float:
        """How much colder it is than it should be to be opened [°C]; not above 0: it may."""
        return self.open_from_c - self.box_temp_c


def frost_reason(of: Kind | None, mc_wet_pct: float | None) -> str | None:
    """Say why seed must not freeze; ``None`` if frost does no harm at once.

    Seed that only should be drier before it goes into a freezer (``Freezing.FRIDGE``) is not in
    danger. All limits are those of :mod:`hilum.science.freezing`.

    Parameters
    ----------
    of : Kind or None
        The kind; ``None``: not known.
    mc_wet_pct : float or None
        Its moisture [% wet basis]; ``None``: not known.
    """
    advice = freezing_advice(of, mc_wet_pct)
    if advice.verdict is Freezing.NEVER:
        return advice.words.split(": ", 1)[-1].rstrip(".")
    if mc_wet_pct is None or advice.limit_pct is None:
        return "how moist it is, is not known"
    if mc_wet_pct > advice.limit_pct:
        return f"about {mc_wet_pct:.1f} % water, {advice.limit_pct:g} % is the most"
    if advice.verdict in DANGERS:
        return f"its humidity is about {advice.erh_pct:.0f} % at 20 °C"
    return None


def lots_here(store: Store, box: str, now_ms: int) -> Iterator[tuple[Lot, Stay]]:
    """Lots that lie in a box now, in order of arrival."""
    for stay in store.stays(box=box):
        if stay.from_ms <= now_ms and (stay.to_ms is None or now_ms < stay.to_ms):
            yield store.lot(stay.lot), stay


def at_risk(store: Store, box: str, now_ms: int) -> list[AtRisk]:
    """Lots in a box that must not freeze, in order of arrival."""
    found, here = [], list(lots_here(store, box, now_ms))
    losses = Losses(store, [lot for lot, _ in here]).up_to(now_ms)
    for (lot, stay), loss in zip(here, losses, strict=True):
        of = known_kind(lot.kind)
        orthodox = of is not None and of.behaviour is Behaviour.ORTHODOX
        moisture = loss.mc_wet_pct if orthodox else None
        why = frost_reason(of, None if moisture is None else min(moisture, MOST_ASKED_PCT))
        if why is not None:
            found.append(AtRisk(lot.code, stay.from_ms, why))
    return found


def known_kind(key: str) -> Kind | None:
    """Give a kind if it stands in the table."""
    try:
        return kind(key)
    except UnknownNameError:
        return None


def shut_advice(store: Store, box: Box, now_ms: int) -> ShutAdvice | None:
    """Say whether a box may be opened now, and if not, from about when on.

    Parameters
    ----------
    store : Store
        Readings and placements.
    box : Box
        The box.
    now_ms : int
        The time.

    Returns
    -------
    ShutAdvice or None
        ``None`` if its temperature is not known.
    """
    newest = newest_conditions(store, box, now_ms)
    if newest is None or newest.temp_c is None:
        return None
    room_c, room_rh_pct, by = _room(store, box.slug, now_ms) or (*ASSUMED_ROOM, None)
    advice = opening_advice(newest.temp_c, room_c, min(max(room_rh_pct, 1.0), 100.0))
    dew_c, from_c = advice.dew_point_c, advice.open_from_c
    if advice.may_open:
        return ShutAdvice(newest.temp_c, dew_c, None, by, from_c)
    taus = MOST_TAUS
    if room_c > from_c:
        taus = min(taus, math.log((room_c - newest.temp_c) / (room_c - from_c)))
    until_ms = now_ms + round(taus * _tau_h(box) * MS_PER_HOUR)
    return ShutAdvice(newest.temp_c, dew_c, until_ms, by, from_c)


def _tau_h(box: Box) -> float:
    small = box.type in {BoxType.JAR, BoxType.FRIDGE}
    volume = box.volume_l if box.volume_l is not None else 0.0 if small else math.inf
    return next(tau for most, tau in THERMAL_TAU_H if volume <= most)


def _room(store: Store, box: str, now_ms: int) -> tuple[float, float, str] | None:
    """Air outside: by the sensor beside this box, else by any that stands outside a box."""
    outside = [p for p in store.placements() if p.role is Role.OUTSIDE]
    for placements in ([p for p in outside if p.box == box], outside):
        placement = current_sensor(placements, now_ms)
        reading = corrected.newest(store, placement.sensor) if placement else None
        if (
            reading is not None
            and reading.temp_c is not None
            and reading.rh_pct is not None
            and now_ms - reading.time_ms <= 6 * MS_PER_HOUR
        ):
            return reading.temp_c, reading.rh_pct, reading.sensor
    return None
