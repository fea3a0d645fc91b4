"""When the desiccant of a box is due: what the record says, with its interval, in words.

The figures come from ``boxforecast``; here the record is gathered, and whatever keeps it from
telling a date is said instead.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from hilum.domain.model import MS_PER_DAY, MS_PER_HOUR, Box, BoxType, Placement, Role
from hilum.domain.ports import Store
from hilum.keeping.desiccant.boxcontents import MOST_EVENTS, Seed, box_seed, desiccants
from hilum.keeping.desiccant.boxdays import HISTORY_DAYS, BoxDays, box_days, hour_series
from hilum.keeping.desiccant.boxforecast import (
    COLD_PLACE,
    HORIZON_DAYS,
    LEAST_DAYS,
    LIVED_IN,
    SENSOR_PCT,
    STATED_PCT,
    UNCHECKED_PCT,
    WINDOW_DAYS,
    Ahead,
    BoxRecord,
    forecast,
    forecast_fresh,
    usable_days,
)
from hilum.keeping.desiccant.boxwater import WEIGHED_SCALE, Charge, Weighing, weighed_scale
from hilum.keeping.desiccant.durations import in_span, span_words
from hilum.keeping.overview import current_sensor
from hilum.keeping.reckoning.corrected import in_force
from hilum.science.desiccant import FRESH_LOAD_PCT, find_desiccant, gel_load_pct

DUE_AHEAD_DAYS = 14.0
"""A swap is due when the early end of the interval is this near: time to find the oven."""

NEW_DAYS = 42
"""So long the time before a charge is looked at too: until its own days are enough, with gaps."""

STOOD_DAYS = 7
OLD_DAYS = 3.0
"""Conditions older than this are not taken for now."""


class WatchState(StrEnum):
    """How much can be said about a box's desiccant."""

    NO_RECORD = "no-record"  # no sensor, or too few or too old readings
    NO_CHARGE = "no-charge"  # no desiccant is noted
    NOT_MODELLED = "not-modelled"  # zeolite, or frozen
    SETTLING = "settling"  # too early to tell a trend
    STEADY = "steady"  # no swap in sight
    TREND = "trend"  # a date with an interval
    PAST = "past"  # damper than its limit now


@dataclass(frozen=True, slots=True)
class DesiccantOutlook:
    """What is known about the desiccant of a box at one moment.

    Dates are ms since 1970 UTC, ``None`` where they are not told or lie beyond a year. Loads are
    g water per 100 g dry desiccant, worked out from the humidity or, after a weighing, from that.
    """

    state: WatchState
    box: str
    now_ms: int
    limit_pct: float
    words: str
    erh_pct: float | None = None  # mean of the last day
    charge: Charge | None = None
    load_pct: float | None = None
    weighed: Weighing | None = None
    seed_g: float = 0.0
    seed_assumed_g: float = 0.0
    gain_g_per_day: tuple[float, float, float] | None = None  # low, middle, high
    due_ms: int | None = None
    due_low_ms: int | None = None
    due_high_ms: int | None = None
    wait_days: int | None = None
    ahead: Ahead | None = None  # the course of humidity if nothing is done
    days_per_pct: float | None = None  # by how much a sensor 1 % off moves the date
    outside: bool = False  # whether a sensor stands outside
    notes: tuple[str, ...] = ()

    def is_due(self, ahead_days: float = DUE_AHEAD_DAYS) -> bool:
        """Whether fresh desiccant should go in now: past the limit, or perhaps within so long."""
        if self.state is WatchState.PAST:
            return True
        if self.due_low_ms is None:
            return False
        return self.due_low_ms <= self.now_ms + ahead_days * MS_PER_DAY


def desiccant_outlook(store: Store, box_slug: str, now_ms: int) -> DesiccantOutlook:
    """Say when the desiccant of a box is due.

    Parameters
    ----------
    store : Store
        Readings, journal and lots.
    box_slug : str
        The box; its limit is the upper end of its band.
    now_ms : int
        The moment, ms since 1970 UTC; nothing later is looked at.

    Returns
    -------
    DesiccantOutlook
        A date with a 90 % interval, or in words why there is none.

    Raises
    ------
    NotFoundError
        There is no such box.
    """
    box = store.box(box_slug)
    return judge(gather(store, box, now_ms))


