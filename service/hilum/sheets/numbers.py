"""Numbers and percentages as growers write them.

Each function gives what was read and, where something was assumed, a sentence about it. What cannot
be read raises ``ValueError`` with the reason in words.
"""

import math
import re
from dataclasses import dataclass

from hilum.sheets.grid import Cell, text_of

ABOUT = r"(?:approx(?:imately)?\.?|about|around|ca\.?|c\.|circa|roughly|est\.?|env\.|environ|"
ABOUT += r"etwa|ungefähr|ungefaehr|ongeveer|aprox(?:imadamente)?\.?|unos|"
ABOUT += r"±|\+/-|~|≈|>=?|<=?|≥|≤|min\.?|max\.?|at least)"


@dataclass(frozen=True, slots=True)
class Numbers:
    """How numbers are written in a table: which sign stands before the decimals, if that is known.

    ``decimal`` is ``"."``, ``","`` or ``""`` (not known).
    """

    decimal: str = ""

    def read(self, text: str) -> float:
        """Read a number written as text; ``ValueError`` in words if it is none or is unclear."""
        bare = re.sub(r"[\s\u00a0\u202f'’]", "", text)
        if re.fullmatch(r"[+-]?\d+([.,]?\d+)?[eE][+-]?\d+|[+-]?\d+", bare):
            return float(bare.replace(",", "."))
        if not re.fullmatch(r"[+-]?[\d.,]*\d[.,]?", bare):
            raise ValueError(f"“{text}” is no number")
        return float(self._plain(bare, text))

    def whole(self, cell: Cell) -> int:
        """Read a count of seeds."""
        value = self.read(text_of(cell))
        if value < 0 or not value.is_integer():
            raise ValueError(f"“{text_of(cell)}” is no number of seeds")
        return int(value)

    def _plain(self, bare: str, text: str) -> str:
        bare = bare.rstrip(".,")
        points, commas = bare.count("."), bare.count(",")
        if points and commas:
            decimal = max(".,", key=bare.rindex)
            if bare.count(decimal) > 1:
                raise ValueError(f"“{text}” is no number")
        elif max(points, commas) > 1:
            decimal = "," if points else "."  # many of one sign: they part thousands
        else:
            decimal = self._single(bare, text)
        thousands = "." if decimal == "," else ","
        whole = bare.split(decimal)[0]
        if thousands in whole and not re.fullmatch(rf"[+-]?\d{{1,3}}(\{thousands}\d{{3}})+", whole):
            raise ValueError(f"“{text}” is no number")
        return bare.replace(thousands, "").replace(decimal, ".")

    def _single(self, bare: str, text: str) -> str:
        """Tell what one point or comma in a number means."""
        sign = "," if "," in bare else "."
        if not re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", bare):
            return sign  # no thousands look like this
        if not self.decimal:
            raise ValueError(f"“{text}” can be read as a thousand or as a decimal number")
        return self.decimal


def to_number(cell: Cell, numbers: Numbers) -> float:
    """Read a cell that should hold one number."""
    if isinstance(cell, int | float):
        value = float(cell)
    else:
        text = text_of(cell)
        if text.casefold() in {"nan", "inf", "-inf", "infinity", "-infinity"}:
            raise ValueError(f"“{text}” is no number")
        value = numbers.read(text)
    if not math.isfinite(value):
        raise ValueError(f"“{text_of(cell)}” is no number that could be counted or weighed")
    return value


# Percentages


OF = r"(?:/|of|out of|von|sur|van|de|auf|aus|uit)"
_FIGURE = re.compile(
    rf"((?:{ABOUT}\s*)?\d+\s*{OF}\s*\d+|(?:{ABOUT}\s*)?\d[\d.,]*(?:\s*%?\s*(?:[-–—]|to|bis)\s*\d[\d.,]*)?"
    r"(?:\s*\+|\s*(?:%|percent|per cent|pct\.?|prozent|procent|pour cent|por ciento))?)",
    re.IGNORECASE,
)


def figure_and_rest(cell: Cell) -> tuple[Cell, str]:
    """Part a germination from what is written behind it: “85 % (Mar 2024)”."""
    text = text_of(cell)
    found = _FIGURE.match(text)
    if not isinstance(cell, str) or found is None or found.end() == len(text):
        return cell, ""
    rest = text[found.end() :]
    if not re.match(r"\s|[,;(\[=]", rest) or not (bare := rest.strip(" ,;()[]")):
        return cell, ""
    return found[1], bare


def to_percent(cell: Cell, numbers: Numbers, *, fraction: bool) -> tuple[float, int | None, str]:
    """Read a germination: per cent, seeds tested if they are said, and what was assumed."""
    text = text_of(cell)
    counted = re.fullmatch(rf"({ABOUT}\s*)?(\d+)\s*{OF}\s*(\d+)", text, re.IGNORECASE)
    if counted and not isinstance(cell, int | float):
        return _counted(int(counted[2]), int(counted[3]), text, sure=not counted[1])
    bare = re.sub(
        r"\s*(%|percent|per cent|pct\.?|prozent|procent|pour cent|por ciento)\s*$",
        "",
        text,
        flags=re.IGNORECASE,
    )
    bare = re.sub(r"\s*\(?germ(ination)?\.?\)?$", "", bare, flags=re.IGNORECASE).rstrip("% ")
    if isinstance(cell, int | float):
        value, note = to_number(cell, numbers), ""
    else:
        value, note = _at_least(bare, text, numbers)
    if fraction and not re.search(r"%|cent|pct", text, re.IGNORECASE):
        value = round(value * 100, 10)
    if not 0 <= value <= 100:
        raise ValueError(f"“{text}”: a germination lies between 0 and 100 %")
    return value, None, note


def _counted(germinated: int, sown: int, text: str, *, sure: bool) -> tuple[float, int | None, str]:
    if sown < 1 or germinated > sown:
        raise ValueError(f"of {sown} seeds, {germinated} cannot have come up")
    if 1 <= germinated <= 12 and 1900 <= sown <= 2100:
        raise ValueError(f"“{text}” can be a month or a count of seeds")
    note = f"“{text}” read as {germinated} of {sown} seeds"
    plain = sure and not (germinated <= 12 and 20 <= sown <= 31 and sown != 25)
    return round(100 * germinated / sown, 10), sown if sure else None, "" if plain else note


def _at_least(bare: str, text: str, numbers: Numbers) -> tuple[float, str]:
    """Read one number, or the lower of two; a sign such as ~ or > is said."""
    about = re.match(rf"{ABOUT}\s*", bare, re.IGNORECASE)
    rest = bare[about.end() :] if about else bare
    span = re.fullmatch(r"(\d[\d.,]*)\s*%?\s*(?:[-–—]|to|bis)\s*(\d[\d.,]*)", rest)
    if span:
        low = min(numbers.read(span[1]), numbers.read(span[2]))
        return low, f"“{text}” taken as {low:g}"
    rest, more = rest.rstrip("+"), rest.endswith("+")
    value = to_number(rest, numbers)
    return value, f"“{text}” taken as {value:g}" if about or more else ""
