"""Reads what was typed: numbers, days and times as people write them, or a sentence why not."""

import math
import re
from dataclasses import dataclass
from datetime import date, datetime, time

from hilum.domain.errors import InvalidInputError
from hilum.web.guard.csrf import Form
from hilum.web.views.format import Style

MOST_NUMBER = 1e12  # whatever it counts: what is made of it stays finite
LONGEST = 2_000


@dataclass(frozen=True, slots=True)
class Typed:
    """What was typed, on a page of this place. Every error names its field."""

    form: Form
    style: Style

    def text(self, name: str, *, longest: int = LONGEST) -> str:
        """Give a text; empty where nothing was typed."""
        text = self.form.text(name)
        if len(text) > longest:
            raise InvalidInputError(
                f"That is {len(text)} characters; at most {longest} are kept.", name
            )
        if any(ord(sign) < 32 and sign not in "\n\r\t" for sign in text):
            raise InvalidInputError("That holds signs no keyboard has; type it anew.", name)
        return text

    def needed(self, name: str, words: str) -> str:
        """Give a text that must not be empty."""
        text = self.text(name)
        if not text:
            raise InvalidInputError(words, name)
        return text

    def number(self, name: str) -> float | None:
        """Give a number with a decimal point or comma; nothing where nothing was typed."""
        text = re.sub(r"[\s\u00a0\u202f]", "", self.text(name)).replace("−", "-")
        if not text:
            return None
        if re.fullmatch(r"-?\d{1,3}[.,]\d{3}", text) and not text.lstrip("-").startswith("0"):
            plain = re.sub(r"[.,]", "", text)
            raise InvalidInputError(
                f"“{text}” can be read in two ways: write {plain} or {text[:-1]}.", name
            )
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise InvalidInputError(f"“{self.form.text(name)}” is not a number.", name)
        if abs(value) > MOST_NUMBER:
            raise InvalidInputError(f"“{text[:40]}” is more than anything here can be.", name)
        return value

    def needed_number(self, name: str, words: str) -> float:
        """Give a number that must not be left out."""
        value = self.number(name)
        if value is None:
            raise InvalidInputError(words, name)
        return value

    def whole(self, name: str) -> int | None:
        """Give a whole number; nothing where nothing was typed."""
        text = re.sub(r"[\s\u00a0\u202f]", "", self.text(name))
        if not text:
            return None
        if not re.fullmatch(r"-?\d{1,9}", text, re.ASCII):
            raise InvalidInputError(f"“{self.form.text(name)}” is not a whole number.", name)
        return int(text)

    def day(self, name: str) -> date | None:
        """Give a date; nothing where nothing was typed."""
        text = self.text(name)
        if not text:
            return None
        try:
            return date.fromisoformat(text)
        except ValueError as error:
            raise InvalidInputError(
                f"“{text}” is no date; write it like 2026-03-01.", name
            ) from error

    def clock(self, name: str) -> time | None:
        """Give a time of day; nothing where nothing was typed."""
        text = self.text(name)
        if not text:
            return None
        found = re.fullmatch(r"(\d{1,2})(?:[:.](\d{2})(?:[:.]\d{2})?)?", text, re.ASCII)
        if found is None or int(found[1]) > 23 or int(found[2] or 0) > 59:
            raise InvalidInputError(f"“{text}” is no time of day; write it like 22:30.", name)
        return time(int(found[1]), int(found[2] or 0))

    def moment(self, name: str, otherwise_ms: int) -> int:
        """Give a moment, read in the time zone of this place."""
        text = self.text(name)
        if not text:
            return otherwise_ms
        try:
            when = datetime.fromisoformat(text)
        except ValueError as error:
            raise InvalidInputError(
                f"“{text}” is no date and time; write it like 2026-03-01T18:30.", name
            ) from error
        if when.tzinfo is None:
            when = when.replace(tzinfo=self.style.zone)
        return round(when.timestamp() * 1000)
