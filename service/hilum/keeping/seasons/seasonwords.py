"""What a season's answers say, in words."""

from hilum.domain.model import Lot, PlanLine
from hilum.keeping.seasons.seasonline import LineLot
from hilum.science.decisions import Judgement, Plan, Verdict, new_seeds
from hilum.science.posterior import Band

STATED = (
    "New seed counts on the minimum germination for its kind: a packet holds what is promised.",
    "Plants are reckoned to be reached with nine chances in ten.",
    "Lots are taken as independent: what is wrong with one need not be wrong with the next.",
    "Lines that name a variety choose their lots before lines that take any.",
)
"""What holds for every plan."""


def verdict_words(judgement: Judgement, at_sowing: Band, plan: Plan) -> str:
    """Say what to do with a lot and why."""
    low, high = float(at_sowing.low_pct), float(at_sowing.high_pct)
    about = f"about {float(at_sowing.median_pct):.0f} % at sowing ({low:.0f}–{high:.0f} %)"
    without = _without_test(judgement, plan)
    if judgement.verdict is not Verdict.TEST_FIRST:
        return f"{about}: {without}"
    return (
        f"{about}: test {judgement.test_seeds} seeds first, for with a chance of "
        f"{100.0 * judgement.chance_of_change:.0f} % the result changes what to do. Without a "
        f"test: {without}"
    )


def _without_test(judgement: Judgement, plan: Plan) -> str:
    if judgement.without_test is Verdict.SOW:
        return "sow as usual."
    if judgement.without_test is Verdict.SOW_THICKER:
        return f"sow {judgement.thickness or 1.0:.1f} times as thick as new seed."
    return (
        f"replace it; to be sure of {plan.plants_wanted:,} plants it would need more than "
        f"{plan.thickest:g} times the {new_seeds(plan):,} seeds of new seed."
    )


def answer(line: PlanLine, told: list[LineLot], chance: float, packets: int) -> str:
    """Answer a line in a sentence or two."""
    parts = [f"{each.sow_seeds:,} seeds of {each.lot.code}" for each in told if each.sow_seeds]
    left = any(each.hand.seeds != 0 for each in told)
    none = "None of the seed in hand is to be counted on" if left else "There is no seed to sow"
    own = f"Sow {', '.join(parts)}" if parts else none
    if packets < 0:
        return f"{own}; no number of packets would give {line.plants:,} plants."
    if not packets:
        return f"{own}; nothing to order."
    bought = f"order {packets} packet{'s' if packets > 1 else ''}"
    if not parts:
        return f"{own}: {bought}."
    reached = f"{100.0 * chance:.0f} %" if chance >= 0.005 else "next to nothing"
    return f"{own}; by themselves they reach the plants with a chance of {reached}: {bought}."


def duplicate(offer: list[Lot], packets: int) -> str:
    """Say how many lots of this there are, where that is worth knowing before ordering."""
    count = len(offer)
    names = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    if count < (1 if packets else 2):
        return ""
    said = names[count - 1] if count <= len(names) else f"{count}"
    return f"You already have {said} lot{'s' if count > 1 else ''} of this."


def line_notes(
    line: PlanLine, told: list[LineLot], packet_words: str, packets: int
) -> tuple[str, ...]:
    """Say what was taken for granted in a line."""
    notes = []
    unknown = [each.lot.code for each in told if each.hand.seeds is None]
    if unknown:
        listed = ", ".join(unknown)
        notes.append(f"Number of seeds not known, taken as enough: {listed}. Count or weigh them.")
    if packets > 0 or line.packet_plants is not None:
        notes.append(f"Reckoned with {packet_words}.")
    notes.append(
        f"{line.loss_pct:g} % of seedlings are taken as lost after emergence"
        + (
            f", and {100 * line.field_factor:g} % of germinating seed as emerging where it is sown."
            if line.field_factor < 1.0
            else "."
        )
    )
    return tuple(notes)
