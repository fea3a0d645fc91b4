"""Plans for a season in memory."""

from collections.abc import Sequence
from dataclasses import replace

from hilum.domain.model import PlanLine, SeasonPlan
from hilum.stores import rules
from hilum.stores.memory.state import State, found


class SeasonSection:
    """What is to be sown."""

    _state: State

    def season_plans(self) -> Sequence[SeasonPlan]:
        """See the port."""
        with self._state.held():
            plans = [plan for plan, _ in self._state.plans.values()]
        return sorted(plans, key=lambda plan: (plan.sow_on, plan.id))

    def season_plan(self, plan_id: int) -> SeasonPlan:
        """See the port."""
        with self._state.held():
            return found(self._state.plans, plan_id, "season plan")[0]

    def plan_lines(self, plan_id: int) -> Sequence[PlanLine]:
        """See the port."""
        with self._state.held():
            return list(found(self._state.plans, plan_id, "season plan")[1])

    def save_plan(self, plan: SeasonPlan, lines: Sequence[PlanLine]) -> SeasonPlan:
        """See the port."""
        rules.check_plan(plan, lines)
        with self._state.held():
            if plan.id:
                found(self._state.plans, plan.id, "season plan")
            else:
                self._state.last_plan += 1
            kept = replace(plan, id=plan.id or self._state.last_plan)
            self._state.plans[kept.id] = (kept, tuple(lines))
            return kept

    def drop_plan(self, plan_id: int) -> None:
        """See the port."""
        with self._state.held():
            found(self._state.plans, plan_id, "season plan")
            del self._state.plans[plan_id]
