"""When alerts are told: what holds for a box or everywhere, set and put back on the pages."""

from collections.abc import Callable
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response

from hilum.domain.alerts import RuleSetting
from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Box
from hilum.keeping.watching.rules import RULES, Rule, is_on, rule
from hilum.keeping.watching.ruleset import (
    Settings,
    holds_words,
    reset_rule,
    set_rule,
    settings_of,
    usual,
)
from hilum.web.deeds.doing import Deed, Problem, filled, target
from hilum.web.deeds.tellingdeeds import telling_rows
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import WebParts
from hilum.web.render import Renderer
from hilum.web.views.contexts import FormPage
from hilum.web.views.pieces import Fact, Field, FormView, Link, Option
from hilum.web.views.said import said
from hilum.web.views.seasoncontexts import RuleRow, RulesPage

LIST, SET, RESET = "/rules", "/rules/set", "/rules/reset"
ON, OFF = "on", "off"
EVERYWHERE_ONLY = frozenset({"network"})
"""Rules about all boxes together."""

HOUR_S = 3600
FOR_ALL = "What is set here holds in every box that has no setting of its own."


def rules_page(parts: WebParts, render: Renderer) -> Callable[..., Response]:
    """All rules, as they hold in a box or everywhere."""

    def page(request: Request, box: str = "", did: str = "") -> Response:
        found = parts.store.box(box) if box else None
        settings = settings_of(parts.store)
        context = RulesPage(
            title=f"Alerts of {found.name}" if found else "Alerts of all boxes",
            said=said(parts.store, did, _list_url(box), box=box),
            back=_back(found),
            intro="" if found else FOR_ALL,
            telling=() if found else telling_rows(parts),
            rows=tuple(
                _row(each, found, settings)
                for each in RULES.values()
                if found is None or each.key not in EVERYWHERE_ONLY
            ),
        )
        return render(request, "rules.html", context)

    return page


def _list_url(box: str) -> str:
    return target(LIST, box=box)


def _back(box: Box | None) -> Link:
    return Link(box.name, f"/boxes/{box.slug}") if box else Link("Settings", "/settings")


def _row(wanted: Rule, box: Box | None, settings: Settings) -> RuleRow:
    slug = box.slug if box else ""
    own, everywhere = (wanted.key, slug) in settings, (wanted.key, "") in settings
    state = "set for all boxes" if everywhere else "as usual"
    if own and box is not None:
        state = "set for this box"
    return RuleRow(
        title=wanted.title,
        about=f"Looks at: {wanted.quantity}. It is {state}.",
        holds=holds_words(wanted, box, settings),
        change=f"{SET}?{urlencode({'rule': wanted.key, 'box': slug})}",
        reset=reset_form(wanted, slug) if own else None,
    )


def reset_form(wanted: Rule, box: str) -> FormView:
    """Make the one button that takes a setting away."""
    words = "As in all boxes" if box else "As usual"
    return FormView(RESET, words, (), hidden=(("rule", wanted.key), ("box", box)))


def rule_deeds(parts: WebParts) -> tuple[Deed, ...]:
    """Give the deeds of rules."""
    return (_set(parts), _reset(parts))


def _asked(parts: WebParts, form: Form) -> tuple[Rule, Box | None]:
    slug = form.text("box")
    return rule(form.text("rule")), parts.store.box(slug) if slug else None


def _set(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        wanted, box = _asked(parts, form)
        settings = settings_of(parts.store)
        view = _set_form(wanted, box, settings)
        where = box.name if box else "all boxes"
        facts = (
            Fact("Now", holds_words(wanted, box, settings)),
            Fact("By itself", wanted.limit_words, f"{wanted.source}. Status: {wanted.status}."),
        )
        return FormPage(
            f"{wanted.title}: {where}",
            Link("all rules", _list_url(box.slug if box else "")),
            filled(view, form, problem),
            (f"It looks at: {wanted.quantity}.", "What you leave empty is as usual."),
            facts,
        )

    def act(key: str, typed: Typed) -> str:
        del key
        wanted, box = _asked(parts, typed.form)
        slug = box.slug if box else ""
        made = RuleSetting(
            wanted.key,
            slug,
            typed.number("limit"),
            typed.number("release"),
            _seconds(typed, "dwell_s"),
            _seconds(typed, "repeat_s"),
            _is_on(typed),
        )
        if _is_usual(made, box, settings_of(parts.store)):
            return _list_url(slug)
        event = set_rule(parts.store, made, parts.clock.now_ms())
        return target(LIST, [event], box=slug)

    return Deed(SET, page, act)


def _is_usual(made: RuleSetting, box: Box | None, settings: Settings) -> bool:
    """Whether nothing was set before and nothing is set now."""
    if (made.rule, made.box) in settings:
        return False
    everywhere = settings.get((made.rule, ""))
    on = is_on(RULES[made.rule], box) if everywhere is None else everywhere.on
    return made == RuleSetting(made.rule, made.box, on=on)


def _set_form(wanted: Rule, box: Box | None, settings: Settings) -> FormView:
    slug = box.slug if box else ""
    own = settings.get((wanted.key, slug))
    everywhere = settings.get((wanted.key, ""), RuleSetting(wanted.key, on=is_on(wanted, box)))
    held = own or RuleSetting(wanted.key, slug, on=everywhere.on)
    limit, release, dwell, repeat = usual(wanted, box, settings)
    options = (Option(ON, "yes"), Option(OFF, "no"))
    most = f"from {wanted.low:g} to {wanted.high:g}"
    fields = (
        Field("on", "Told of at all", "pick", ON if held.on else OFF, options=options),
        Field("limit", "Limit", "decimal", _number(held.limit), unit=wanted.unit,
              hint=f"Usually {limit}; {most}."),
        Field("release", "Over again at", "decimal", _number(held.release), unit=wanted.unit,
              hint=f"Usually {release}."),
        Field("dwell_s", "It must last", "decimal", _hours(held.dwell_s), unit="hours",
              hint=f"Usually {dwell}. 0: told at once."),
        Field("repeat_s", "Reminder after", "decimal", _hours(held.repeat_s), unit="hours",
              hint=f"Usually {repeat}. 0: no reminders."),
    )  # fmt: skip
    return FormView(SET, "Save", fields, hidden=(("rule", wanted.key), ("box", slug)))


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _hours(seconds: int | None) -> str:
    return "" if seconds is None else f"{seconds / HOUR_S:.6g}"


def _seconds(typed: Typed, field: str) -> int | None:
    hours = typed.number(field)
    return None if hours is None else round(hours * HOUR_S)


def _is_on(typed: Typed) -> bool:
    if typed.text("on") not in {ON, OFF}:
        raise InvalidInputError("Choose one of these.", "on")
    return typed.text("on") == ON


def _reset(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        wanted, box = _asked(parts, form)
        view = filled(reset_form(wanted, box.slug if box else ""), form, problem)
        now = Fact("Now", holds_words(wanted, box, settings_of(parts.store)))
        back = Link("all rules", _list_url(box.slug if box else ""))
        return FormPage(f"{wanted.title}: as usual", back, view, (), (now,))

    def act(key: str, typed: Typed) -> str:
        del key
        wanted, box = _asked(parts, typed.form)
        slug = box.slug if box else ""
        event = reset_rule(parts.store, wanted.key, slug, parts.clock.now_ms())
        return target(LIST, [event], box=slug)

    return Deed(RESET, page, act)
