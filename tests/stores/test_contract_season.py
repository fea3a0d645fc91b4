"""Plans for a season: what every store must do with them."""

from dataclasses import replace
from datetime import date

import pytest

from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import PlanLine, SeasonPlan
from hilum.domain.ports import Store

PLAN = SeasonPlan(0, "Spring 2027", date(2027, 3, 1), "given", 4.0, 25.0, "first try")
LINES = (
    PlanLine("lettuce", 50, "Ännchen", 100, None, 12.5, 0.8, "early"),
    PlanLine("onion", 400, packet_plants=250),
    PlanLine("lettuce", 20),
)


def test_plan_comes_back_whole(store: Store) -> None:
    """A plan is kept with its lines in their order; saving again replaces all of them."""
    kept = store.save_plan(PLAN, LINES)
    assert kept == replace(PLAN, id=kept.id)
    assert store.season_plan(kept.id) == kept
    assert store.plan_lines(kept.id) == list(LINES)
    changed = replace(kept, name="Spring", storage="recent", temp_c=None, rh_pct=None)
    assert store.save_plan(changed, LINES[1:2]) == changed
    assert store.season_plans() == [changed]
    assert store.plan_lines(kept.id) == [LINES[1]]


def test_plans_are_listed_by_sowing_date(store: Store) -> None:
    """The plan that is sown first comes first; of two of one date the older."""
    late = store.save_plan(PLAN, LINES)
    early = store.save_plan(replace(PLAN, sow_on=date(2026, 9, 1)), ())
    again = store.save_plan(PLAN, ())
    assert store.season_plans() == [early, late, again]
    assert store.plan_lines(early.id) == []


def test_dropped_plan_is_gone(store: Store) -> None:
    """A plan that was dropped is unknown, its lines too, and its number is not given again."""
    kept = store.save_plan(PLAN, LINES)
    store.drop_plan(kept.id)
    assert store.season_plans() == []
    for asked in (store.season_plan, store.plan_lines, store.drop_plan):
        with pytest.raises(NotFoundError, match="no season plan"):
            asked(kept.id)
    with pytest.raises(NotFoundError, match="no season plan"):
        store.save_plan(kept, LINES)
    assert store.save_plan(PLAN, LINES).id != kept.id


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (replace(LINES[0], plants=0), "Line 1: plants must be between 1"),
        (replace(LINES[0], packet_seeds=0), "packet_seeds"),
        (replace(LINES[0], loss_pct=95.0), "loss_pct must be between 0 and 90"),
        (replace(LINES[0], field_factor=1.5), "field_factor"),
    ],
)
def test_line_that_cannot_be_is_refused(store: Store, line: PlanLine, said: str) -> None:
    """A line that wants what cannot be keeps the whole plan out, and says why."""
    with pytest.raises(InvalidInputError, match=said):
        store.save_plan(PLAN, [line])
    assert store.season_plans() == []


def test_plan_needs_a_name_and_known_kinds(store: Store) -> None:
    """A plan without a name, or for a kind nobody knows, is refused."""
    with pytest.raises(InvalidInputError, match="needs a name"):
        store.save_plan(replace(PLAN, name=" "), LINES)
    with pytest.raises(NotFoundError, match="kind of seed “stone”"):
        store.save_plan(PLAN, [PlanLine("stone", 5)])
    assert store.season_plans() == []
