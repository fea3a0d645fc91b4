"""What can be done with a sensor: say where it stands, and that it stands there no longer."""

from hilum.domain.errors import NotFoundError
from hilum.domain.model import MS_PER_DAY, Placement, Role
from hilum.keeping.care.boxcare import claim_sensor, end_claim
from hilum.keeping.reckoning import corrected
from hilum.web.deeds.doing import Deed, Problem, filled, target
from hilum.web.deeds.formparts import AT, box_options
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import WebParts
from hilum.web.views.boxes import ROLE_WORDS
from hilum.web.views.contexts import FormPage
from hilum.web.views.pieces import Fact, Field, FormView, Link, Option
from hilum.web.views.records import reading_words

NOW, FIRST = "now", "first"


def sensor_deeds(parts: WebParts) -> tuple[Deed, ...]:
    """Give the deeds of sensors."""
    return (_claim(parts), _end(parts))


def _free_since_ms(parts: WebParts, sensor: str) -> int:
    """Give the moment from which a sensor's readings belong to no box."""
    ended = [p.to_ms for p in parts.store.placements(sensor=sensor) if p.to_ms is not None]
    extent = parts.store.extent(sensor)
    first = extent[1] if extent else parts.store.sensor(sensor).first_seen_ms
    return max([first, *ended])


def claim_form(parts: WebParts, sensor: str) -> FormView:
    """Make the form that says where a sensor stands."""
    since_ms = _free_since_ms(parts, sensor)
    new = parts.clock.now_ms() - since_ms < MS_PER_DAY
    since = (
        Option(NOW, "just now"),
        Option(FIRST, f"since its first reading here, {parts.style.moment(since_ms)}"),
    )
    roles = tuple(Option(role.value, words) for role, words in ROLE_WORDS.items())
    boxes = box_options(parts)
    chosen = boxes[0].value if len(boxes) == 1 else ""
    fields = (
        Field("box", "Box", "pick", chosen, options=boxes, required=True),
        Field("role", "It measures", "pick", Role.INSIDE.value, options=roles),
        Field("since", "It stands there", "pick", FIRST if new else NOW, options=since),
        Field("at", "Or since", "moment", hint="Counts before the choice above."),
    )
    return FormView("/sensors/claim", "It stands there", fields, hidden=(("sensor", sensor),))


def _claim(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        sensor = parts.store.sensor(form.text("sensor"))
        reading = corrected.newest(parts.store, sensor.name)
        facts = [Fact("Last reading", reading_words(reading, parts.style))]
        if reading:
            facts.append(Fact("Taken", parts.style.moment(reading.time_ms)))
        return FormPage(
            title=f"Where does {sensor.name} stand?",
            back=Link("Sensors", "/sensors"),
            form=filled(claim_form(parts, sensor.name), form, problem),
            intro=("Its readings count for the box it stands in, from the time you choose.",),
            facts=tuple(facts),
        )

    def act(key: str, typed: Typed) -> str:
        del key
        now_ms, sensor = parts.clock.now_ms(), typed.text("sensor")
        parts.store.sensor(sensor)
        box = typed.needed("box", "Choose the box.")
        role = next((r for r in Role if r.value == typed.text("role")), Role.INSIDE)
        first = typed.text("since") == FIRST
        from_ms = typed.moment("at", _free_since_ms(parts, sensor) if first else now_ms)
        done = claim_sensor(parts.store, sensor, box, role, from_ms=from_ms, now_ms=now_ms)
        if not parts.store.lots():
            return "/"  # the path of a first start goes on there
        return target(f"/boxes/{box}", [done.event])

    return Deed("/sensors/claim", page, act)


def _placement(parts: WebParts, number: str) -> Placement:
    found = next((p for p in parts.store.placements() if str(p.id) == number), None)
    if found is None:
        raise NotFoundError("No sensor is known to stand there.")
    return found


def _end(parts: WebParts) -> Deed:
    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        del key
        placed = _placement(parts, form.text("placement"))
        box = parts.store.box(placed.box)
        hidden = (("placement", str(placed.id)),)
        view = FormView("/sensors/end", "It stands there no longer", (AT,), hidden=hidden)
        since = f"{ROLE_WORDS[placed.role]}, since {parts.style.moment(placed.from_ms)}"
        return FormPage(
            title=f"Take {placed.sensor} away",
            back=Link("Sensors", "/sensors"),
            form=filled(view, form, problem),
            intro=("What it measured until then stays with the box.",),
            facts=(Fact(box.name, since),),
        )

    def act(key: str, typed: Typed) -> str:
        del key
        now_ms = parts.clock.now_ms()
        placed = _placement(parts, typed.text("placement"))
        at_ms = typed.moment("at", now_ms)
        done = end_claim(parts.store, placed.id, at_ms=at_ms, now_ms=now_ms)
        return target("/sensors", [done.event])

    return Deed("/sensors/end", page, act)