def days_to_swap(store: Store, box: Box, now_ms: int) -> float | None:
    """Days until a swap may be due, by the early end of the interval; ``None`` if none is told.

    For the watch rules: 0 when the box is past its limit.
    """
    told = desiccant_outlook(store, box.slug, now_ms)
    if told.state is WatchState.PAST:
        return 0.0
    if told.due_low_ms is None:
        return None
    return max(told.due_low_ms - now_ms, 0) / MS_PER_DAY


@dataclass(frozen=True, slots=True)
class Gathered:
    """All that the watch looks at."""

    box: Box
    now_ms: int
    days: BoxDays | None
    charges: tuple[Charge, ...]
    weighing: Weighing | None  # newest of the present charge
    seed: Seed
    unread: int = 0
    checked: bool = False  # whether the sensor inside was corrected
    before: "Gathered | None" = None  # up to when the present charge went in, while that is new


def gather(store: Store, box: Box, now_ms: int) -> Gathered:
    """Read what a box's record says, up to a moment."""
    found = _gathered(store, box, now_ms)
    if not found.charges or found.charges[-1].charged_ms < now_ms - NEW_DAYS * MS_PER_DAY:
        return found
    return replace(found, before=_gathered(store, box, found.charges[-1].charged_ms - 1))


def _gathered(store: Store, box: Box, now_ms: int) -> Gathered:
    start_ms = now_ms - HISTORY_DAYS * MS_PER_DAY
    placements = store.placements(box=box.slug)
    last_ms = now_ms - MS_PER_HOUR + 1  # hours that are over
    inside, outside = (
        hour_series(store, placements, role, start_ms, last_ms)
        for role in (Role.INSIDE, Role.OUTSIDE)
    )
    noted = desiccants(store.events(box=box.slug, limit=MOST_EVENTS), now_ms)
    since = noted.charges[-1].charged_ms if noted.charges else 0
    weighings = [weighing for weighing in noted.weighings if weighing.time_ms > since]
    return Gathered(
        box,
        now_ms,
        box_days(inside, outside, now_ms) if len(inside) else None,
        noted.charges,
        weighings[-1] if weighings else None,
        box_seed(store, box.slug, now_ms, WINDOW_DAYS * MS_PER_DAY),
        noted.unread,
        _checked(store, placements, now_ms),
    )


def _checked(store: Store, placements: Sequence[Placement], now_ms: int) -> bool:
    """Whether the humidity of the sensor inside is corrected: someone knows how far it is off."""
    inside = [placed for placed in placements if placed.role is Role.INSIDE]
    placed = current_sensor(inside, now_ms)
    held = in_force(store.corrections(placed.sensor), now_ms) if placed else None
    return held is not None and (held.rh_gain, held.rh_offset_pct) != (1.0, 0.0)


def judge(found: Gathered) -> DesiccantOutlook:
    """Turn a record into what is told."""
    days, notes = found.days, _notes(found)
    limit = found.box.target_high_pct
    if days is None or days.day[days.known][-1] < -OLD_DAYS:
        words = "No readings from inside this box in the last days, so nothing can be told."
        return _told(found, WatchState.NO_RECORD, words, notes)
    erh_pct = float(days.rh_pct[-1])
    if erh_pct > limit and found.charges:
        words = (
            f"The desiccant is used up: the box is at {erh_pct:.0f} %, its limit is {limit:g} %."
        )
        return _told(found, WatchState.PAST, words, notes)
    if not found.charges:
        words = "No desiccant is noted for this box. Write it into the journal when some goes in."
        return _told(found, WatchState.NO_CHARGE, words, notes)
    charge = found.charges[-1]
    if find_desiccant(charge.desiccant).family == "zeolite":
        words = "How zeolite shares water with seed is not known well enough: go by the humidity."
        return _told(found, WatchState.NOT_MODELLED, words, notes)
    if float(np.median(days.temp_c[-7:])) < 0.0:
        words = "Below 0 °C water hardly moves and no isotherm holds: no date is worked out."
        return _told(found, WatchState.NOT_MODELLED, words, notes)
    return _with_trend(found, days, notes)


