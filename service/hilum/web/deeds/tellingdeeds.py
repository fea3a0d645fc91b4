"""When people are told: quiet hours and the weekly digest, set and put back on the pages."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import time

from hilum.domain.alerts import DigestTime, QuietTimes
from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Event
from hilum.domain.ports import Clock
from hilum.keeping.watching.tellingtimes import (
    DAYS,
    digest_words,
    held,
    quiet_words,
    reset_digest,
    reset_quiet,
    set_digest,
    set_quiet,
)
from hilum.web.deeds.doing import Deed, Problem, filled, target
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import SettingShown, WebParts
from hilum.web.views.contexts import FormPage
from hilum.web.views.pieces import Fact, Field, FormView, Link, Option
from hilum.web.views.seasoncontexts import RuleRow

LIST = "/rules"
TO_LIST = Link("all rules", LIST)
QUIET, QUIET_BACK = "/rules/quiet", "/rules/quiet/reset"
DIGEST, DIGEST_BACK = "/rules/digest", "/rules/digest/reset"
ON, OFF = "on", "off"
BACK_WORDS = "As in the settings"

QUIET_ABOUT = (
    "Mail and push wait until they are over, but for what cannot wait: frost that can hurt seed, "
    "and a cold box that must stay shut."
)
DIGEST_ABOUT = "One message a week says how all boxes are, also when all is well."
QUIET_NAMES = ("channels.quiet_from", "channels.quiet_to")
DIGEST_NAMES = ("channels.digest", "channels.digest_day", "channels.digest_hour")
HERE = "the page of alerts"
DEFAULT = "default"


def telling_rows(parts: WebParts) -> tuple[RuleRow, RuleRow]:
    """When people are told, as it holds."""
    setting = parts.store.telling()
    now = held(setting, parts.telling)
    return (
        RuleRow(
            title="Quiet hours",
            about=_about(parts, QUIET_ABOUT, QUIET_NAMES, here=setting.quiet is not None),
            holds=quiet_words(now.quiet),
            change=QUIET,
            reset=_back_form(QUIET_BACK) if setting.quiet else None,
        ),
        RuleRow(
            title="Weekly digest",
            about=_about(parts, DIGEST_ABOUT, DIGEST_NAMES, here=setting.digest is not None),
            holds=digest_words(now.digest),
            change=DIGEST,
            reset=_back_form(DIGEST_BACK) if setting.digest else None,
        ),
    )


def _about(parts: WebParts, words: str, names: tuple[str, ...], *, here: bool) -> str:
    """Say what it does, and where what holds comes from."""
    return f"{words} It is {'set here' if here else _written(parts, names)}."


def _written(parts: WebParts, names: tuple[str, ...]) -> str:
    """Say where the settings have it from."""
    rows = parts.shown().rows if parts.shown else ()
    sources = {row.source: None for row in rows if row.name in names and row.source != DEFAULT}
    return f"as in {' and '.join(sources)}" if sources else "as usual"


def _back_form(path: str) -> FormView:
    return FormView(path, BACK_WORDS, ())


def with_set(parts: WebParts) -> Iterator[SettingShown]:
    """Give all settings, those that are set on a page as they hold."""
    setting = parts.store.telling()
    over: dict[str, str] = {}
    if setting.quiet is not None:
        clocks = (f"{setting.quiet.start}", f"{setting.quiet.end}")
        over |= zip(QUIET_NAMES, clocks, strict=True)
    if setting.digest is not None:
        digest = setting.digest
        words = ("yes" if digest.on else "no", DAYS[digest.weekday].lower(), str(digest.hour))
        over |= zip(DIGEST_NAMES, words, strict=True)
    for row in parts.shown().rows if parts.shown else ():
        yield replace(row, value=over[row.name], source=HERE) if row.name in over else row


def telling_deeds(parts: WebParts) -> tuple[Deed, ...]:
    """Give the deeds."""
    store, clock, written = parts.store, parts.clock, parts.telling
    return (
        _quiet(parts),
        _back(
            QUIET_BACK,
            "Quiet hours",
            quiet_words(written.quiet),
            lambda now_ms: reset_quiet(store, now_ms),
            clock,
        ),
        _digest(parts),
        _back(
            DIGEST_BACK,
            "Weekly digest",
            digest_words(written.digest),
            lambda now_ms: reset_digest(store, now_ms),
            clock,
        ),
    )


def _picked(typed: Typed, name: str, values: tuple[str, ...]) -> str:
    if typed.text(name) not in values:
        raise InvalidInputError("Choose one of these.", name)
    return typed.text(name)


def _on_field(label: str, *, on: bool) -> Field:
    options = (Option(ON, "yes"), Option(OFF, "no"))
    return Field("on", label, "pick", ON if on else OFF, options=options)


def _facts(now: str, written: str, source: str) -> tuple[Fact, ...]:
    return (Fact("Now", now), Fact("In the settings", written, f"It is {source}."))


def _quiet(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        quiet = held(parts.store.telling(), parts.telling).quiet
        on = quiet.start != quiet.end
        fields = (
            _on_field("Are there quiet hours?", on=on),
            Field("start", "From", "clock", f"{quiet.start:%H:%M}" if on else ""),
            Field("end", "Until", "clock", f"{quiet.end:%H:%M}" if on else "",
                  hint="The next morning, where it is earlier."),
        )  # fmt: skip
        facts = _facts(
            quiet_words(quiet), quiet_words(parts.telling.quiet), _written(parts, QUIET_NAMES)
        )
        view = FormView(QUIET, "Save", fields)
        return FormPage("Quiet hours", TO_LIST, filled(view, form, problem), (QUIET_ABOUT,), facts)

    def act(key: str, typed: Typed) -> str:
        del key
        made = _quiet_typed(typed)
        if made == held(parts.store.telling(), parts.telling).quiet:
            return LIST
        return target(LIST, [set_quiet(parts.store, made, parts.clock.now_ms())])

    return Deed(QUIET, page, act)


def _quiet_typed(typed: Typed) -> QuietTimes:
    if _picked(typed, "on", (ON, OFF)) == OFF:
        return QuietTimes(time.min, time.min)
    start, end = typed.clock("start"), typed.clock("end")
    if start is None:
        raise InvalidInputError("Say from when on.", "start")
    if end is None:
        raise InvalidInputError("Say until when.", "end")
    if start == end:
        raise InvalidInputError("From and until are the same: choose “no” for no hours.", "end")
    return QuietTimes(start, end)


def _digest(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        digest = held(parts.store.telling(), parts.telling).digest
        days = tuple(Option(str(at), day) for at, day in enumerate(DAYS))
        hours = tuple(Option(str(hour), f"{hour:02}:00") for hour in range(24))
        fields = (
            _on_field("Is it told?", on=digest.on),
            Field("weekday", "Day", "select", str(digest.weekday), options=days),
            Field("hour", "Hour", "select", str(digest.hour), options=hours, hint="Local time."),
        )
        facts = _facts(
            digest_words(digest), digest_words(parts.telling.digest), _written(parts, DIGEST_NAMES)
        )
        view = FormView(DIGEST, "Save", fields)
        view = filled(view, form, problem)
        return FormPage("Weekly digest", TO_LIST, view, (DIGEST_ABOUT,), facts)

    def act(key: str, typed: Typed) -> str:
        del key
        made = DigestTime(
            _picked(typed, "on", (ON, OFF)) == ON,
            int(_picked(typed, "weekday", tuple(map(str, range(len(DAYS)))))),
            int(_picked(typed, "hour", tuple(map(str, range(24))))),
        )
        if made == held(parts.store.telling(), parts.telling).digest:
            return LIST
        return target(LIST, [set_digest(parts.store, made, parts.clock.now_ms())])

    return Deed(DIGEST, page, act)


def _back(path: str, title: str, written: str, reset: Callable[[int], Event], now: Clock) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        facts = (Fact("In the settings", written),)
        view = filled(_back_form(path), form, problem)
        return FormPage(f"{title} as in the settings", TO_LIST, view, (), facts)

    def act(key: str, typed: Typed) -> str:
        del key, typed
        return target(LIST, [reset(now.now_ms())])

    return Deed(path, page, act)
