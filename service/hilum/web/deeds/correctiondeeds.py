"""Correcting a sensor, step by step: how it was checked, over which salts, what it read, save.

Each step leads to the next with all that was given in the address, so that going back loses
nothing and no script is needed. Only the last one writes.
"""

from dataclasses import dataclass
from urllib.parse import urlencode

from hilum.domain.corrections import Correction
from hilum.domain.errors import ConflictError, InvalidInputError, NotFoundError, OutOfRangeError
from hilum.keeping.care.calibration import (
    Planned,
    correct_sensor,
    over_salts,
    planned,
    uncorrect_sensor,
    words,
)
from hilum.science.salts import (
    LEAST_APART_PCT,
    PRACTICE,
    Calibration,
    SaltPoint,
    one_point,
    salt_point,
    salts,
    two_point,
)
from hilum.web.deeds.doing import REFUSALS, Deed, Problem, filled, problem_of, target
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import WebParts
from hilum.web.views.contexts import FormPage
from hilum.web.views.format import NBSP, number, pct
from hilum.web.views.pieces import Fact, Field, FormView, Link, Option

HOW, SALTS, READ, OFFSET, SAVE, BACK = (
    "/sensors/correct",
    "/sensors/correct/salts",
    "/sensors/correct/read",
    "/sensors/correct/offset",
    "/sensors/correct/save",
    "/sensors/uncorrect",
)
TWO, ONE, OTHER = "two", "one", "offset"
WAYS = {
    TWO: "over two salts: right from the one to the other",
    ONE: "over one salt: right near its humidity only",
    OTHER: "against something else I trust: an offset",
}
ASKED = {ONE: ("salt",), TWO: ("salt_low", "salt_high")}
LABELS = {"salt": "Salt", "salt_low": "The drier salt", "salt_high": "The damper salt"}
USUAL = {"salt": "NaCl", "salt_low": "MgCl2", "salt_high": "NaCl"}
"""Harmless, and on both sides of what most boxes hold."""

CARRIED = (
    *("sensor", "way", "salt", "salt_low", "salt_high", "temp", "read", "read_low", "read_high"),
    *("rh_offset_pct", "temp_offset_c", "at", "note"),
)
SALT_TEMPS_C = (5.0, 30.0)
SHOWN_AT_PCT = (20.0, 35.0, 50.0)
AGAIN = (
    "Readings stay as they came. When you save, seed moisture, losses and swap dates since that "
    "time are computed again; it can be taken back on the page of sensors."
)
WHY = (
    "Sensors drift. The air over a wet salt has a humidity that is known to a fraction of a per "
    "cent, so an hour with a spoon of salt tells how far one is off."
)
HARMLESS = (
    "Table salt without iodine and magnesium chloride are harmless, and lie on both sides of what "
    "most boxes hold."
)
TAKEN_BACK = (
    "What the sensor sent counts again from then on, or an earlier correction does. Figures since "
    "then are computed again."
)
KITCHEN = (
    "Published for the salts; what a kitchen adds nobody has measured. Read it twice, on two days: "
    "the difference is your doubt."
)
SINCE = Field(
    "at",
    "It holds from",
    "moment",
    hint="From now on, if you leave it empty. If you do not know since when it is off, take the "
    "day on which it was last known to be right.",
)
NOTE = Field("note", "How you know", "text", hint="For the record; may stay empty.")

TABLE_SALT = "NaCl"

Points = tuple[tuple[SaltPoint, float], ...]


@dataclass(frozen=True, slots=True)
class Worked:
    """A correction as it would be kept, and the salts it rests on with what was read."""

    plan: Planned
    points: Points
    notes: tuple[str, ...]


def correction_deeds(parts: WebParts) -> tuple[Deed, ...]:
    """Give the steps of a correction, and the way back."""
    return (_how(parts), _salts(parts), _read(parts), _offset(parts), _save(parts), _back(parts))


def step_url(path: str, form: Form) -> str:
    """Give the address of a step with all that was given so far."""
    query = {name: form.text(name) for name in CARRIED if form.text(name)}
    return f"{path}?{urlencode(query)}"


def _form(path: str, submit: str, form: Form, *fields: Field) -> FormView:
    """Make the form of a step; what other steps asked is sent along."""
    asked = {each.name for each in fields}
    carried = [(n, form.text(n)) for n in CARRIED if n not in asked and form.text(n)]
    return FormView(path, submit, fields, hidden=tuple(carried))


