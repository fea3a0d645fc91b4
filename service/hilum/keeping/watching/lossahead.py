"""Whether seed in a box loses life faster than the box was meant to let it."""

from dataclasses import dataclass

from hilum.domain.model import Box, BoxType, Lot
from hilum.domain.ports import Store
from hilum.keeping.lots.losses import Losses, LotLoss
from hilum.keeping.watching.frost import lots_here
from hilum.keeping.watching.rules import OPEN_TYPES
from hilum.science.errors import NoLifeModelError, UnknownNameError
from hilum.science.kinds import kind
from hilum.science.normal import ned
from hilum.science.seedmodel import equilibrium_mc_dry_pct, loss_rate_per_day
from hilum.science.surrogates import basis_for, model_on

PLANNED_C = {BoxType.FRIDGE: 10.0, BoxType.FREEZER: -10.0}
PLANNED_ROOM_C = 20.0
"""Temperature a box is meant to have [°C]: upper end of what counts as fridge and freezer in the
rule "too warm", 20 °C elsewhere (no source)."""

PLANNED_OPEN_PCT = 65.0
"""Humidity an open box is meant to have at most [%]: it can be no drier than its room (no
source)."""

LEAST_BURN = 0.01
"""Share of the budget that must go in 30 days for a lot to count: slower loss can wait."""

LEAST_COVERED_S = 7 * 86_400
"""Time backed by readings that the ledger must hold: before, the loss is reckoned, not measured."""

LEAST_DAYS = 14.0
"""Days a lot must have been here: before, the loss tells of the place it came from."""


@dataclass(frozen=True, slots=True)
class LossAhead:
    """Lots of a box that lose life faster than planned, the worst first."""

    times: float  # of the worst
    worst: str
    lots: list[str]


def loss_ahead(store: Store, box: Box, now_ms: int, limit: float) -> LossAhead | None:
    """Compare the loss of each lot's last 30 days with that in the box as planned.

    Parameters
    ----------
    store : Store
        Lots and ledger.
    box : Box
        The box.
    now_ms : int
        The time.
    limit : float
        Lots above so many times the planned loss are named.

    Returns
    -------
    LossAhead or None
        ``None`` if there is nothing to compare. ``lots`` is empty if none is above the limit.
    """
    here = [
        lot
        for lot, stay in lots_here(store, box.slug, now_ms)
        if now_ms - stay.from_ms >= LEAST_DAYS * 86_400_000
    ]
    found = [
        (times, lot.code)
        for lot, loss in zip(here, Losses(store, here).up_to(now_ms), strict=True)
        if (times := _times(lot, loss, box)) is not None
    ]
    if not found:
        return None
    found.sort(key=lambda each: (-each[0], each[1]))
    return LossAhead(*found[0], [code for times, code in found if times > limit])


def _times(lot: Lot, loss: LotLoss, box: Box) -> float | None:
    """Recent loss as a multiple of the planned one; 0 where it does not matter yet."""
    if loss.recent_per_day is None or (loss.covered_s or 0.0) < LEAST_COVERED_S:
        return None
    try:
        seed = kind(lot.kind)
        model = model_on(basis_for(seed), seed)
    except (NoLifeModelError, UnknownNameError):
        return None
    minimum = seed.minimum_pct.value if lot.minimum_pct is None else lot.minimum_pct
    if lot.label_pct is None or not 0 < minimum < 100:
        return None
    budget = ned(min(max(lot.label_pct, 0.1), 99.9) / 100) - ned(minimum / 100)
    if loss.recent_per_day * 30.0 < LEAST_BURN * budget:
        return 0.0
    erh_pct = PLANNED_OPEN_PCT if box.type in OPEN_TYPES else box.target_high_pct
    temp_c = PLANNED_C.get(box.type, PLANNED_ROOM_C)
    moisture = equilibrium_mc_dry_pct(model, min(erh_pct, 85.0), max(temp_c, 0.0))
    return loss.recent_per_day / loss_rate_per_day(model, moisture, temp_c)
