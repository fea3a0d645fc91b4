"""The rules of the watch: what is looked at, from when on it matters, and how it is said.

A rule is broken once its value has stayed past the limit for the dwell time; it is over once the
value has come back past the release limit. Between the two nothing changes, so that a value that
hovers at the limit does not raise one alert after the other.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from hilum.domain.alerts import RuleSetting
from hilum.domain.errors import NotFoundError
from hilum.domain.model import Box, BoxType
from hilum.keeping.watching.ruletable import NO_SOURCE, ROWS

__all__ = ["NO_SOURCE", "RULES", "Limits", "Rule", "Side", "limits_for", "rule"]

OPEN_TYPES = frozenset({BoxType.DRAWER, BoxType.CARDBOARD, BoxType.SHELF})
"""Boxes that breathe with the room: they can be no drier than it is."""

WARM_C = {BoxType.FRIDGE: 10.0, BoxType.FREEZER: -10.0}
"""Too warm [°C]. Fridge: upper end of medium-term storage, 5 to 10 °C (FAO 2014, 4.2.4, read).
Freezer: 5 °C above the upper end of -18 ± 3 °C (FAO 2014, 4.2.3, read; the margin is ours)."""

WARM_ROOM_C = 25.0
"""Too warm elsewhere [°C]: common practice, no source. Each 5 °C about halves the life of seed
(Harrington, read)."""

COLD_DWELL_S = {"warm": 36 * 3600, "damp": 12 * 3600, "open": 12 * 3600}
"""Dwell in fridge and freezer [s]. A box may stand in the room for the day it needs to warm up, and
some hours. Opened, its air is dry again later than in a room: seed takes up water about twice as
slowly for each 10 °C of cooling (memory, low)."""


class Side(Enum):
    """On which side of the limit it is bad."""

    ABOVE = 1
    BELOW = -1


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule, as the table has it.

    Attributes
    ----------
    key, title : str
        Name for settings, and for people.
    unit, quantity : str
        What is compared with the limit.
    side : Side
        Where it is bad.
    limit : float or None
        Default limit; ``None``: it depends on the box, see ``limit_words``.
    limit_words : str
        The default limit for people.
    band : float
        How far the release limit lies on the good side of the limit.
    low, high : float
        Range in which a limit can be set.
    dwell_s, repeat_s : int
        Default dwell, and time between reminders (0: none).
    urgent : bool
        Told in quiet hours too.
    sentence, advice, over : str
        What is wrong, what to do, and that it is over; ``{…}`` is filled in.
    source, status : str
        Where the limit comes from.
    """

    key: str
    title: str
    unit: str
    quantity: str
    side: Side
    limit: float | None
    limit_words: str
    band: float
    low: float
    high: float
    dwell_s: int
    repeat_s: int
    sentence: str
    advice: str
    over: str
    source: str
    status: str
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class Limits:
    """What holds for one rule in one box."""

    limit: float
    release: float
    dwell_s: int
    repeat_s: int
    side: Side

    def past(self, value: float) -> bool:
        """Whether a value lies past the limit; at the limit it does not."""
        return self.side.value * (value - self.limit) > 0

    def calm(self, value: float) -> bool:
        """Whether a value has come back to the release limit or past it."""
        return self.side.value * (value - self.release) <= 0


def _rule(row: Mapping[str, object]) -> Rule:
    return Rule(**{**row, "side": Side[str(row["side"])]})  # type: ignore[arg-type]


RULES: Mapping[str, Rule] = {str(row["key"]): _rule(row) for row in ROWS}


def rule(key: str) -> Rule:
    """Give a rule by its key; NotFoundError if there is none."""
    if key not in RULES:
        raise NotFoundError(f"There is no rule “{key}”; there are {', '.join(RULES)}.")
    return RULES[key]


def is_on(rule: Rule, box: Box | None) -> bool:
    """Whether a rule is on by default."""
    return box is None or box.type not in OPEN_TYPES or rule.key not in {"damp", "open"}


def default_limit(rule: Rule, box: Box | None) -> float:
    """Limit of a rule by itself, as far as the kind of box decides it."""
    if rule.limit is not None:
        return rule.limit
    if rule.key == "damp" and box is not None:
        return box.target_high_pct
    if rule.key == "warm" and box is not None:
        return WARM_C.get(box.type, WARM_ROOM_C)
    return math.nan  # the sign brings its own


def limits_for(
    rule: Rule,
    box: Box | None,
    settings: Mapping[tuple[str, str], RuleSetting],
    own_limit: float | None = None,
) -> Limits | None:
    """Work out what holds for a rule in a box; ``None`` if it is switched off.

    Parameters
    ----------
    rule : Rule
        The rule.
    box : Box or None
        The box; ``None`` for what is in no box.
    settings : mapping
        All settings by rule and box; those of the box win over those for all boxes.
    own_limit : float, optional
        Limit that follows from what is watched (for example from a sensor's own pace).
    """
    default = default_limit(rule, box) if own_limit is None else own_limit
    setting = _merged(rule, box, settings)
    if not setting.on:
        return None
    limit = default if setting.limit is None else setting.limit
    release = limit - rule.side.value * rule.band
    if setting.release is not None and rule.side.value * (setting.release - limit) <= 0:
        release = setting.release
    dwell_s = default_dwell_s(rule, box) if setting.dwell_s is None else setting.dwell_s
    repeat_s = rule.repeat_s if setting.repeat_s is None else setting.repeat_s
    return Limits(limit, release, dwell_s, repeat_s, rule.side)


def default_dwell_s(rule: Rule, box: Box | None) -> int:
    """Dwell of a rule by itself [s]."""
    if box is not None and box.type in WARM_C:
        return COLD_DWELL_S.get(rule.key, rule.dwell_s)
    return rule.dwell_s


def _merged(
    rule: Rule, box: Box | None, settings: Mapping[tuple[str, str], RuleSetting]
) -> RuleSetting:
    """Put the setting of a box over that for all boxes."""
    default = RuleSetting(rule.key, on=is_on(rule, box))
    everywhere = settings.get((rule.key, ""), default)
    own = settings.get((rule.key, box.slug)) if box is not None else None
    if own is None:
        return everywhere
    return RuleSetting(
        rule.key,
        own.box,
        everywhere.limit if own.limit is None else own.limit,
        everywhere.release if own.release is None else own.release,
        everywhere.dwell_s if own.dwell_s is None else own.dwell_s,
        everywhere.repeat_s if own.repeat_s is None else own.repeat_s,
        own.on,
    )
