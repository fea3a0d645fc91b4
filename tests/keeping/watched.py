"""Puts a simulated box and its room into a store, as sensors would have reported them."""

from collections.abc import Sequence

import numpy as np

from hilum.domain.model import (
    MS_PER_DAY,
    Box,
    BoxType,
    Event,
    EventType,
    Lot,
    Placement,
    Reading,
    Role,
    Sensor,
    Stay,
    Wrap,
)
from hilum.domain.ports import Store
from hilum.simulate.box import BoxTruth
from hilum.simulate.weather import Climate
from hilum.stores.memory import MemoryStore

INSIDE, OUTSIDE = "lane/in", "lane/out"
NIGHT_MS = 1_700_006_400_000  # a midnight


def watched_box(
    truth: BoxTruth,
    room: Climate | None = None,
    *,
    volume_l: float | None = None,
    limit_pct: float = 35.0,
    noise_pct: float = 0.08,
) -> Store:
    """A store with one tub, its readings every 10 minutes, and those of the room if it has any."""
    store = MemoryStore()
    store.save_box(Box("tub", "Tub", BoxType.TUB, target_high_pct=limit_pct, volume_l=volume_l))
    packets = Climate(truth.time_ms, truth.temp_c, truth.erh_pct)
    _sensor(store, INSIDE, Role.INSIDE, packets, noise_pct)
    if room is not None:
        _sensor(store, OUTSIDE, Role.OUTSIDE, room, noise_pct)
    return store


def _sensor(store: Store, name: str, role: Role, air: Climate, noise_pct: float) -> None:
    rng = np.random.default_rng(len(name))
    noisy = air.rh_pct + noise_pct * rng.standard_normal(len(air.rh_pct))
    rh_pct = np.clip(noisy, 0.0, 100.0)
    store.save_sensor(Sensor(name, 0))
    store.add_placement(Placement(0, name, "tub", role, 0))
    values = zip(air.time_ms.tolist(), air.temp_c.tolist(), rh_pct.round(2).tolist(), strict=True)
    store.add([Reading(name, *value) for value in values], int(air.time_ms[-1]))
    store.refresh_tiers({name: 0})


def note_charge(store: Store, time_ms: int, grams: float, desiccant: str = "silica-gel") -> None:
    """Write into the journal that desiccant went in."""
    data = (("desiccant", desiccant), ("grams", grams))
    store.add_event(Event(0, time_ms, EventType.SWAP, box="tub", data=data))


def note_weighing(store: Store, time_ms: int, total_g: float, dry_g: float) -> None:
    """Write into the journal what the desiccant weighed."""
    data = (("grams", total_g), ("dry_grams", dry_g))
    store.add_event(Event(0, time_ms, EventType.WEIGHED, box="tub", data=data))


def put_lots(
    store: Store, grams: Sequence[float | None], from_ms: int = 0, wrap: Wrap = Wrap.PAPER
) -> None:
    """Lots of onion in the box, by their weight."""
    for weight in grams:
        code = f"L-{len(store.lots()) + 1:04d}"
        store.save_lot(Lot(code, "onion", grams=weight))
        store.add_stay(Stay(0, code, "tub", wrap, from_ms))


def day_ms(day: float) -> int:
    """Time of a day counted from the first midnight."""
    return NIGHT_MS + round(day * MS_PER_DAY)
