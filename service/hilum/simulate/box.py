"""A box as a balance of water: walls, leaks, openings, desiccant, seed.

State is grams of water in the air, the desiccant and each mass of seed. A step is implicit: box air
holds so little water that an explicit step of minutes would swing. Whatever the step, water is
neither made nor lost: what left one place is what reached another.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hilum.domain.model import MS_PER_DAY, Floats, Ints
from hilum.simulate.physics import (
    PP_ACTIVATION_J_MOL,
    PP_G_MM_PER_M2_DAY_KPA,
    gel_load,
    gel_rh_pct,
    permeability,
    saturation_pa,
    seed_scale,
    seed_shape,
    vapour_g_m3,
)
from hilum.simulate.weather import (
    STEP_S,
    Climate,
    ClimateSpec,
    follow,
    share_of,
    surroundings,
)

R_LOW, R_HIGH = 1e-5, 0.9999  # beyond, the isotherms have no answer
R_CLOSE = 1e-8
MAX_ITERATIONS = 60


@dataclass(frozen=True, slots=True)
class SeedMass:
    """Seed that behaves alike: dry mass, oil, and how slowly it follows the air around it.

    ``tau_days`` holds at 20 °C and above and doubles with each 10 °C of cooling (memory, low).
    ``mc_dry_pct`` ``None``: in equilibrium with the box at the start.
    """

    dry_g: float
    oil_fraction_dry: float = 0.2
    tau_days: float = 4.0
    mc_dry_pct: float | None = None


@dataclass(frozen=True, slots=True)
class BoxSpec:
    """How a box is built and filled.

    Permeability is in g mm/(m2 day kPa) at 38 °C, by default polypropylene. ``start_rh_pct``
    ``None``: as dry as the desiccant makes it, or, without any, as damp as the air outside.
    ``gel_tau_h`` (a sachet's own lag) and ``mixing_min`` (still air among packets) have no source.
    """

    volume_l: float  # of free air
    air_changes_per_day: float = 0.0
    wall_area_m2: float = 0.0
    wall_mm: float = 1.5
    wall_permeability: float = PP_G_MM_PER_M2_DAY_KPA
    wall_activation_j_mol: float = PP_ACTIVATION_J_MOL
    gel_g: float = 0.0  # dry mass
    gel_start: float = 0.02  # g water per g dry gel: what regenerated gel still holds
    gel_tau_h: float = 12.0
    seeds: tuple[SeedMass, ...] = ()
    thermal_tau_h: float = 4.0
    mixing_min: float = 20.0
    start_rh_pct: float | None = None


@dataclass(frozen=True, slots=True)
class Opening:
    """The lid comes off for a moment and a share of the air is exchanged."""

    at_ms: int
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Ajar:
    """The lid is not closed properly for a while."""

    from_ms: int
    to_ms: int
    changes_per_day: float = 40.0


@dataclass(frozen=True, slots=True)
class Swap:
    """Fresh desiccant goes in for the old."""

    at_ms: int
    load: float = 0.02


BoxEvent = Opening | Ajar | Swap


@dataclass(frozen=True, slots=True)
class BoxTruth:
    """What really happened, at the end of each step."""

    time_ms: Ints
    temp_c: Floats
    rh_pct: Floats  # of the air by the sensor
    erh_pct: Floats  # of the air among the packets
    gel_load: Floats  # g per g
    seed_mc_dry_pct: Floats  # one row a seed mass
    stored_g: Floats  # all water inside
    entered_g: Floats  # since the start, less what left, by walls, leaks, openings and swaps

    def passes_ms(self, limit_pct: float, hold_s: float = 86_400) -> float | None:
        """Time the eRH passes a limit from below and stays above it; ``None`` if it never does.

        ``hold_s`` is how long it must stay above, so that a lifted lid does not count.
        """
        above = self.erh_pct > limit_pct
        starts = np.flatnonzero(above & ~np.concatenate(([True], above[:-1])))
        ends = np.append(np.flatnonzero(~above), len(above))
        for i in starts.tolist():
            end = int(ends[np.searchsorted(ends, i)])
            if self.time_ms[min(end, len(above) - 1)] - self.time_ms[i] >= hold_s * 1000:
                low, high = self.erh_pct[i - 1], self.erh_pct[i]
                share = (limit_pct - low) / (high - low)
                return float(self.time_ms[i - 1] + share * (self.time_ms[i] - self.time_ms[i - 1]))
        return None


@dataclass(frozen=True, slots=True)
class _Steps:
    """What the surroundings do in each step, worked out for all steps at once; grams of water.

    With r the humidity (fraction) by the sensor: ``brought - lost * r`` enters in a step.
    """

    full: list[float]  # in the saturated air of the box
    brought: list[float]
    lost: list[float]
    air_out: list[float]  # g/m3 outside
    scales: list[list[float]]  # seed isotherm: temperature part, one list a seed mass
    shares: list[list[float]]  # share of the way to equilibrium, one list a seed mass


class BoxModel:
    """A box that goes on as long as its surroundings do.

    Parameters
    ----------
    spec : BoxSpec
        How it is built and filled.
    start_ms : int
        Time of the starting state.
    temp_c, rh_pct : float
        Air around the box at the start.
    events : sequence of Opening, Ajar or Swap
        What people do to it; may lie in the future.
    step_s : int
        Seconds a step, 60 to 600.
    """

    def __init__(
        self,
        spec: BoxSpec,
        start_ms: int,
        temp_c: float,
        rh_pct: float,
        events: Sequence[BoxEvent] = (),
        *,
        step_s: int = STEP_S,
    ) -> None:
        self.spec = spec
        self._step_s = step_s
        self._events = tuple(events)
        self._now_ms = start_ms
        self._temp = temp_c
        start = spec.start_rh_pct
        if start is None:
            start = gel_rh_pct(spec.gel_start, temp_c) if spec.gel_g else rh_pct
        self._r = start / 100
        self._gel = spec.gel_start
        shape = seed_shape(max(self._r, R_LOW))[0]
        self._seed = [
            seed_scale(s.oil_fraction_dry, temp_c) * shape
            if s.mc_dry_pct is None
            else s.mc_dry_pct / 100
            for s in spec.seeds
        ]
        full = vapour_g_m3(saturation_pa(temp_c), temp_c) * spec.volume_l / 1000
        self._air = float(self._r * full)
        self._entered = 0.0
        self._gel_share = share_of(step_s, spec.gel_tau_h * 3600)
        still = spec.mixing_min * 60 / step_s
        self._still = still if spec.gel_g or spec.seeds else 0.0

    def stored_g(self) -> float:
        """All water in the box now."""
        seeds = sum(s.dry_g * m for s, m in zip(self.spec.seeds, self._seed, strict=True))
        return self._air + self.spec.gel_g * self._gel + seeds

    def advance(self, outside: Climate) -> BoxTruth:
        """Go on through these steps of the surroundings."""
        share = share_of(self._step_s, self.spec.thermal_tau_h * 3600)
        temp = follow(outside.temp_c, self._temp, share)
        steps = self._steps(outside, temp)
        sudden = self._sudden(outside.time_ms)
        rows = np.empty((len(temp), 4 + len(self._seed)))
        for i, temp_c in enumerate(temp.tolist()):
            for event in sudden.get(i, ()):
                self._happen(event, steps.air_out[i])
            rows[i] = self._step(i, temp_c, steps)
        if len(temp):
            self._temp = float(temp[-1])
            self._now_ms = int(outside.time_ms[-1])
        air, r, gel, entered = rows.T[:4]
        seed = rows.T[4:]
        dry = np.array([s.dry_g for s in self.spec.seeds])
        return BoxTruth(
            time_ms=outside.time_ms,
            temp_c=temp,
            rh_pct=np.clip(100 * air / np.array(steps.full), 0, 100),
            erh_pct=100 * r,
            gel_load=gel,
            seed_mc_dry_pct=100 * seed,
            stored_g=air + self.spec.gel_g * gel + dry @ seed,
            entered_g=entered,
        )

    def _steps(self, outside: Climate, temp: Floats) -> _Steps:
        spec, days = self.spec, self._step_s * 1000 / MS_PER_DAY
        volume = spec.volume_l / 1000
        out_pa = outside.rh_pct / 100 * saturation_pa(outside.temp_c)
        air_out = vapour_g_m3(out_pa, outside.temp_c)
        changed = volume * days * self._changes(outside.time_ms)
        wall = permeability(spec.wall_permeability, spec.wall_activation_j_mol, temp)
        wall = wall * spec.wall_area_m2 / spec.wall_mm * days / 1000  # g a step and Pa
        full = vapour_g_m3(saturation_pa(temp), temp)
        cold = 2.0 ** (np.clip(20 - temp, 0, None) / 10)
        return _Steps(
            full=(volume * full).tolist(),
            brought=(changed * air_out + wall * out_pa).tolist(),
            lost=(changed * full + wall * saturation_pa(temp)).tolist(),
            air_out=air_out.tolist(),
            scales=[seed_scale(s.oil_fraction_dry, temp).tolist() for s in spec.seeds],
            shares=[(-np.expm1(-days / (s.tau_days * cold))).tolist() for s in spec.seeds],
        )

    def _changes(self, time_ms: Ints) -> Floats:
        """Air changes a day in each step; a lid ajar for part of a step counts for that part."""
        changes = np.full(len(time_ms), float(self.spec.air_changes_per_day))
        step_ms = self._step_s * 1000
        for event in self._events:
            if isinstance(event, Ajar):
                start = np.maximum(time_ms - step_ms, event.from_ms)
                open_ms = np.clip(np.minimum(time_ms, event.to_ms) - start, 0, None)
                changes += event.changes_per_day * open_ms / step_ms
        return changes

    def _sudden(self, time_ms: Ints) -> dict[int, list[Opening | Swap]]:
        """Openings and swaps by the step they fall into."""
        found: dict[int, list[Opening | Swap]] = {}
        for event in self._events:
            if isinstance(event, Ajar) or not len(time_ms):
                continue
            if self._now_ms <= event.at_ms < time_ms[-1]:
                step = int(np.searchsorted(time_ms, event.at_ms, side="right"))
                found.setdefault(step, []).append(event)
        return found

    def _happen(self, event: Opening | Swap, air_out: float) -> None:
        before = self.stored_g()
        if isinstance(event, Swap):
            self._gel = event.load
        else:
            self._air += event.share * (air_out * self.spec.volume_l / 1000 - self._air)
        self._entered += self.stored_g() - before

    def _step(self, i: int, temp_c: float, steps: _Steps) -> tuple[float, ...]:
        spec, seed = self.spec, self._seed
        full, lost, brought = steps.full[i], steps.lost[i], steps.brought[i]
        pull = held = 0.0  # seed takes up pull * shape(r) - held
        for j, mass in enumerate(spec.seeds):
            portion = mass.dry_g * steps.shares[j][i]
            pull += portion * steps.scales[j][i]
            held += portion * seed[j]
        weight = (full + lost) * self._still / full + 1.0
        goal = self._air + brought
        if spec.gel_g or seed:
            self._r = self._solve(temp_c, pull, held, slope=full + lost, weight=weight, goal=goal)
        else:
            self._r = goal / (full + lost)
        taken = 0.0
        if spec.gel_g:
            change = self._gel_share * (gel_load(self._r, temp_c)[0] - self._gel)
            self._gel += change
            taken += spec.gel_g * change
        if seed:
            shape = seed_shape(self._r)[0]
            for j, mass in enumerate(spec.seeds):
                change = steps.shares[j][i] * (steps.scales[j][i] * shape - seed[j])
                seed[j] += change
                taken += mass.dry_g * change
        by_sensor = self._r + taken * self._still / full
        entered = brought - lost * by_sensor
        self._air += entered - taken
        self._entered += entered
        return (self._air, self._r, self._gel, self._entered, *seed)

    def _solve(
        self, temp_c: float, pull: float, held: float, *, slope: float, weight: float, goal: float
    ) -> float:
        """Humidity among the packets that balances the step: Newton kept inside a bracket."""
        low, high, r = R_LOW, R_HIGH, min(max(self._r, R_LOW), R_HIGH)
        gel = self.spec.gel_g * self._gel_share
        for _ in range(MAX_ITERATIONS):
            shape, rise = seed_shape(r) if pull else (0.0, 0.0)
            taken, slack = pull * shape - held, pull * rise
            if gel:
                load, load_rise = gel_load(r, temp_c)
                taken += gel * (load - self._gel)
                slack += gel * load_rise
            miss = slope * r + weight * taken - goal
            low, high = (low, r) if miss > 0 else (r, high)
            better = r - miss / (slope + weight * slack)
            if not low < better < high:
                better = (low + high) / 2
            if abs(better - r) < R_CLOSE:
                return better
            r = better
        return r


def simulate_box(
    spec: BoxSpec,
    room: ClimateSpec,
    start_ms: int,
    end_ms: int,
    events: Sequence[BoxEvent] = (),
    *,
    seed: int = 0,
    step_s: int = STEP_S,
) -> BoxTruth:
    """Simulate one box.

    Parameters
    ----------
    spec : BoxSpec
        How it is built and filled.
    room : SteadySpec, RoomSpec or ColdSpec
        The air around it.
    start_ms, end_ms : int
        Span, milliseconds UTC; the first row is one step after the start.
    events : sequence of Opening, Ajar or Swap
        What people do to it.
    seed : int
        Same seed, same weather.
    step_s : int
        Seconds a step, 60 to 600.

    Returns
    -------
    BoxTruth
        One row a step.
    """
    air = surroundings(room, start_ms, seed, step_s).advance((end_ms - start_ms) // (step_s * 1000))
    first = float(air.temp_c[0]), float(air.rh_pct[0])
    return BoxModel(spec, start_ms, *first, events, step_s=step_s).advance(air)
