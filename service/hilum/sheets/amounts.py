"""Amounts of seed as growers write them: counts, weights, packets.

What cannot be read raises ``ValueError`` with the reason in words.
"""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from hilum.keeping.care.lotparts import MOST_GRAMS, MOST_SEEDS
from hilum.sheets.grid import Cell, text_of
from hilum.sheets.numbers import ABOUT, Numbers, to_number

GRAMS = {  # international avoirdupois pound of 0.45359237 kg, by definition
    "g": 1.0,
    "kg": 1000.0,
    "mg": 0.001,
    "oz": 28.349523125,
    "lb": 453.59237,
}
_UNITS = {
    "g": r"g|gr|grs|gm|gms|grams?|gramm|grammes?|gramme|gramos?",
    "kg": r"kg|kgs|kilos?|kilograms?|kilogramm|kilogramos?",
    "mg": r"mg|milligrams?|milligramm",
    "oz": r"oz|ozs|ounces?|onces?|onzas?",
    "lb": r"lbs?|pounds?",
    "seeds": r"seeds?|sds?|korn|körner|koerner|samen|graines?|zaden|zaad|zaadjes|ct|count|pcs|"
    r"pieces?|stück|stk|st|kerne?|corns?|semillas?|granos?|samenkörner|samenkorn|stuks?|pc",
    "packets": r"packets?|pkts?|pkgs?|packs?|packages?|pk|envelopes?|envs?|sachets?|sachet|"
    r"zakjes?|päckchen|tüten?|tütchen|portione?n?|paquets?|pak|pakjes?|bags?|sobres?|paquetes?|bolsas?|beutel|packung(?:en)?",
}
_PARTS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅛": "1/8"}
_MIXED = re.compile(r"(?<![\d./,])(?:(\d+)\s+)?(\d+)\s*/\s*(\d+)(?![\d/])")
_THOUSANDS = re.compile(r"(?<!\d)(\d{1,3})((?:[ \u00a0\u202f]\d{3})+)(?!\d)")
_TOKEN = re.compile(r"\d[\d.,'’]*(?:e[+-]?\d+)?|[^\W\d_]+|[^\w\s]|_", re.IGNORECASE)
_TIMES = {"x", "×", "*", "of", "à", "je", "each", "ea", "per", "de", "van", "mit", "@", "con"}
_FILLERS = {"(", ")", "[", "]", ",", ";", ":", ".", "left", "a", "in", "total", "rest", "noch"}
_SPANS = {"-", "–", "—", "to", "bis"}


class NoAmountError(ValueError):
    """Words that give no amount; they are worth keeping as they are."""


@dataclass(frozen=True, slots=True)
class Amount:
    """Seeds, weight and packets a cell speaks of; ``bare`` is a number without a unit."""

    seeds: float | None = None
    grams: float | None = None
    packets: float | None = None
    bare: float | None = None
    note: str = ""


@dataclass(slots=True)
class _Said:
    """What was found in a cell so far."""

    items: list[tuple[float, str]] = field(default_factory=list)  # value and unit, "" for none
    times: bool = False  # something is to be multiplied
    rough: bool = False  # approximate, or the lower of two
    span: bool = False  # the lower of two


def to_amount(cell: Cell, numbers: Numbers, unit: str = "") -> Amount:
    """Read an amount; ``unit`` is what its heading says (a key of the units)."""
    text = text_of(cell)
    if isinstance(cell, int | float):
        said = _Said([(to_number(cell, numbers), unit)])
    else:
        said = _parsed(text, numbers, unit)
    found = _together(said, text)
    note = ""
    if said.rough:
        first = next(iter(found.values()))
        note = f"“{text}” taken as {first:g}{' g' if 'grams' in found else ''}"
    return _checked(found, note)


