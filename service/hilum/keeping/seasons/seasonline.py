"""One line of a season plan: how much of which lot to sow, and what to order beside."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hilum.domain.model import Floats, Lot, PlanLine
from hilum.keeping.seasons.seasonlots import Hand
from hilum.science.decisions import Judgement, Plan, Verdict
from hilum.science.kinds import Kind
from hilum.science.posterior import Band
from hilum.science.sowing import CONFIDENCE, Levels, packets_to_order, plants_pmf

PACKET_SEEDS = 100
"""Seeds in a packet where nobody says: common practice, no source."""


@dataclass(frozen=True, slots=True)
class LineLot:
    """A lot that could serve a line.

    Attributes
    ----------
    lot : Lot
        The lot.
    box : str or None
        Name of the box it is in.
    hand : Hand
        Seeds left for this line, after the lines before it.
    at_sowing : Band or None
        Germination at sowing, as shown [%]; ``None`` where the kind has no life model.
    judgement : Judgement or None
        What to do with it if it had to do alone.
    sow_seeds : int
        Seeds of it to sow for this line.
    words : str
        The decision and its reason.
    notes : tuple of str
        What to say beside it.
    """

    lot: Lot
    box: str | None
    hand: Hand
    at_sowing: Band | None
    judgement: Judgement | None
    sow_seeds: int
    words: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Candidate:
    """A lot with what the arithmetic needs of it."""

    lot: Lot
    hand: Hand
    levels: Levels
    judgement: Judgement


@dataclass(frozen=True, slots=True)
class Share:
    """Seeds of each candidate to sow, the chance of the wanted plants, and packets beside."""

    seeds: tuple[int, ...]
    chance: float
    packets: int


def packet_seeds(line: PlanLine, fresh_pct: float) -> tuple[int, str]:
    """Seeds in a new packet, and where that number is from."""
    if line.packet_seeds is not None:
        return line.packet_seeds, f"{line.packet_seeds:,} seeds a packet"
    if line.packet_plants is not None:
        share = fresh_pct / 100.0 * survival(line)
        seeds = max(1, round(line.packet_plants / share))
        return seeds, (
            f"a packet for {line.packet_plants:,} plants, taken as {seeds:,} seeds: enough on "
            "average"
        )
    return PACKET_SEEDS, f"{PACKET_SEEDS} seeds a packet (our assumption)"


def survival(line: PlanLine) -> float:
    """Share of germinating seed that becomes a plant."""
    return (1.0 - line.loss_pct / 100.0) * line.field_factor


def science_plan(line: PlanLine, kind: Kind, *, time_to_test: bool) -> Plan:
    """Say what a line wants, as the rule of decisions takes it."""
    fresh = kind.minimum_pct.value
    return Plan(
        plants_wanted=line.plants,
        seeds_in_hand=None,
        fresh_pct=fresh,
        packet_seeds=packet_seeds(line, fresh)[0],
        emergence_loss_pct=round(100.0 * (1.0 - survival(line)), 9),
        test_seeds=50 if time_to_test else 0,
    )


def share_out(candidates: Sequence[Candidate], plan: Plan) -> Share:
    """Take seed from one lot after the other until the wanted plants are likely enough.

    Parameters
    ----------
    candidates : sequence of Candidate
        In the order in which they should be used; those to be replaced are passed over.
    plan : Plan
        What is wanted.

    Returns
    -------
    Share
        The lots count as independent of each other. Packets are ordered for what is missing.
    """
    wanted, loss = plan.plants_wanted, plan.emergence_loss_pct
    plants = np.zeros(wanted + 1)
    plants[0] = 1.0
    sown = []
    for each in candidates:
        seeds = 0
        if plants[-1] < CONFIDENCE - 1e-12 and each.judgement.without_test is not Verdict.REPLACE:
            seeds = _seeds_of(each, plants, plan)
            plants = combined(plants, plants_pmf(each.levels, seeds, wanted, loss))
        sown.append(seeds)
    if plants[-1] >= CONFIDENCE - 1e-12:
        return Share(tuple(sown), float(plants[-1]), 0)
    fresh = Levels.exactly(plan.fresh_pct)
    packets = packets_to_order(plants, fresh, plan.packet_seeds, loss)
    return Share(tuple(sown), float(plants[-1]), packets)


def combined(one: Floats, other: Floats) -> Floats:
    """Chances of plants from two lots together; the last entry is "all wanted, or more"."""
    both = np.convolve(one[:-1], other[:-1])[: len(one) - 1]
    total = np.zeros(len(one))
    total[: len(both)] = both
    total[-1] = max(0.0, 1.0 - both.sum())
    return total


def _seeds_of(each: Candidate, before: Floats, plan: Plan) -> int:
    """Fewest seeds of a lot that, with what is sown already, reach the wanted plants; or all."""
    need = each.judgement.seeds
    if each.hand.seeds is not None:
        need = min(need, each.hand.seeds)
    if before[0] == 1.0:
        return need
    wanted, loss = plan.plants_wanted, plan.emergence_loss_pct

    def enough(seeds: int) -> bool:
        own = plants_pmf(each.levels, seeds, wanted, loss)
        return bool(combined(before, own)[-1] >= CONFIDENCE - 1e-12)

    if not enough(need):
        return need
    low, high = 0, need
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high