def _with_trend(found: Gathered, days: BoxDays, notes: tuple[str, ...]) -> DesiccantOutlook:
    scale, more = _scale(found, days)
    notes += more
    record = record_of(found, days, scale)
    wait = LEAST_DAYS - int(usable_days(record).sum())
    if wait > 0:
        wait = max(wait, _still_settling(record))
        more_days = "one more day" if wait == 1 else f"{wait} more days"
        words = f"No trend yet: needs {more_days} of readings."
        first, figures = _first_word(found)
        words, notes = f"{words}{first}", notes + _put_in(found, days)
        return _told(
            found, WatchState.SETTLING, words, notes, scale=scale, wait_days=wait, **figures
        )
    answer = forecast(record, found.box.target_high_pct)
    if answer is None:
        words = "The box takes up no water that can be told: no swap in sight."
        return _told(found, WatchState.STEADY, words, notes, scale=scale)
    state = WatchState.TREND if np.isfinite(answer.days) else WatchState.STEADY
    words = in_span(answer.low_days, answer.days, answer.high_days)
    if words and 1.0 <= answer.days_per_pct <= HORIZON_DAYS:
        notes += (_of_the_sensor(found, span_words(answer.days_per_pct)),)
    return _told(
        found, state, f"Fresh desiccant is due {words}." if words else
        "No swap in sight within a year.", notes, scale=scale,
        gain_g_per_day=(answer.gain_low_g, answer.gain_g, answer.gain_high_g),
        due_ms=_moment(found.now_ms, answer.days),
        due_low_ms=_moment(found.now_ms, answer.low_days),
        due_high_ms=_moment(found.now_ms, answer.high_days),
        ahead=answer.ahead,
        days_per_pct=answer.days_per_pct if np.isfinite(answer.days_per_pct) else None,
    )  # fmt: skip


def _first_word(found: Gathered) -> tuple[str, Mapping[str, int | None]]:
    """Say how long a new charge may last, by how the box was before and what the charge held."""
    charge, before = found.charges[-1], found.before
    changed = found.seed.changed_ms
    if before is None or before.days is None or (changed or 0) > charge.charged_ms:
        return "", {}
    scale, _ = _scale(before, before.days) if before.charges else (1.0, ())
    record = record_of(before, before.days, scale)
    if usable_days(record).sum() < LEAST_DAYS:
        return "", {}
    answer = forecast_fresh(record, charge, found.box.target_high_pct)
    if answer is None:
        return "", {}
    low, middle, high = (
        max(days - (found.now_ms - charge.charged_ms) / MS_PER_DAY, 0.0)
        for days in (answer.low_days, answer.days, answer.high_days)
    )
    words = in_span(low, middle, high)
    if not words:
        return "", {}
    return f" By how the box was before, fresh desiccant is due {words}.", {
        "due_ms": _moment(found.now_ms, middle),
        "due_low_ms": _moment(found.now_ms, low),
        "due_high_ms": _moment(found.now_ms, high),
    }


def _put_in(found: Gathered, days: BoxDays) -> tuple[str, ...]:
    """Say what a new charge can still take up, by what it held when it went in."""
    charge, limit = found.charges[-1], found.box.target_high_pct
    full = gel_load_pct(charge.desiccant, limit, float(days.temp_c[-1]))
    room = charge.grams * (full - charge.initial_load_pct) / 100.0
    if room <= 0.0:
        return (f"It went in with as much water as it can hold at {limit:g} %: it dries nothing.",)
    notes = [f"As it went in it can take up about {room:.0f} g of water by {limit:g} %."]
    stood = charge.charged_ms - (charge.regenerated_ms or charge.charged_ms)
    if stood > STOOD_DAYS * MS_PER_DAY and charge.initial_load_pct <= FRESH_LOAD_PCT.value:
        notes.append(
            f"It was dried {span_words(stood / MS_PER_DAY)} before it went in: unless it stood "
            "airtight, it held more than noted."
        )
    return tuple(notes)


