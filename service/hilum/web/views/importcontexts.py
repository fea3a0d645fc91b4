"""What the pages of imports and labels show."""

from dataclasses import dataclass
from typing import Annotated

from markupsafe import Markup

from hilum.web.views.pieces import Fact, FormView, Link


@dataclass(frozen=True, slots=True)
class ImportList:
    """Lines of one sort from a file."""

    title: Annotated[str, "What they are, and how many."]
    lines: Annotated[tuple[str, ...], "The first of them."]
    more: Annotated[str, "How many are not shown; empty if all are."]


@dataclass(frozen=True, slots=True)
class ImportPage:
    """A list of seed from a spreadsheet: asked for, looked at, or imported."""

    title: Annotated[str, "Title of the page."]
    file: Annotated[str, "Name of the file that was read; empty before."]
    error: Annotated[str, "Why the file cannot be read; empty if it can."]
    form: Annotated[FormView | None, "Takes a file, or says how it is read; none afterwards."]
    summary: Annotated[str, "What would change, or that it is done, in a sentence."]
    lists: Annotated[tuple[ImportList, ...], "What is changed, not taken, new, assumed."]
    confirm: Annotated[FormView | None, "Imports it; none while something is open."] = None
    facts: Annotated[tuple[Fact, ...], "What was done, counted."] = ()
    rejected: Annotated[Link | None, "The rows that were not taken, as a file."] = None


@dataclass(frozen=True, slots=True)
class LabelView:
    """One label."""

    title: Annotated[str, "Kind of the lot, or name of the box."]
    lines: Annotated[tuple[str, ...], "Variety, source and year, germination."]
    code: Annotated[str, "Code of the lot, or short name of the box."]
    drawing: Annotated[Markup, "QR code; empty where the address of Hilum is not known."]


@dataclass(frozen=True, slots=True)
class LabelsPage:
    """Labels, to be printed."""

    title: Annotated[str, "Title of the page."]
    words: Annotated[str, "Where the codes lead, or why there are none."]
    labels: Annotated[tuple[LabelView, ...], "The labels."]