def _way_of(form: Form) -> str:
    way = form.text("way")
    if way not in WAYS:
        raise InvalidInputError("Choose one of these.", "way")
    return way


def _how(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        sensor = parts.store.sensor(form.text("sensor"))
        options = tuple(Option(way, words) for way, words in WAYS.items())
        way = Field("way", "How was it checked?", "pick", TWO, options=options, required=True)
        facts = [_newest(parts, sensor.name)]
        facts += [
            Fact(f"Corrected from {parts.style.moment(each.from_ms)} on", words(each), each.how)
            for each in parts.store.corrections(sensor.name)
        ]
        return FormPage(
            f"Check {sensor.name}",
            Link("Sensors", "/sensors"),
            filled(_form(HOW, "Go on", form, way), form, problem),
            (WHY,),
            tuple(facts),
        )

    def act(key: str, typed: Typed) -> str:
        del key
        return step_url(OFFSET if _way_of(typed.form) == OTHER else SALTS, typed.form)

    return Deed(HOW, page, act)


def _newest(parts: WebParts, sensor: str) -> Fact:
    """What the sensor itself says: the figure to compare with a salt."""
    reading = parts.store.newest(sensor)
    if reading is None:
        return Fact("It says itself", "nothing yet")
    said = [parts.style.temp(reading.temp_c)] if reading.temp_c is not None else []
    if reading.rh_pct is not None:
        said.append(f"{pct(reading.rh_pct, 1)}{NBSP}RH")
    when = f"Taken {parts.style.moment(reading.time_ms)}."
    return Fact("It says itself", ", ".join(said) or "neither temperature nor humidity", when)


def _celsius(parts: WebParts, shown: float, *, difference: bool = False) -> float:
    if not parts.style.fahrenheit:
        return shown
    return (shown - (0.0 if difference else 32.0)) * 5.0 / 9.0


def _salts(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        sensor = parts.store.sensor(form.text("sensor"))
        reading = parts.store.newest(sensor.name)
        near_c = reading.temp_c if reading and reading.temp_c is not None else 20.0
        near_c = min(max(near_c, SALT_TEMPS_C[0]), SALT_TEMPS_C[1])
        known = [salt_point(key, near_c) for key in salts()]
        options = tuple(Option(p.salt.key, f"{_called(p)}, {pct(p.rh_pct)}") for p in known)
        temp = parts.style.temp(near_c).split(NBSP)[0]
        fields = (
            *(
                Field(name, LABELS[name], "select", USUAL[name], options=options)
                for name in ASKED.get(form.text("way"), ASKED[TWO])
            ),
            Field("temp", "How warm it is there", "decimal", temp, unit=parts.style.temp_unit),
        )
        return FormPage(
            f"Check {sensor.name}: which salt",
            Link("how it was checked", step_url(HOW, form)),
            filled(_form(SALTS, "Go on", form, *fields), form, problem),
            (HARMLESS,),
            tuple(_salt_fact(each, parts) for each in known),
        )

    def act(key: str, typed: Typed) -> str:
        del key
        _salt_points(parts, typed)
        return step_url(READ, typed.form)

    return Deed(SALTS, page, act)


def _called(point: SaltPoint) -> str:
    """Name of a salt, and the one it has in kitchens."""
    return f"{point.salt.name} (table salt)" if point.salt.key == TABLE_SALT else point.salt.name


def _salt_fact(point: SaltPoint, parts: WebParts) -> Fact:
    about = f"{pct(point.rh_pct, 1)} ± {number(point.uncertainty_pct, 1)} at "
    return Fact(_called(point), about + parts.style.temp(point.temp_c), point.salt.caution)


def _salt_points(parts: WebParts, typed: Typed) -> dict[str, SaltPoint]:
    """Give the salts that were chosen, at the temperature that was typed."""
    shown = typed.needed_number("temp", "Say how warm it is where the salt stands.")
    low_c, high_c = SALT_TEMPS_C
    temp_c = _celsius(parts, shown)
    if not low_c <= temp_c <= high_c:
        style = parts.style
        raise InvalidInputError(
            f"The salts are known from {style.temp(low_c)} to {style.temp(high_c)}.", "temp"
        )
    found = {}
    for name in ASKED.get(typed.text("way"), ASKED[TWO]):
        if typed.text(name) not in salts():
            raise InvalidInputError("Choose one of these.", name)
        found[name] = salt_point(typed.text(name), temp_c)
    if len(found) == 2:
        apart = found["salt_high"].rh_pct - found["salt_low"].rh_pct
        if apart < LEAST_APART_PCT:
            raise InvalidInputError(
                f"The damper salt must lie at least {LEAST_APART_PCT:g} % above the drier one; "
                f"these two differ by {number(apart)} %.",
                "salt_high",
            )
    return found


def _read_name(salt: str) -> str:
    return salt.replace("salt", "read")


def _read(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        sensor = parts.store.sensor(form.text("sensor"))
        points = _salt_points(parts, Typed(form, parts.style))
        fields = [
            Field(_read_name(name), f"It read over {_called(p)}", "decimal", unit="%",
                  required=True, hint="What the sensor itself says, without any correction.")
            for name, p in points.items()
        ]  # fmt: skip
        first = next(iter(points.values()))
        facts = [_salt_fact(point, parts) for point in points.values()]
        facts += [
            Fact("These figures", first.source, f"Status: {first.status}."),
            _newest(parts, sensor.name),
        ]
        return FormPage(
            f"Check {sensor.name}: what it read",
            Link("the choice of salts", step_url(SALTS, form)),
            filled(_form(READ, "Work it out", form, *fields, SINCE, NOTE), form, problem),
            (),
            tuple(facts),
            steps=(
                *PRACTICE,
                "The sensor stands above the salt and never in it. Then note what it says.",
                *(["Do the same with the other salt."] if len(points) == 2 else []),
            ),
        )

    def act(key: str, typed: Typed) -> str:
        del key
        _worked(parts, typed)
        return step_url(SAVE, typed.form)

    return Deed(READ, page, act)


def _offset(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        sensor = parts.store.sensor(form.text("sensor"))
        fields = (
            Field("rh_offset_pct", "Add to its humidity", "decimal", unit="%",
                  hint="−2 if it says 40 where 38 is right. May stay empty."),
            Field("temp_offset_c", "Add to its temperature", "decimal",
                  unit=parts.style.temp_unit, hint="May stay empty."),
            SINCE,
            NOTE,
        )  # fmt: skip
        return FormPage(
            f"Correct {sensor.name} by an offset",
            Link("how it was checked", step_url(HOW, form)),
            filled(_form(OFFSET, "Work it out", form, *fields), form, problem),
            ("Against what the sensor itself says, without any correction.",),
            (_newest(parts, sensor.name),),
        )

    def act(key: str, typed: Typed) -> str:
        del key
        _worked(parts, typed)
        return step_url(SAVE, typed.form)

    return Deed(OFFSET, page, act)


def _worked(parts: WebParts, typed: Typed) -> Worked:
    """Work out what was given so far; every refusal names the field it is about."""
    now_ms = parts.clock.now_ms()
    temp_offset: float | None = None
    humidity: Calibration | None
    points: Points = ()
    stood, fields = "", {}
    if _way_of(typed.form) == OTHER:
        humidity, temp_offset = _offsets(parts, typed)
    else:
        points, humidity = _line(parts, typed)
        stood = over_salts(points, points[0][0].temp_c)
        last = _read_name(ASKED[typed.text("way")][-1])
        fields = {"rh_gain": last, "rh_offset_pct": last}
    try:
        plan = planned(
            parts.store, typed.text("sensor"), typed.moment("at", now_ms),
            temp_offset_c=temp_offset, humidity=humidity,
            how="; ".join(filter(None, (stood, typed.text("note")))),
            now_ms=now_ms, local=parts.style.moment,
        )  # fmt: skip
    except ConflictError as error:
        raise InvalidInputError(str(error), "at") from error
    except InvalidInputError as error:
        field = error.field or ""
        raise InvalidInputError(str(error), fields.get(field, field)) from error
    notes = [note for note in (humidity.notes if humidity else ()) if note not in PRACTICE]
    return Worked(plan, points, (*plan.notes, *notes))


def _offsets(parts: WebParts, typed: Typed) -> tuple[Calibration | None, float | None]:
    humidity, shown = typed.number("rh_offset_pct"), typed.number("temp_offset_c")
    if humidity is None and shown is None:
        raise InvalidInputError(
            "Say what is to be added, to its humidity or its temperature.", "rh_offset_pct"
        )
    temp_c = None if shown is None else _celsius(parts, shown, difference=True)
    return None if humidity is None else Calibration(1.0, humidity), temp_c


def _line(parts: WebParts, typed: Typed) -> tuple[Points, Calibration]:
    """The line through what was read over the salts."""
    found = []
    for name, point in _salt_points(parts, typed).items():
        field = _read_name(name)
        read = typed.needed_number(field, "Say what it read.")
        if not 0.0 <= read <= 100.0:
            raise InvalidInputError("A humidity lies between 0 and 100 %.", field)
        found.append((point, read))
    points = tuple(found)
    if len(points) == 1:
        return points, one_point(*points[0])
    try:
        return points, two_point(*points[0], *points[1])
    except OutOfRangeError as error:
        apart = points[1][0].rh_pct - points[0][0].rh_pct
        raise InvalidInputError(
            f"The salts lie {number(apart)} % apart and its readings "
            f"{number(points[1][1] - points[0][1])} %: it is broken, the salts were swapped, or "
            "a figure was mistyped.",
            "read_high",
        ) from error


def _save(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        sensor = parts.store.sensor(form.text("sensor"))
        facts: tuple[Fact, ...] = ()
        notes: tuple[str, ...] = ()
        before = OFFSET if form.text("way") == OTHER else READ
        try:
            worked = _worked(parts, Typed(form, parts.style))
            facts, notes = _outcome(parts, worked), worked.notes
        except REFUSALS as error:
            problem = problem or problem_of(error, parts.style.zone)
        return FormPage(
            f"Correct {sensor.name}",
            Link("what was read", step_url(before, form)),
            filled(_form(SAVE, "Save the correction", form), form, problem),
            (AGAIN,),
            facts,
            steps=notes,
        )

    def act(key: str, typed: Typed) -> str:
        del key
        plan = _worked(parts, typed).plan.correction
        done = correct_sensor(
            parts.store, plan.sensor, plan.from_ms, temp_offset_c=plan.temp_offset_c,
            humidity=Calibration(plan.rh_gain, plan.rh_offset_pct), how=plan.how,
            now_ms=parts.clock.now_ms(), local=parts.style.moment,
        )  # fmt: skip
        return target("/sensors", [done.event])

    return Deed(SAVE, page, act)


def _outcome(parts: WebParts, worked: Worked) -> tuple[Fact, ...]:
    """What a correction would do."""
    made = worked.plan.correction
    line = Calibration(made.rh_gain, made.rh_offset_pct)
    shown = ", ".join(f"{number(x)} → {number(line.correct(x), 1)}" for x in SHOWN_AT_PCT)
    facts = [
        Fact("The correction", words(made), made.how),
        Fact("What it says, and what is right", f"{shown}{NBSP}%"),
        Fact("It holds from", parts.style.moment(made.from_ms)),
    ]
    if worked.points:
        doubts = " and ".join(f"± {number(p.uncertainty_pct, 1)}" for p, _ in worked.points)
        facts.append(Fact("Doubt", f"{doubts}{NBSP}% RH", KITCHEN))
    return tuple(facts)


def _back(parts: WebParts) -> Deed:
    def found(typed_number: str) -> Correction:
        held = (c for c in parts.store.corrections() if str(c.id) == typed_number)
        one = next(held, None)
        if one is None:
            raise NotFoundError("There is no such correction.")
        return one

    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        one = found(form.text("correction"))
        hidden = (("correction", str(one.id)),)
        view = FormView(BACK, "Take it back", (), hidden=hidden)
        since = f"{words(one)}, from {parts.style.moment(one.from_ms)} on"
        return FormPage(
            f"Take back a correction of {one.sensor}",
            Link("Sensors", "/sensors"),
            filled(view, form, problem),
            (TAKEN_BACK,),
            (Fact("The correction", since, one.how),),
        )

    def act(key: str, typed: Typed) -> str:
        del key
        one = found(typed.text("correction"))
        done = uncorrect_sensor(
            parts.store, one.id, now_ms=parts.clock.now_ms(), local=parts.style.moment
        )
        return target("/sensors", [done.event])

    return Deed(BACK, page, act)
