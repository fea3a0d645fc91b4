"""What each page shows: one frozen record per page, every field with its help.

A test compares what the templates use with these records, both ways.
"""

from dataclasses import dataclass
from typing import Annotated

from hilum.web.views.picturecontexts import Calendar, Chart, Life
from hilum.web.views.pieces import Choice, Fact, FormView, Link, Option, Said


@dataclass(frozen=True, slots=True)
class NavItem:
    """One entry of the list of pages."""

    name: Annotated[str, "Name of the page."]
    url: Annotated[str, "Its address."]
    current: Annotated[bool, "Whether this page, or one below it, is being shown."]


@dataclass(frozen=True, slots=True)
class Chrome:
    """What surrounds every page."""

    site: Annotated[str, "Name of the place, from the settings."]
    nav: Annotated[tuple[NavItem, ...], "The pages, in the order of their use."]
    now_ms: Annotated[int, "When the page was made; ages grow from here."]
    form_token: Annotated[str, "What every form carries, so that no other site can send it."]
    owner: Annotated[bool, "Whether who asks may change things, or only look."]


@dataclass(frozen=True, slots=True)
class WeekSmear:
    """Where humidity has been this week, in % eRH."""

    p5: Annotated[float, "5 of 100 hourly means lie below."]
    p25: Annotated[float, "25 of 100 lie below."]
    p75: Annotated[float, "75 of 100 lie below."]
    p95: Annotated[float, "95 of 100 lie below."]


@dataclass(frozen=True, slots=True)
class Band:
    """The keeping band: a humidity scale with the target, this week, and now."""

    label: Annotated[str, "The picture in words, for those who do not see it."]
    low: Annotated[float, "Lower end of the target, % eRH."]
    high: Annotated[float, "Upper end of the target, % eRH."]
    now: Annotated[float | None, "Newest value, % eRH; none if unknown."]
    now_words: Annotated[str, "Newest value in words."]
    stale: Annotated[bool, "Whether the newest value is too old to be called now."]
    week: Annotated[WeekSmear | None, "This week; none if nothing was heard."]


@dataclass(frozen=True, slots=True)
class Stamp:
    """The state of a box in one word."""

    kind: Annotated[str, "well, ask or unknown: sets shape and shade, never the only sign."]
    words: Annotated[str, "The word."]


