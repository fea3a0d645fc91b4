"""Setting the rules: what is refused, what is written in the journal, and how it reads."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from hilum.domain.alerts import RuleSetting
from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import Box, Event, EventType
from hilum.domain.ports import Store
from hilum.keeping.watching.boxsigns import MOULD_STARCHY_PCT
from hilum.keeping.watching.judging import span
from hilum.keeping.watching.rules import (
    RULES,
    Limits,
    Rule,
    Side,
    default_limit,
    limits_for,
    rule,
)

LONGEST_DWELL_S = 30 * 86_400
SHORTEST_REPEAT_S, LONGEST_REPEAT_S = 3600, 365 * 86_400

Settings = Mapping[tuple[str, str], RuleSetting]


def settings_of(store: Store) -> dict[tuple[str, str], RuleSetting]:
    """Give all settings by rule and box."""
    return {(each.rule, each.box): each for each in store.rule_settings()}


def set_rule(store: Store, setting: RuleSetting, now_ms: int) -> Event:
    """Check and keep a setting of a rule, with a line in the journal; see ``check_setting``."""
    check_setting(setting, store.boxes(), settings_of(store))
    store.save_rule_setting(setting)
    title, where = RULES[setting.rule].title, _where(store, setting.box)
    if not setting.on:
        text = f"The rule “{title}” was switched off{where}."
    else:
        text = f"The rule “{title}” was set{where}: {setting_words(setting)}."
    data = (
        ("action", "set rule"), ("rule", setting.rule), ("limit", setting.limit),
        ("release", setting.release), ("dwell_s", setting.dwell_s),
        ("repeat_s", setting.repeat_s), ("on", float(setting.on)),
    )  # fmt: skip
    return _journal(store, setting.box, text, data, now_ms)


def reset_rule(store: Store, key: str, box: str, now_ms: int) -> Event:
    """Go back to what a rule is without this setting, with a line in the journal.

    Raises
    ------
    NotFoundError
        There is no such rule or box, or it was not set.
    """
    title = rule(key).title
    if (key, box) not in settings_of(store):
        raise NotFoundError(f"The rule “{title}” is as usual here.")
    text = f"The rule “{title}” is as usual again{_where(store, box)}."
    store.drop_rule_setting(key, box)
    return _journal(store, box, text, (("action", "reset rule"), ("rule", key)), now_ms)


def _where(store: Store, box: str) -> str:
    return f" in {store.box(box).name}" if box else ""


def _journal(
    store: Store,
    box: str,
    text: str,
    data: tuple[tuple[str, float | str | None], ...],
    now_ms: int,
) -> Event:
    event = Event(0, now_ms, EventType.SETTING, box=box or None, text=text, data=data)
    return store.add_event(event)


def setting_words(setting: RuleSetting) -> str:
    """Say what a setting changes, such as "limit 40 %, no reminders"."""
    wanted = rule(setting.rule)
    parts = []
    if setting.limit is not None:
        parts.append(f"limit {setting.limit:g} {wanted.unit}")
    if setting.release is not None:
        parts.append(f"over at {setting.release:g} {wanted.unit}")
    if setting.dwell_s is not None:
        parts.append(f"must last {span(setting.dwell_s)}" if setting.dwell_s else "told at once")
    if setting.repeat_s is not None:
        again = f"reminder after {span(setting.repeat_s)}"
        parts.append(again if setting.repeat_s else "no reminders")
    return ", ".join(parts) or "switched on"


def holds_words(wanted: Rule, box: Box | None, settings: Settings) -> str:
    """Say what holds for a rule in a box, or where nothing else is said for a box, in sentences."""
    limits = limits_for(wanted, box, settings)
    if limits is None:
        return "Switched off."
    over, back = ("above", "below") if wanted.side is Side.ABOVE else ("below", "above")
    unit = wanted.unit
    if math.isnan(limits.limit):
        first = f"Told {over} its limit: {wanted.limit_words}"
        end = f"{wanted.band:g} {unit} {back} it" if wanted.band else "there"
    else:
        first = f"Told {over} {_amount(limits.limit, unit)}"
        end = f"at {_amount(limits.release, unit)}"
    lasts = f", once it has lasted {span(limits.dwell_s)}" if limits.dwell_s else ", at once"
    again = f"Reminder after {span(limits.repeat_s)}." if limits.repeat_s else "No reminders."
    return f"{first}{lasts}. Over {end}. {again}"


def _amount(value: float, unit: str) -> str:
    return f"{value:g} {unit.removesuffix('s') if value == 1 else unit}"


def usual(wanted: Rule, box: Box | None, settings: Settings) -> tuple[str, str, str, str]:
    """Say what limit, release, dwell and repeat are where a box says nothing else, in words."""
    others = {name: each for name, each in settings.items() if name[1] != (box.slug if box else "")}
    held = limits_for(wanted, box, _switched_on(wanted, others))
    assert held is not None  # noqa: S101 - it was switched on
    back = "below" if wanted.side is Side.ABOVE else "above"
    limit = wanted.limit_words if math.isnan(held.limit) else f"{held.limit:g} {wanted.unit}"
    release = f"{wanted.band:g} {wanted.unit} {back} the limit" if wanted.band else "the limit"
    if not math.isnan(held.release) and held.release != _plain_release(wanted, held):
        release = f"{held.release:g} {wanted.unit}"
    return (
        limit,
        release,
        span(held.dwell_s) if held.dwell_s else "at once",
        span(held.repeat_s) if held.repeat_s else "none",
    )


def _plain_release(wanted: Rule, held: Limits) -> float:
    return held.limit - wanted.side.value * wanted.band


def _switched_on(wanted: Rule, settings: Settings) -> Settings:
    """The same settings with a rule on, whatever a box is by nature."""
    everywhere = settings.get((wanted.key, ""), RuleSetting(wanted.key))
    return {**settings, (wanted.key, ""): replace(everywhere, on=True)}


def check_setting(
    setting: RuleSetting, boxes: Iterable[Box], settings: Settings | None = None
) -> None:
    """Refuse a setting that could not work.

    Parameters
    ----------
    setting : RuleSetting
        The setting.
    boxes : iterable of Box
        All boxes.
    settings : mapping, optional
        All settings by rule and box, which it must not contradict.

    Raises
    ------
    NotFoundError
        There is no such rule or box.
    InvalidInputError
        A figure is out of range, the release limit lies on the wrong side of the limit, or damp
        would be told after mould.
    """
    wanted = rule(setting.rule)
    known = {box.slug: box for box in boxes}
    if setting.box and setting.box not in known:
        raise NotFoundError(f"There is no box “{setting.box}” here.")
    for field in ("limit", "release"):
        value = getattr(setting, field)
        if value is not None and not wanted.low <= value <= wanted.high:  # false for NaN too
            raise InvalidInputError(
                f"{wanted.title}: the {field} must lie between {wanted.low:g} and "
                f"{wanted.high:g} {wanted.unit}, not {value:g}.",
                field,
            )
    _check_times(wanted, setting)
    after = {**(settings or {}), (setting.rule, setting.box): setting}
    _check_release(wanted, setting, known.get(setting.box), after)
    here = [known[setting.box]] if setting.box else list(known.values())
    _check_order(setting, [box for box in here if not box.archived], after)


def _check_times(wanted: Rule, setting: RuleSetting) -> None:
    if setting.dwell_s is not None and not 0 <= setting.dwell_s <= LONGEST_DWELL_S:
        raise InvalidInputError(
            f"{wanted.title}: the time it must last lies between 0 and 30 days.", "dwell_s"
        )
    if setting.repeat_s and not SHORTEST_REPEAT_S <= setting.repeat_s <= LONGEST_REPEAT_S:
        raise InvalidInputError(
            f"{wanted.title}: reminders come at most every hour and at least every year; "
            "0 means none.",
            "repeat_s",
        )


def _check_release(wanted: Rule, setting: RuleSetting, box: Box | None, after: Settings) -> None:
    limit = setting.limit
    if limit is None:
        everywhere = after.get((setting.rule, ""))
        limit = default_limit(wanted, box)
        if everywhere is not None and everywhere.limit is not None:
            limit = everywhere.limit
    release = setting.release
    if release is None or math.isnan(limit) or wanted.side.value * (release - limit) <= 0:
        return
    side = "above" if wanted.side is Side.ABOVE else "below"
    raise InvalidInputError(
        f"{wanted.title}: the release limit ({release:g} {wanted.unit}) may not lie {side} the "
        f"limit ({limit:g} {wanted.unit}): the alert would be over as soon as it is raised.",
        "release",
    )


def _check_order(setting: RuleSetting, boxes: Sequence[Box], after: Settings) -> None:
    """Damp is the early word and mould the late one; the other way round one contradicts the other.

    Where the seed is starchy mould begins later: that limit is taken, to refuse only what is sure.
    """
    if setting.rule not in {"damp", "mould"} or not setting.on:
        return
    for box in boxes:
        damp = limits_for(RULES["damp"], box, after)
        mould = limits_for(RULES["mould"], box, after, MOULD_STARCHY_PCT)
        if damp is not None and mould is not None and damp.limit > mould.limit:
            raise InvalidInputError(
                f"In {box.name} “Damp” would be told above {damp.limit:g} % and “Mould risk” above "
                f"{mould.limit:g} % already: damp is the earlier word of the two.",
                "limit",
            )
