"""What the pages about signing in and letting others in show."""

from dataclasses import dataclass
from typing import Annotated


@dataclass(frozen=True, slots=True)
class PasswordPage:
    """Asks for a password: to sign in, or a first one."""

    title: Annotated[str, "Title of the page."]
    intro: Annotated[tuple[str, ...], "What it is about, a paragraph each."]
    action: Annotated[str, "Address the form is sent to."]
    submit: Annotated[str, "Words on its button."]
    new: Annotated[bool, "Whether a password is made up, and so typed twice."]
    hidden: Annotated[tuple[tuple[str, str], ...], "Names and values that are sent along."] = ()
    error: Annotated[str, "Why it was refused; empty if nothing is wrong."] = ""


@dataclass(frozen=True, slots=True)
class GrantRow:
    """A token or shared link, as listed."""

    id: Annotated[int, "Its number."]
    name: Annotated[str, "What the owner calls it."]
    what: Annotated[str, "What it is good for."]
    state: Annotated[str, "Since when and until when it holds, and when it was used."]
    holds: Annotated[bool, "Whether it can be withdrawn."]


@dataclass(frozen=True, slots=True)
class AccessPage:
    """Who may come in: password, sessions, tokens and shared links."""

    title: Annotated[str, "Title of the page."]
    words: Annotated[str, "How the pages are guarded now, as a sentence."]
    has_password: Annotated[bool, "Whether there is a password."]
    grants: Annotated[tuple[GrantRow, ...], "Tokens and links, newest first."]
    sensors: Annotated[tuple[str, ...], "Names of sensors that are known."]
    made: Annotated[str, "The key or link just made, shown this once; empty if none was."] = ""
    made_words: Annotated[str, "What it is and what to do with it."] = ""
    error: Annotated[str, "Why something was refused; empty if nothing is wrong."] = ""
    scope: Annotated[str, "What was chosen for a new one, if it was refused."] = ""
    name: Annotated[str, "The name that was typed for it."] = ""
    sensor: Annotated[str, "The sensor that was typed for it."] = ""
    days: Annotated[str, "The days that were typed for it."] = ""


@dataclass(frozen=True, slots=True)
class SharedPage:
    """Greets someone who opened a shared link."""

    title: Annotated[str, "Title of the page."]
    words: Annotated[str, "What the link is good for."]