@dataclass(frozen=True, slots=True)
class BoxCard:
    """One box, as on the page of all boxes."""

    slug: Annotated[str, "Stable name in addresses."]
    name: Annotated[str, "Name of the box."]
    url: Annotated[str, "Address of its page."]
    type_words: Annotated[str, "What kind of enclosure it is."]
    stamp: Annotated[Stamp, "Its state."]
    finding: Annotated[str, "What asks for a person, as a sentence; empty if nothing does."]
    band: Annotated[Band, "Its keeping band."]
    temp: Annotated[str, "Newest temperature."]
    erh: Annotated[str, "Newest humidity."]
    moisture: Annotated[str, "Moisture of typical seed in it, from oily to starchy."]
    lots: Annotated[str, "How many lots it holds."]
    fresh: Annotated[str, "How old the newest value is."]
    time_iso: Annotated[str, "When the newest value was taken, for machines; empty if none."]
    time_words: Annotated[str, "When the newest value was taken; empty if none."]
    late_after_s: Annotated[int, "Age in seconds from which the value is called late."]


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a first start."""

    number: Annotated[str, "Its place."]
    name: Annotated[str, "What it is about."]
    words: Annotated[str, "What that is, in a sentence."]
    state: Annotated[str, "done, now or later."]


@dataclass(frozen=True, slots=True)
class HeardRow:
    """A sensor that was heard and stands in no box."""

    name: Annotated[str, "Its name, site and all."]
    reading: Annotated[str, "Its last reading."]
    when: Annotated[str, "When it was last heard."]
    claims: Annotated[tuple[FormView, ...], "One button for each box it may stand in."]


@dataclass(frozen=True, slots=True)
class Heard:
    """What a sensor must send, and which have been heard."""

    topic: Annotated[str, "Where it must publish."]
    example: Annotated[str, "What it may publish."]
    arriving: Annotated[str, "How readings arrive, as a sentence."]
    cautions: Annotated[tuple[str, ...], "What is odd about it."]
    sensors: Annotated[tuple[HeardRow, ...], "Those that were heard."]


@dataclass(frozen=True, slots=True)
class HeardPage:
    """What has been heard, alone: a page that is open asks for it again and again."""

    heard: Annotated[Heard, "What has been heard."]


@dataclass(frozen=True, slots=True)
class FirstPath:
    """The way from an empty place to a first lot."""

    steps: Annotated[tuple[Step, ...], "The steps, in order."]
    form: Annotated[FormView | None, "What is asked now; none while a sensor is waited for."]
    heard: Annotated[Heard | None, "What was heard; none in other steps."]
    demo: Annotated[str, "Command that shows an invented place."]


@dataclass(frozen=True, slots=True)
class AlertCard:
    """Something that is wrong and was told."""

    sentence: Annotated[str, "What is wrong."]
    advice: Annotated[str, "What to do."]
    since: Annotated[str, "Since when, and whether someone took note."]
    place: Annotated[Link | None, "What it is about; none where the page says it."]
    seen: Annotated[FormView | None, "Takes note of it; none where that was done."]


@dataclass(frozen=True, slots=True)
class Water:
    """The water of a box."""

    due: Annotated[str, "When fresh desiccant is due, or why that cannot be told."]
    breathing: Annotated[str, "How fast its air follows the room, or why that cannot be told."]
    notes: Annotated[tuple[str, ...], "What these leave open."]


@dataclass(frozen=True, slots=True)
class BoxesPage:
    """All boxes, and what needs doing today."""

    title: Annotated[str, "Title of the page."]
    headline: Annotated[str, "What needs doing today, in one sentence."]
    well: Annotated[bool, "Whether nothing needs doing."]
    path: Annotated[FirstPath | None, "The way to a first lot; none once there is one."]
    alerts: Annotated[tuple[AlertCard, ...], "Alerts nobody took note of yet."]
    cards: Annotated[tuple[BoxCard, ...], "The boxes, those that need a person first."]
    waiting: Annotated[str, "Sensors that belong to no box yet, in words; empty if none."]
    as_of: Annotated[str, "When the page was made."]


@dataclass(frozen=True, slots=True)
class LotRow:
    """One lot in a table."""

    code: Annotated[str, "Code on its label."]
    url: Annotated[str, "Address of its page."]
    kind: Annotated[str, "Common name of the kind."]
    variety: Annotated[str, "Name of the variety."]
    year: Annotated[str, "Year of harvest or packing."]
    box: Annotated[Link | None, "Where it is; none if nowhere."]
    wrap: Annotated[str, "How it is packed."]
    advice: Annotated[str, "What to do with it, by the order of use; empty in other orders."]
    viability: Annotated[str, "Viability now, in words."]


@dataclass(frozen=True, slots=True)
class JournalLine:
    """One line of the journal."""

    time: Annotated[str, "Time of day."]
    type_words: Annotated[str, "What kind of event."]
    text: Annotated[str, "What was written."]
    places: Annotated[tuple[Link, ...], "Box and lot it is about."]
    struck: Annotated[bool, "Whether it was struck out later."]
    take_back: Annotated[str, "Address of the page that takes it back; empty if it cannot be."]


@dataclass(frozen=True, slots=True)
class JournalDay:
    """One day of the journal."""

    day: Annotated[str, "Date."]
    lines: Annotated[tuple[JournalLine, ...], "Its lines, newest first."]


@dataclass(frozen=True, slots=True)
class BoxPage:
    """One box: now, its history, the lots in it."""

    title: Annotated[str, "Title of the page."]
    said: Annotated[Said | None, "What was just done; none if nothing."]
    opened: Annotated[FormView, "Notes that the box was opened just now."]
    doing: Annotated[tuple[Link, ...], "What else can be noted about it, most used first."]
    care: Annotated[tuple[Link, ...], "What can be changed about it."]
    card: Annotated[BoxCard, "The box now."]
    alerts: Annotated[tuple[AlertCard, ...], "Alerts that are not over."]
    water: Annotated[Water, "Its desiccant, and how it breathes."]
    chart: Annotated[Chart, "Its history."]
    calendar: Annotated[Calendar | None, "Its last twelve months; none if nothing was heard."]
    facts: Annotated[tuple[Fact, ...], "Its limits, its sensor, its size."]
    note: Annotated[str, "What was noted about it."]
    lots: Annotated[tuple[LotRow, ...], "Lots in it now."]
    days: Annotated[tuple[JournalDay, ...], "The newest lines of its journal."]
    journal_url: Annotated[str, "Address of its whole journal."]


@dataclass(frozen=True, slots=True)
class Share:
    """One part of a lot's loss."""

    name: Annotated[str, "Where it came about."]
    words: Annotated[str, "How much of the whole loss."]
    left: Annotated[float, "Where its bar begins, % of the budget, within 0 to 100."]
    width: Annotated[float, "How long its bar is, % of the budget, within 0 to 100."]
    kind: Annotated[str, "before, measured or estimated: sets the filling."]


