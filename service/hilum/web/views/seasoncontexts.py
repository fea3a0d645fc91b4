"""What the pages show that look ahead or back: season, comparison, review, settings."""

from dataclasses import dataclass
from typing import Annotated

from hilum.web.views.pieces import Fact, FormView, Link, Said


@dataclass(frozen=True, slots=True)
class PlanLot:
    """A lot that can serve a line of a plan."""

    place: Annotated[Link, "The lot."]
    where: Annotated[str, "Its box, and how much of it there is."]
    decision: Annotated[str, "What to do with it, in a word or two; empty where that is unknown."]
    words: Annotated[str, "Why it is that."]
    sow: Annotated[str, "Seeds of it to sow for this line; empty if none."]
    notes: Annotated[tuple[str, ...], "What to say beside it."]


@dataclass(frozen=True, slots=True)
class PlanAnswer:
    """One thing that is wanted, answered."""

    title: Annotated[str, "Kind and variety."]
    wanted: Annotated[str, "How many plants."]
    words: Annotated[str, "The answer."]
    chance: Annotated[str, "How likely one's own seed is enough."]
    lots: Annotated[tuple[PlanLot, ...], "Lots in the order in which to use them."]
    notes: Annotated[tuple[str, ...], "What was taken for granted, and what to know first."]
    remove: Annotated[FormView, "Takes the line off the plan."]


@dataclass(frozen=True, slots=True)
class OrderRow:
    """Something to order."""

    what: Annotated[str, "Kind and variety."]
    packets: Annotated[str, "How many packets."]
    size: Annotated[str, "Seeds in each."]
    note: Annotated[str, "What to know before ordering; may be empty."]


@dataclass(frozen=True, slots=True)
class SeasonPage:
    """A plan for a season, answered."""

    title: Annotated[str, "Name of the plan."]
    headline: Annotated[str, "What is to be done, in a sentence."]
    answers: Annotated[tuple[PlanAnswer, ...], "What is wanted, in the order of the plan."]
    order: Annotated[tuple[OrderRow, ...], "What to order."]
    files: Annotated[tuple[Link, ...], "The answers as files for spreadsheets."]
    tests: Annotated[tuple[str, ...], "Tests worth making this week."]
    assumptions: Annotated[tuple[str, ...], "What was taken for granted."]
    add: Annotated[FormView, "Adds a line."]
    edit_url: Annotated[str, "Where name, date and storage are changed."]
    drop_url: Annotated[str, "Where the plan is forgotten."]


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One plan in the list."""

    place: Annotated[Link, "The plan."]
    words: Annotated[str, "When is sown, and how many things are wanted."]


@dataclass(frozen=True, slots=True)
class SeasonsPage:
    """All plans."""

    title: Annotated[str, "Title of the page."]
    plans: Annotated[tuple[PlanRow, ...], "The plans, by sowing date."]


@dataclass(frozen=True, slots=True)
class Multiple:
    """One small picture: a lot kept in one way. Places are in % of the drawn area."""

    title: Annotated[str, "The way of keeping."]
    words: Annotated[str, "How that is, in words."]
    lasts: Annotated[str, "How long it lasts, or why it is ruled out."]
    label: Annotated[str, "The picture in words; empty where there is none."]
    area: Annotated[str, "Path of the band; empty where there is none."]
    line: Annotated[str, "Path of the middle; empty where there is none."]
    minimum: Annotated[float, "Minimum germination, from the top."]
    ends: Annotated[tuple[str, str], "First and last year of the picture."]
    notes: Annotated[tuple[str, ...], "What to do or know."]


@dataclass(frozen=True, slots=True)
class ComparePage:
    """One lot kept in several ways."""

    title: Annotated[str, "Title of the page."]
    about: Annotated[Link, "The lot."]
    freezing: Annotated[str, "Whether it may be frozen as it is now."]
    choices: Annotated[tuple[Multiple, ...], "The ways of keeping, side by side."]
    notes: Annotated[tuple[str, ...], "What the figures do not know."]


@dataclass(frozen=True, slots=True)
class CompareRow:
    """One way of keeping all lots of a box."""

    name: Annotated[str, "The way of keeping."]
    words: Annotated[str, "How that is, in words."]
    above: Annotated[tuple[str, ...], "Lots that are still above their minimum, year by year."]


@dataclass(frozen=True, slots=True)
class CompareBoxPage:
    """All lots of a box kept in several ways."""

    title: Annotated[str, "Title of the page."]
    about: Annotated[Link, "The box."]
    intro: Annotated[str, "What is counted."]
    years: Annotated[tuple[str, ...], "Heads of the columns."]
    rows: Annotated[tuple[CompareRow, ...], "The ways of keeping."]
    lots: Annotated[tuple[Link, ...], "The lots; each leads to its own comparison."]


@dataclass(frozen=True, slots=True)
class ReviewPage:
    """How a box kept its seed over a season."""

    title: Annotated[str, "Title of the page."]
    about: Annotated[Link, "The box."]
    span: Annotated[str, "From when to when."]
    first_day: Annotated[str, "First day, as a date field holds it."]
    last_day: Annotated[str, "Last day, as a date field holds it."]
    wrong: Annotated[str, "Why these days cannot be reviewed; empty if they can."]
    facts: Annotated[tuple[Fact, ...], "How its hours were spent."]
    losses: Annotated[tuple[str, ...], "What it cost seed of each kind."]
    changes: Annotated[tuple[Fact, ...], "The same beside the year before."]
    notes: Annotated[tuple[str, ...], "What the figures do not know."]


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One setting."""

    name: Annotated[str, "Its name."]
    value: Annotated[str, "What it is set to."]
    source: Annotated[str, "From where."]
    words: Annotated[str, "What it does."]


@dataclass(frozen=True, slots=True)
class ChannelRow:
    """One channel on which alerts are told."""

    name: Annotated[str, "Its name."]
    state: Annotated[str, "What became of the last messages, in a sentence; empty if none."]
    test: Annotated[FormView, "Sends a test on it."]


@dataclass(frozen=True, slots=True)
class RuleRow:
    """One rule, or when people are told, as it holds in a box or everywhere."""

    title: Annotated[str, "What is told."]
    about: Annotated[str, "What is looked at, and whether it is as usual or was set."]
    holds: Annotated[str, "Limit, time, end and reminder, in sentences."]
    change: Annotated[str, "Where it can be set."]
    reset: Annotated[FormView | None, "Takes the setting away; none where nothing is set."]


@dataclass(frozen=True, slots=True)
class RulesPage:
    """When alerts are told, in a box or everywhere."""

    title: Annotated[str, "Title of the page."]
    said: Annotated[Said | None, "What was just done; none if nothing."]
    back: Annotated[Link, "Where to go from here."]
    intro: Annotated[str, "What these hold for; may be empty."]
    telling: Annotated[tuple[RuleRow, ...], "When people are told; none for a single box."]
    rows: Annotated[tuple[RuleRow, ...], "The rules."]


@dataclass(frozen=True, slots=True)
class SettingsPage:
    """What is set, and from where."""

    title: Annotated[str, "Title of the page."]
    said: Annotated[str, "What was just done; empty if nothing."]
    file: Annotated[str, "The file in which to change it."]
    rows: Annotated[tuple[SettingRow, ...], "The settings."]
    channels: Annotated[tuple[ChannelRow, ...], "On which channels alerts are told."]
