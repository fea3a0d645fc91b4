"""The first start: from an empty place to a first lot, one step at a time on the page of boxes."""

from collections.abc import Sequence

from hilum.domain.model import Box, Role, Sensor
from hilum.keeping.reckoning import corrected
from hilum.web.deeds.boxdeeds import add_form
from hilum.web.deeds.doing import filled
from hilum.web.deeds.lotentry import entry_form
from hilum.web.deeds.sensordeeds import FIRST
from hilum.web.guard.csrf import Form
from hilum.web.parts import WebParts
from hilum.web.views.contexts import FirstPath, Heard, HeardRow, Step
from hilum.web.views.format import ago
from hilum.web.views.pieces import FormView
from hilum.web.views.records import arriving, reading_words

EXAMPLE = '[{"n":"temperature","u":"Cel","v":18.4},{"n":"humidity","u":"%RH","v":32.5}]'
DEMO = "hilum demo --port 8421"
STEPS = (
    ("A box", "Anything that holds seed: a drawer, a tub, a jar, a shelf in a fridge."),
    ("Its sensor", "It measures the air beside the seed: temperature and humidity."),
    ("A lot", "Seed of one variety from one source and harvest."),
)


def first_path(parts: WebParts) -> FirstPath | None:
    """Give the way to a first lot; none once there is a lot."""
    store = parts.store
    if parts.kept("any lot", lambda _: bool(store.lots())):
        return None
    boxes = [box for box in store.boxes() if not box.archived]
    placed = any(placement.to_ms is None for placement in store.placements())
    at = 0 if not boxes else 1 if not placed else 2
    form = None
    if at != 1:
        form = filled(entry_form(parts) if at else add_form(), Form(), None)
    return FirstPath(
        steps=tuple(
            Step(
                number=str(n + 1),
                name=name,
                words=words,
                state="done" if n < at else "now" if n == at else "later",
            )
            for n, (name, words) in enumerate(STEPS)
        ),
        form=form,
        heard=heard(parts, boxes) if at == 1 else None,
        demo=DEMO,
    )


def heard(parts: WebParts, boxes: Sequence[Box] | None = None) -> Heard:
    """Say what to publish, where, and what has been heard so far."""
    store = parts.store
    if boxes is None:
        boxes = [box for box in store.boxes() if not box.archived]
    words, cautions = arriving(parts.ingest_status())
    placed = {p.sensor for p in store.placements() if p.to_ms is None}
    free = [sensor for sensor in store.sensors() if sensor.name not in placed]
    return Heard(
        topic=f"hilum/{parts.settings.site}/NAME/readings",
        example=EXAMPLE,
        arriving=words,
        cautions=cautions,
        sensors=tuple(_row(parts, sensor, boxes) for sensor in free),
    )


def _row(parts: WebParts, sensor: Sensor, boxes: Sequence[Box]) -> HeardRow:
    now_ms = parts.clock.now_ms()
    seen_ms = sensor.last_seen_ms
    return HeardRow(
        name=sensor.name,
        reading=reading_words(corrected.newest(parts.store, sensor.name), parts.style),
        when="never heard" if seen_ms is None else f"heard {ago(max(0, now_ms - seen_ms))}",
        claims=tuple(_claim(sensor, box) for box in boxes),
    )


def _claim(sensor: Sensor, box: Box) -> FormView:
    """Make the one button that says a sensor stands in a box."""
    given = {"sensor": sensor.name, "box": box.slug, "role": Role.INSIDE.value, "since": FIRST}
    return FormView("/sensors/claim", f"It stands in {box.name}", (), hidden=tuple(given.items()))
