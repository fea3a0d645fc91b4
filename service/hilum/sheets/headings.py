"""What growers write over their columns, in five languages, and what it means here."""

import csv
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, lru_cache
from importlib.resources import files

from hilum.science.names import slip_count

WEAK = 0.5  # names below this are no match
SURE = 0.95  # names from here on are the phrase itself
_SLIP_FROM = 6  # letters from which one typing error is forgiven


class Field(StrEnum):
    """What a column can hold."""

    CODE = "code"
    KIND = "kind"
    BOTANICAL = "botanical name"
    VARIETY = "variety"
    SOURCE = "source"
    YEAR = "year"
    GERMINATION = "germination"
    TESTED = "date of the test"
    TESTED_SEEDS = "seeds tested"
    SPROUTED = "seeds that came up"
    SEEDS = "seeds"
    GRAMS = "weight"
    PACKETS = "packets"
    QUANTITY = "quantity"
    MINIMUM = "minimum germination"
    BOX = "box"
    WRAP = "wrap"
    PREPARED = "treatment"
    SINCE = "in the box since"
    NOTE = "note"
    UNUSED = "not kept"


TURN = "turn"
"""Marks words that turn what the rest of a heading says: “seeds per gram” is no seed count."""
_BRACKET = re.compile(r"[(\[{]([^)\]}]*)[)\]}]")
_UNITS = {
    "%": "%",
    "percent": "%",
    "pct": "%",
    "g": "g",
    "gram": "g",
    "grams": "g",
    "gramm": "g",
    "gr": "g",
    "kg": "kg",
    "mg": "mg",
    "oz": "oz",
    "ounces": "oz",
    "lb": "lb",
    "lbs": "lb",
    "seeds": "seeds",
    "seed": "seeds",
    "ct": "seeds",
    "count": "seeds",
    "korn": "seeds",
    "stück": "seeds",
    "stk": "seeds",
    "graines": "seeds",
    "zaden": "seeds",
    "semillas": "seeds",
    "gramos": "g",
    "sobres": "packets",
    "packets": "packets",
    "pkts": "packets",
    "pkt": "packets",
    "packs": "packets",
    "sachets": "packets",
    "tüten": "packets",
    "zakjes": "packets",
}

_RATIO = re.compile(
    r"/\s*(g|gr|oz|kg|lb|m|m2|ft|\d+)\b|\b(of|von|sur|van|de)\s+\d+\b", re.IGNORECASE
)
_EACH = re.compile(
    r"(\b(per|je|pro|par|in (a|each))\s+|/\s*)"
    r"(packet|pkt|pack|envelope|sachet|tüte|zakje|portion)|packet size|\b(per|/)\s*pk",
    re.IGNORECASE,
)


def counts_each(heading: str) -> bool:
    """Tell whether a heading speaks of the content of one packet."""
    return bool(_EACH.search(heading))


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a heading may mean: how well it fits (0 to 1), and in which language."""

    field: Field
    fit: float
    language: str


@lru_cache(maxsize=20_000)
def plain(text: str) -> str:
    """Words of a heading: lower case, no accents, no punctuation."""
    bare = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(sign for sign in bare if not unicodedata.combining(sign))
    words = re.findall(r"[a-z0-9]+", re.sub(r"['’]s\b|\.(?=\w\b)", "", bare))
    return " ".join(words) or next((sign for sign in "#%" if sign in text), "")


def unit_of(heading: str) -> str:
    """Unit a heading names: in brackets, or as its last word; empty if none."""
    bracket = _BRACKET.search(heading)
    words = [bracket[1]] if bracket else []
    words += re.split(r"[\s,/_]+", _BRACKET.sub(" ", heading).strip())[-1:]
    if "%" in heading:
        return "%"
    return next((_UNITS[word] for word in map(str.casefold, words) if word in _UNITS), "")


@lru_cache(maxsize=2_000)
def meanings(heading: str) -> tuple[Meaning, ...]:
    """Give what a heading may mean, the best first."""
    text = re.sub(r"#", " no ", heading) if plain(heading) != "#" else heading
    bare = plain(_BRACKET.sub(" ", text)) or plain(text)
    if not bare:
        return ()
    bracket = _BRACKET.search(text)
    words = {*bare.split(), *(plain(bracket[1]).split() if bracket else ())}
    if _RATIO.search(heading):
        words.add("per")
    turned = set() if counts_each(heading) else _turns() & words
    short = _without_unit(bare)
    best: dict[Field, Meaning] = {}
    for phrase, field, language in _phrases():
        fit = 0.0 if turned - {*phrase.split()} else max(_fit(bare, phrase), _fit(short, phrase))
        if fit >= WEAK and (field not in best or fit > best[field].fit):
            best[field] = Meaning(field, fit, language)
    found = sorted(best.values(), key=lambda meaning: -meaning.fit)
    if found and found[0].fit >= SURE:
        found = [meaning for meaning in found if meaning.fit >= SURE]
    return tuple(found)


def _without_unit(bare: str) -> str:
    """Take a unit off the end of a heading: “wt g”, “menge in g”."""
    words = bare.split()
    if len(words) < 2 or words[-1] not in _UNITS:
        return bare
    return " ".join(words[:-2] if words[-2] in {"in", "en"} and len(words) > 2 else words[:-1])


@cache
def _words() -> tuple[Mapping[str, str], ...]:
    text = files("hilum.sheets").joinpath("heading_words.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(line for line in text.splitlines() if not line.startswith("# ")))


@cache
def _phrases() -> tuple[tuple[str, Field, str], ...]:
    return tuple(
        (plain(row["phrase"]), Field[row["field"].upper()], row["language"])
        for row in _words()
        if row["field"] != TURN
    )


@cache
def _turns() -> frozenset[str]:
    return frozenset(row["phrase"] for row in _words() if row["field"] == TURN)


def _fit(heading: str, phrase: str) -> float:
    """Tell how well a heading fits a phrase: whole, nearly, or as a part of it."""
    if heading == phrase:
        return 1.0
    joined, other = heading.replace(" ", ""), phrase.replace(" ", "")
    if abs(len(joined) - len(other)) <= 1:
        if joined.rstrip("s") == other.rstrip("s"):
            return 0.95
        if len(other) >= _SLIP_FROM and slip_count(joined, other, 1) <= 1:
            return 0.85
    return _part(heading.split(), phrase.split()) if phrase in heading else 0.0


def _part(words: list[str], wanted: list[str]) -> float:
    """Tell how well a phrase stands for a longer heading it is a part of."""
    if len(words) > 6 or len("".join(wanted)) < 4:
        return 0.0
    if any(words[at : at + len(wanted)] == wanted for at in range(len(words))):
        return 0.5 + 0.3 * len(wanted) / len(words)
    return 0.0
