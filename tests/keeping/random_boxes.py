"""Boxes of every make, simulated: walls, leaks, gel, seed, rooms through the year, openings.

Each box has stood for one to seven months when its desiccant is swapped. Those whose fresh charge
would, by a rough sum, last two to eight months are taken; the rest are drawn again. The truth is
the simulator's; nothing of the watch is used here.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from hilum.domain.model import MS_PER_DAY
from hilum.keeping.desiccant.boxdays import BoxDays, HourSeries, box_days
from hilum.keeping.desiccant.boxforecast import BoxRecord
from hilum.keeping.desiccant.boxwater import Charge, SeedShare
from hilum.simulate.box import BoxModel, BoxSpec, BoxTruth, Opening, SeedMass, Swap
from hilum.simulate.physics import gel_load, seed_scale, seed_shape
from hilum.simulate.weather import Climate, RoomSpec, surroundings

Floats = npt.NDArray[np.float64]

START_MS = 1_700_006_400_000  # a midnight
STEPS_PER_HOUR = 6
ROUGH_DAYS = (60.0, 240.0)
LIMIT_PCT = 35.0


@dataclass(frozen=True)
class RandomBox:
    """A box with its truth from the first reading on; ``after`` is the part after the swap."""

    number: int
    spec: BoxSpec
    swap_ms: int
    outside: Climate
    truth: BoxTruth
    after: BoxTruth

    def passes_ms(self, limit_pct: float = LIMIT_PCT) -> float | None:
        """When the fresh charge no longer holds the box."""
        return self.after.passes_ms(limit_pct)


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """A number whose logarithm is uniform."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def random_spec(rng: np.random.Generator) -> BoxSpec:
    """Draw a box: 4 to 40 L, 0.3 to 10 air changes a day, 50 to 500 g of gel, 0.1 to 3 kg of seed.

    The seed is as moist as air of 20 to 40 % makes it; the old charge half used up.
    """
    volume = log_uniform(rng, 4.0, 40.0)
    seed_g, oily = log_uniform(rng, 100.0, 3000.0), rng.uniform()
    shape = seed_shape(rng.uniform(0.20, 0.40))[0]
    kinds = ((oily, rng.uniform(0.2, 0.4), 4.0), (1.0 - oily, rng.uniform(0.0, 0.1), 16.0))
    return BoxSpec(
        volume_l=volume,
        air_changes_per_day=log_uniform(rng, 0.3, 10.0),
        wall_area_m2=6.0 * (volume / 1000.0) ** (2 / 3) * rng.uniform(1.0, 1.3),
        wall_mm=rng.uniform(1.0, 2.5),
        gel_g=log_uniform(rng, 50.0, 500.0),
        gel_start=rng.uniform(0.06, 0.16),
        seeds=tuple(
            SeedMass(seed_g * share, oil, tau, 100.0 * seed_scale(oil, 18.0) * shape)
            for share, oil, tau in kinds
        ),
        thermal_tau_h=rng.uniform(2.0, 8.0),
        mixing_min=log_uniform(rng, 1.0, 10.0),
    )


def rough_days(spec: BoxSpec) -> float:
    """How long fresh gel would last: room for water up to 35 % over grams a day, at 18 °C.

    Air outside holds 4.5 g/m3 more; walls let 0.0257 g mm/(m2 d kPa) through at 0.6 kPa.
    """
    room = spec.gel_g * (gel_load(0.35, 18.0)[0] - 0.02)
    for seed in spec.seeds:
        full = 100.0 * seed_scale(seed.oil_fraction_dry, 18.0) * seed_shape(0.35)[0]
        room += seed.dry_g * (full - (seed.mc_dry_pct or 0.0)) / 100.0
    leaks = spec.volume_l / 1000.0 * spec.air_changes_per_day * 4.5
    return room / (leaks + spec.wall_area_m2 / spec.wall_mm * 0.0257 * 0.6)