def _of_the_sensor(found: Gathered, shift: str) -> str:
    """Say what an error of the sensor does to the date; ``shift`` is what 1 % does."""
    if not found.checked:
        return (
            f"A sensor that is 1 % off moves the date by {shift}. Nobody checked this one, so the "
            f"interval allows for {STATED_PCT:g} % either way, as data sheets do; checked over "
            "salts and corrected it would be surer."
        )
    shows = f"The date is when this sensor, as corrected, will show {found.box.target_high_pct:g} %"
    return f"{shows}: if it is still 1 % off, that is {shift} sooner or later."


def record_of(found: Gathered, days: BoxDays, scale: float = 1.0) -> BoxRecord:
    """What was gathered, as the forecast sees it."""
    cold = found.box.type in {BoxType.FRIDGE, BoxType.FREEZER}
    return BoxRecord(
        days,
        found.now_ms,
        found.charges,
        found.seed.shares,
        scale,
        changed_ms=found.seed.changed_ms,
        room=COLD_PLACE if cold else LIVED_IN,
        sensor_pct=SENSOR_PCT if found.checked else UNCHECKED_PCT,
    )


def _still_settling(record: BoxRecord) -> int:
    """Days until enough days lie behind the start-up, if none is missed from now on."""
    charge = record.charge
    begin = max(record.settled_day, -np.inf if charge is None else record.day_of(charge.charged_ms))
    return int(np.ceil(begin + LEAST_DAYS))


def _scale(found: Gathered, days: BoxDays) -> tuple[float, tuple[str, ...]]:
    """How the weighing of the present charge corrects its curve."""
    if found.weighing is None:
        return 1.0, ()
    at = (found.weighing.time_ms - found.now_ms) / MS_PER_DAY
    near = days.known & (np.abs(days.day - at) < 2.0)
    if not near.any():
        return 1.0, ("When the desiccant was weighed the humidity is not known; it is not used.",)
    rh_pct, temp_c = float(days.rh_pct[near].mean()), float(days.temp_c[near].mean())
    scale = weighed_scale(found.charges[-1], found.weighing, rh_pct, temp_c)
    if not WEIGHED_SCALE[0] <= scale <= WEIGHED_SCALE[1]:
        note = (
            f"The weighing says {found.weighing.load_pct:.0f} g per 100 g, the humidity "
            f"{found.weighing.load_pct / scale:.0f}: the dry weight may be wrong. Not used."
        )
        return 1.0, (note,)
    return scale, ()


def _moment(now_ms: int, days: float) -> int | None:
    return now_ms + round(days * MS_PER_DAY) if np.isfinite(days) else None


def _notes(found: Gathered) -> tuple[str, ...]:
    notes = []
    if found.unread:
        notes.append("Some lines about desiccant in the journal have no grams or an unknown kind.")
    if found.seed.assumed_g > 0.0:
        share = 100.0 * found.seed.assumed_g / found.seed.grams
        notes.append(
            f"{share:.0f} % of the seed is assumed, by packets of typical weight; the date hardly "
            "depends on it."
        )
    if found.days is not None and found.days.outside_pa is None:
        notes.append("With a sensor outside the box the date would be surer.")
    return tuple(notes)


def _told(
    found: Gathered,
    state: WatchState,
    words: str,
    notes: tuple[str, ...],
    *,
    scale: float = 1.0,
    **figures: object,
) -> DesiccantOutlook:
    """Fill in what every answer carries."""
    days, charge = found.days, found.charges[-1] if found.charges else None
    load = None
    if days is not None and charge is not None and state is not WatchState.NO_RECORD:
        rh_pct = min(max(float(days.rh_pct[-1]), 0.0), 99.0)
        load = scale * gel_load_pct(charge.desiccant, rh_pct, float(days.temp_c[-1]))
    return DesiccantOutlook(
        state, found.box.slug, found.now_ms, found.box.target_high_pct, words,
        erh_pct=None if days is None else float(days.rh_pct[-1]),
        charge=charge, load_pct=load, weighed=found.weighing,
        seed_g=found.seed.grams, seed_assumed_g=found.seed.assumed_g,
        outside=days is not None and days.outside_pa is not None,
        notes=notes,
        **figures,  # type: ignore[arg-type]
    )  # fmt: skip
