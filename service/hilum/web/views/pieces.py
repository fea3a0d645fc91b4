"""Pieces that several pages are made of: links, facts, forms, and what was just done."""

from dataclasses import dataclass
from typing import Annotated


@dataclass(frozen=True, slots=True)
class Link:
    """Something that has a page of its own."""

    name: Annotated[str, "What it is called."]
    url: Annotated[str, "Address of its page."]


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what it says."""

    label: Annotated[str, "What is being told."]
    text: Annotated[str, "The figure or the words, with unit."]
    note: Annotated[str, "Where it comes from or what it leaves open; may be empty."] = ""


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few ways to look at the same."""

    name: Annotated[str, "What it is called."]
    url: Annotated[str, "Address of the page that way."]
    current: Annotated[bool, "Whether it is being shown."]


@dataclass(frozen=True, slots=True)
class Option:
    """One answer to choose."""

    value: Annotated[str, "What is sent."]
    words: Annotated[str, "What is read."]


@dataclass(frozen=True, slots=True)
class Field:
    """One thing to fill in."""

    name: Annotated[str, "Name it is sent under."]
    label: Annotated[str, "What is asked."]
    kind: Annotated[
        str, "text, decimal, whole, date, clock, moment, file, area, select, pick or ticks."
    ]
    value: Annotated[str, "What stands in it, as it was typed."] = ""
    chosen: Annotated[tuple[str, ...], "Values that are ticked."] = ()
    options: Annotated[tuple[Option, ...], "Answers to choose from, or to be offered."] = ()
    unit: Annotated[str, "Unit of what is typed; may be empty."] = ""
    hint: Annotated[str, "What helps to fill it in; may be empty."] = ""
    error: Annotated[str, "Why what was typed cannot be used; empty if nothing is wrong."] = ""
    required: Annotated[bool, "Whether it cannot be left empty."] = False
    first: Annotated[bool, "Whether the page begins with it."] = False


@dataclass(frozen=True, slots=True)
class FormView:
    """A form; it is sent to ``action`` and answered with another page."""

    action: Annotated[str, "Address it is sent to."]
    submit: Annotated[str, "Words on its button."]
    fields: Annotated[tuple[Field, ...], "What is asked at once."]
    more: Annotated[tuple[Field, ...], "What is asked of those who want to say more."] = ()
    more_open: Annotated[bool, "Whether these are to be seen from the start."] = False
    hidden: Annotated[tuple[tuple[str, str], ...], "Names and values that are sent along."] = ()
    again: Annotated[str, "Words on the button that saves and asks for the next; may be empty."] = (
        ""
    )
    error: Annotated[str, "Why it cannot be done; empty if nothing is wrong."] = ""


@dataclass(frozen=True, slots=True)
class Said:
    """What was just done, and the way back."""

    words: Annotated[tuple[str, ...], "What was done, a sentence each."]
    undo: Annotated[FormView | None, "Takes it back; none where that cannot be done."]
    link: Annotated[Link | None, "Where it can be seen; none on that page itself."] = None
