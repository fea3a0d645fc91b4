"""What all signs of one round of the watch share."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar, cast

import numpy as np

from hilum.domain.alerts import Alert, AlertState, RuleSetting
from hilum.domain.model import Box, Floats, Ints
from hilum.domain.ports import Store
from hilum.keeping.watching.rules import RULES, Limits, Rule, limits_for

T = TypeVar("T")
About = tuple[str, str | None, str | None]

NOTHING: tuple[Ints, Floats] = (np.empty(0, np.int64), np.empty(0))
"""A series that says nothing."""


def about(alert: Alert) -> About:
    """Say what tells an alert from the others: a rule has one open alert for each."""
    return alert.rule, alert.box, alert.sensor


class Slow:
    """Remembers what is costly to work out, for a while; forgetting it changes no answer.

    Parameters
    ----------
    times : int
        It remembers for so many times as long as it is asked to.
    """

    def __init__(self, times: int = 1) -> None:
        self._times = times
        self._kept: dict[tuple[object, ...], tuple[int, object]] = {}
        self._based_on: object = None

    def rest_on(self, facts: object) -> None:
        """Forget everything if these facts are not as they were."""
        if facts != self._based_on:
            self._kept.clear()
            self._based_on = facts

    def get(self, name: tuple[object, ...], now_ms: int, every_ms: int, make: Callable[[], T]) -> T:
        """Give what was made at most so long ago, or make it."""
        kept = self._kept.get(name)
        if kept is None or not 0 <= now_ms - kept[0] < every_ms * self._times:
            kept = self._kept[name] = (now_ms, make())
        return cast("T", kept[1])


@dataclass(frozen=True, slots=True)
class Scene:
    """One round: the time, what is set, what is open.

    Attributes
    ----------
    store : Store
        Everything that is kept.
    now_ms : int
        The time of the round.
    settings : mapping
        Settings of rules, by rule and box.
    open_alerts : mapping
        Open alerts by rule, box and sensor.
    local : callable
        Writes a time [ms] for people.
    slow : Slow
        Lives on from round to round.
    """

    store: Store
    now_ms: int
    settings: Mapping[tuple[str, str], RuleSetting]
    open_alerts: Mapping[About, Alert]
    local: Callable[[int], str]
    slow: Slow

    def limits(self, key: str, box: Box | None, own_limit: float | None = None) -> Limits | None:
        """Work out what holds for a rule here; ``None`` if it is off."""
        return limits_for(RULES[key], box, self.settings, own_limit)

    def open_alert(self, rule: Rule, box: str | None, sensor: str | None = None) -> Alert | None:
        """Give the open alert about this, if there is one."""
        return self.open_alerts.get((rule.key, box, sensor))

    def is_told(self, rule: Rule, box: str | None, sensor: str | None = None) -> bool:
        """Whether an alert about this is raised and not over."""
        alert = self.open_alert(rule, box, sensor)
        return alert is not None and alert.state is not AlertState.WAITING