def random_box(number: int, days: int = 330) -> RandomBox:
    """Draw and simulate a box: the same number, the same box."""
    rng = np.random.default_rng((2024, number))
    spec = random_spec(rng)
    while not ROUGH_DAYS[0] < rough_days(spec) < ROUGH_DAYS[1]:
        spec = random_spec(rng)
    room = RoomSpec(
        temp_mean_c=rng.uniform(14.0, 20.0),
        temp_season_c=rng.uniform(1.0, 4.0),
        temp_day_c=rng.uniform(0.3, 1.5),
        dew_mean_c=rng.uniform(5.0, 9.0),
        dew_season_c=rng.uniform(2.0, 5.0),
    )
    start = START_MS + int(rng.integers(0, 365)) * MS_PER_DAY
    before = int(rng.integers(30, 200))
    swap = start + before * MS_PER_DAY + 11 * MS_PER_DAY // 24
    often = rng.uniform(0.0, 3.0) / 7.0
    opened = np.flatnonzero(rng.random(before + days) < often).tolist()
    events = [
        Opening(start + int((day + rng.uniform(0.35, 0.8)) * MS_PER_DAY), rng.uniform(0.5, 1.0))
        for day in opened
    ]
    air = surroundings(room, start, number).advance((before + days) * 24 * STEPS_PER_HOUR)
    model = BoxModel(
        spec,
        start,
        float(air.temp_c[0]),
        float(air.rh_pct[0]),
        [*events, Swap(swap, rng.uniform(0.0, 0.03))],
    )
    truth = model.advance(air)
    return RandomBox(number, spec, swap, air, truth, since(truth, swap + 2 * MS_PER_DAY))


def since(truth: BoxTruth, start_ms: int) -> BoxTruth:
    """The part of a truth from a time on."""
    i = int(np.searchsorted(truth.time_ms, start_ms))
    names = BoxTruth.__dataclass_fields__
    return replace(truth, **{name: getattr(truth, name)[..., i:] for name in names})


def hourly(climate: Climate | BoxTruth, end_ms: int, offset_pct: float) -> HourSeries:
    """Hourly means up to a time, as a sensor with a constant error keeps them."""
    count = int(np.searchsorted(climate.time_ms, end_ms, "right")) // STEPS_PER_HOUR
    rows = slice(0, count * STEPS_PER_HOUR)

    def mean(values: Floats) -> Floats:
        return np.asarray(values[rows].reshape(count, STEPS_PER_HOUR).mean(axis=1))

    rh = climate.erh_pct if isinstance(climate, BoxTruth) else climate.rh_pct
    hours = climate.time_ms[rows][STEPS_PER_HOUR - 1 :: STEPS_PER_HOUR] - 3_600_000
    return HourSeries(hours, mean(climate.temp_c), np.clip(mean(rh) + offset_pct, 0.0, 100.0))


def seen(
    box: RandomBox,
    now_ms: int,
    *,
    outside: bool,
    off_pct: float = 0.0,
    curve: str = "silica-gel",
) -> BoxRecord:
    """The box as a person knows it at a time.

    The sensor among the packets is off by ``off_pct``, the one outside by 1 % (standard deviation).
    The seed is known to a factor of 1.35 (standard deviation of its logarithm 0.3). ``curve`` is
    the gel the watch takes it for.
    """
    rng = np.random.default_rng((11, box.number))
    outside_off = rng.standard_normal()
    factor = float(np.exp(0.3 * rng.standard_normal()))
    nothing = HourSeries(np.empty(0, np.int64), np.empty(0), np.empty(0))
    days = box_days(
        hourly(box.truth, now_ms, off_pct),
        hourly(box.outside, now_ms, outside_off) if outside else nothing,
        now_ms,
    )
    assert isinstance(days, BoxDays)
    seeds = [
        SeedShare(seed.dry_g * (1.0 - seed.oil_fraction_dry) * factor, seed.tau_days)
        for seed in box.spec.seeds
    ]
    start_ms = int(box.truth.time_ms[0])
    charges = [Charge(curve, box.spec.gel_g, time) for time in (start_ms, box.swap_ms)]
    return BoxRecord(days, now_ms, charges, seeds)