@dataclass(frozen=True, slots=True)
class Budget:
    """How much of what a lot can lose is spent."""

    label: Annotated[str, "The bar in words."]
    spent: Annotated[str, "Share that is spent."]
    burn: Annotated[str, "How fast it goes now, as a sentence; may be empty."]
    shares: Annotated[tuple[Share, ...], "Its parts, in order of time."]


@dataclass(frozen=True, slots=True)
class Viability:
    """Viability of a lot as a place on a scale from 0 to 100 %."""

    label: Annotated[str, "The picture in words."]
    now: Annotated[float, "Middle of what is plausible, %."]
    low: Annotated[float, "Lower end of the 90 % band."]
    high: Annotated[float, "Upper end of the 90 % band."]
    minimum: Annotated[float, "Minimum germination, %."]
    now_words: Annotated[str, "The middle in words."]


@dataclass(frozen=True, slots=True)
class TestRow:
    """One germination test."""

    on: Annotated[str, "Date."]
    result: Annotated[str, "How many came up of how many."]
    expected: Annotated[str, "What was expected before it; empty where nothing can be."]
    method: Annotated[str, "How it was done, and what was noted."]


@dataclass(frozen=True, slots=True)
class StayRow:
    """Where a lot was for a time."""

    place: Annotated[Link, "The box."]
    wrap: Annotated[str, "How it was packed."]
    span: Annotated[str, "From when to when."]


@dataclass(frozen=True, slots=True)
class LotPage:
    """One lot: how alive it is, why we think so, where it has been."""

    title: Annotated[str, "Kind and variety."]
    said: Annotated[Said | None, "What was just done; none if nothing."]
    archived: Annotated[bool, "Whether it is off the lists."]
    doing: Annotated[tuple[Link, ...], "What can be done to it, most used first."]
    kind: Annotated[str, "Common name of the kind."]
    variety: Annotated[str, "Name of the variety; may be empty."]
    botanical: Annotated[str, "Botanical name."]
    code: Annotated[str, "Code on its label."]
    headline: Annotated[str, "Viability now, in a sentence."]
    outlook: Annotated[str, "What becomes of it if the box stays as it is; may be empty."]
    viability: Annotated[Viability | None, "The figure as a picture; none if it is not known."]
    budget: Annotated[Budget | None, "What is spent; none if it is not known."]
    life: Annotated[Life | None, "Viability over time; none if it is not known."]
    cautions: Annotated[tuple[str, ...], "What must be known beside the figure."]
    made: Annotated[tuple[Fact, ...], "How the figure was made."]
    notes: Annotated[tuple[str, ...], "What the figure does not know."]
    sources: Annotated[tuple[Fact, ...], "The publications behind it, and how each is known."]
    facts: Annotated[tuple[Fact, ...], "What stands on its label."]
    tests: Annotated[tuple[TestRow, ...], "Its germination tests, newest first."]
    testing: Annotated[tuple[Fact, ...], "How seed of its kind is tested, by published rules."]
    stays: Annotated[tuple[StayRow, ...], "Where it has been, newest first."]
    days: Annotated[tuple[JournalDay, ...], "The newest lines of its journal."]
    journal_url: Annotated[str, "Address of its whole journal."]


@dataclass(frozen=True, slots=True)
class LotsPage:
    """All lots."""

    title: Annotated[str, "Title of the page."]
    query: Annotated[str, "Words that were looked for; empty if none."]
    found: Annotated[str, "How many lots are shown, in words."]
    order: Annotated[str, "Name of the order that is shown."]
    orders: Annotated[tuple[Choice, ...], "Orders to choose from."]
    rows: Annotated[tuple[LotRow, ...], "The lots of this part of the list."]
    back: Annotated[str, "Address of the part before; empty if none."]
    on: Annotated[str, "Address of the part after; empty if none."]
    import_url: Annotated[str, "Where a list of seed is taken in; empty where that cannot be done."]
    any_lots: Annotated[bool, "Whether there is any lot at all."]