def _parsed(text: str, numbers: Numbers, unit: str) -> _Said:
    said = _Said()
    plain = text.casefold()
    for sign, fraction in _PARTS.items():
        plain = plain.replace(sign, f" {fraction}")
    rough = re.match(rf"\s*{ABOUT}\s*", plain, re.IGNORECASE)
    plain = _MIXED.sub(lambda found: _fraction(found, numbers), plain)
    plain = _THOUSANDS.sub(lambda found: found[1] + re.sub(r"\D", "", found[2]), plain)
    plain, roughly = re.subn(rf"(?<![^\W\d_]){ABOUT}(?![^\W\d_])", " ", plain, flags=re.IGNORECASE)
    said.rough = bool(rough or roughly)
    tokens = iter(_TOKEN.findall(plain))
    for token in tokens:
        _take(token, tokens, said, numbers, text)
    if not said.items:
        raise _unread(text)
    if len(said.items) == 1 and not said.items[0][1]:
        said.items = [(said.items[0][0], unit)]
    return said


def _take(word: str, rest: Iterator[str], said: _Said, numbers: Numbers, text: str) -> None:
    """Take in one word or sign of an amount."""
    if word[0].isdigit():
        said.items.append((numbers.read(word), ""))
    elif kind := _unit(word):
        if not said.items or said.items[-1][1]:
            raise _unread(text)
        said.items[-1] = (said.items[-1][0], kind)
    elif word in _TIMES:
        said.times = True
    elif word in _SPANS and not said.items:
        raise ValueError(f"“{text}” is no amount of seed: it cannot be below nothing")
    elif word in _SPANS:
        high = next(rest, "")
        if not high[:1].isdigit() or said.span or numbers.read(high) <= said.items[-1][0]:
            raise _unread(text)
        said.span = True
        said.rough = True
    elif word == "+":
        said.rough = True
    elif word not in _FILLERS:
        raise _unread(text)


def _unit(word: str) -> str:
    return next((name for name, words in _UNITS.items() if re.fullmatch(words, word)), "")


def _fraction(found: re.Match[str], numbers: Numbers) -> str:
    whole, top, bottom = int(found[1] or 0), int(found[2]), int(found[3])
    if not 0 < top < bottom <= 16:  # such as 3/8; 46/50 is a test, not a share
        return found[0]
    value = f"{whole + top / bottom:.6f}"
    return f" {value.replace('.', ',') if numbers.decimal == ',' else value}"


def _together(said: _Said, text: str) -> dict[str, float]:
    """Add units up: two packets of 50 seeds are 100 seeds."""
    found: dict[str, float] = {}
    before = ""
    for value, unit in said.items:
        name = "grams" if unit in GRAMS else unit or "bare"
        if name == "bare" and "bare" in found and said.times:
            found["bare"] *= value
            continue
        if name in found and (before, unit) != ("lb", "oz"):
            raise ValueError(f"“{text}” says two amounts")
        found[name] = found.get(name, 0.0) + value * GRAMS.get(unit, 1.0)
        before = unit
    if len(found) > 1 and "bare" in found and not said.times:
        raise _unread(text)
    times = found.get("packets", 1.0) * (found.pop("bare", 1.0) if len(found) > 1 else 1.0)
    measured = {"seeds", "grams"} & set(found)
    if measured and times != 1:
        if not said.times:
            raise NoAmountError(f"“{text}” can mean so much in all or in each packet")
        found |= {name: found[name] * times for name in measured}
    return found


def _checked(found: dict[str, float], note: str) -> Amount:
    for value in found.values():
        if value < 0 or not math.isfinite(value):
            raise ValueError(f"{value:g} is no amount of seed: it cannot be below nothing")
    count = max(found.get(name, 0.0) for name in ("seeds", "bare", "packets"))
    if count > MOST_SEEDS:
        raise ValueError(f"{count:g} seeds are more than any lot holds ({MOST_SEEDS:,.0f} at most)")
    if not found.get("seeds", 0.0).is_integer():
        raise ValueError(f"{found['seeds']:g} seeds: a count of seeds has no decimals")
    if (grams := found.get("grams", 0.0)) > MOST_GRAMS:
        raise ValueError(f"{grams:g} g are more than any lot weighs ({MOST_GRAMS:,.0f} g at most)")
    return Amount(
        found.get("seeds"), found.get("grams"), found.get("packets"), found.get("bare"), note
    )


def _unread(text: str) -> NoAmountError:
    return NoAmountError(f"“{text}” is no amount that could be read")