@dataclass(frozen=True, slots=True)
class JournalPage:
    """Events of every box and lot."""

    title: Annotated[str, "Title of the page."]
    said: Annotated[Said | None, "What was just done; none if nothing."]
    boxes: Annotated[tuple[Option, ...], "Boxes to look at alone."]
    box: Annotated[str, "The box that is looked at; empty for all."]
    types: Annotated[tuple[Option, ...], "Kinds of lines to look at alone."]
    type: Annotated[str, "The kind that is looked at; empty for all."]
    lot: Annotated[str, "The lot that is looked at; empty for all."]
    days: Annotated[tuple[JournalDay, ...], "The newest days."]
    more: Annotated[str, "Words about what is not shown; empty if all is."]
    export: Annotated[str, "Where all of it can be had as a table; empty: nowhere."]


@dataclass(frozen=True, slots=True)
class CorrectionRow:
    """How a sensor is corrected from a time on."""

    since: Annotated[str, "From when on."]
    words: Annotated[str, "What it does."]
    how: Annotated[str, "How it was found; may be empty."]
    take_back: Annotated[str, "Where it can be taken back."]


@dataclass(frozen=True, slots=True)
class SensorRow:
    """One sensor."""

    name: Annotated[str, "Its name, site and all."]
    place: Annotated[Link | None, "The box it stands in; none if unclaimed."]
    role: Annotated[str, "What it measures there."]
    state: Annotated[str, "Whether it is heard, in words."]
    stamp: Annotated[Stamp, "The same in one word."]
    reading: Annotated[str, "Its last reading."]
    time_words: Annotated[str, "When that was taken."]
    note: Annotated[str, "What was noted about it."]
    claim_url: Annotated[str, "Where to say which box it stands in; empty if that is known."]
    end_url: Annotated[str, "Where to say that it stands there no longer; empty if nowhere."]
    own: Annotated[str, "What it says itself, where it is corrected; else empty."]
    check_url: Annotated[str, "Where it is checked over salts and corrected."]
    corrections: Annotated[tuple[CorrectionRow, ...], "Its corrections, the newest first."]


@dataclass(frozen=True, slots=True)
class RejectRow:
    """Something that arrived and was not kept."""

    when: Annotated[str, "When it arrived."]
    sender: Annotated[str, "Sensor or topic."]
    reason: Annotated[str, "Why, in words."]
    detail: Annotated[str, "What exactly was wrong."]
    more: Annotated[str, "How many of the same came before it; empty if none."]


@dataclass(frozen=True, slots=True)
class SensorsPage:
    """Sensors, how readings arrive, and what was refused."""

    title: Annotated[str, "Title of the page."]
    said: Annotated[Said | None, "What was just done; none if nothing."]
    arriving: Annotated[str, "How readings arrive, as a sentence."]
    arriving_well: Annotated[bool, "Whether the broker is connected."]
    cautions: Annotated[tuple[str, ...], "What is odd about it."]
    counts: Annotated[tuple[Fact, ...], "Messages and readings since the start."]
    unclaimed: Annotated[tuple[SensorRow, ...], "Sensors that belong to no box."]
    placed: Annotated[tuple[SensorRow, ...], "Sensors that stand in or beside a box."]
    rejects: Annotated[tuple[RejectRow, ...], "The newest refusals."]
    reject_counts: Annotated[tuple[Fact, ...], "All refusals, by reason."]


@dataclass(frozen=True, slots=True)
class SurePage:
    """How sure is this? Words only."""

    title: Annotated[str, "Title of the page."]


@dataclass(frozen=True, slots=True)
class ErrorPage:
    """Something went wrong."""

    title: Annotated[str, "What happened, in a few words."]
    status: Annotated[int, "Status of the answer."]
    words: Annotated[str, "What happened and what to do, in a sentence or two."]


@dataclass(frozen=True, slots=True)
class FormPage:
    """A page on which one thing is done."""

    title: Annotated[str, "Title of the page."]
    back: Annotated[Link, "Where to go without doing it."]
    form: Annotated[FormView, "The form."]
    intro: Annotated[tuple[str, ...], "What it does, a paragraph each."] = ()
    facts: Annotated[tuple[Fact, ...], "What is known of the thing it is about."] = ()
    steps: Annotated[tuple[str, ...], "What to do or to mind, a sentence each."] = ()
    said: Annotated[Said | None, "What was done just before; none if nothing."] = None
