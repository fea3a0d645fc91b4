"""A list of 400 rows such as a seed library has, made by chance but always the same.

Latin-1, semicolons, decimal commas, merged title rows, columns in no order, dates in several
forms, and some rows that nobody could read.
"""

import csv
import io
import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

ROWS = 400
TITLES = 4  # rows above the first lot

_KINDS = {  # as written: key
    "Tomato": "tomato",
    "TOMATO": "tomato",
    "tomatoes": "tomato",
    "Lettuce": "lettuce",
    "Letuce": "lettuce",
    "Onion": "onion",
    "Leek": "leek",
    "Carrots": "carrot",
    "Runner bean": "runner-bean",
    "Beans, runner": "runner-bean",
    "Broad Bean": "broad-bean",
    "French bean": "garden-bean",
    "Pea": "pea",
    "Sweet Pea": "sweet-pea",
    "Sweet corn": "sweet-corn",
    "Beetroot": "beet",
    "Swiss chard": "swiss-chard",
    "Courgette": "summer-squash",
    "Squash, winter": "winter-squash",
    "Aubergine": "eggplant",
    "Chilli pepper": "pepper",
    "Pak choi": "pak-choi",
    "Calendula": "calendula",
    "Cosmos": "cosmos",
    "Sunflower": "sunflower",
    "Basil": "basil",
    "Coriander": "coriander",
}
_FIRST = (
    *("Harbour", "Lantern", "Tide", "Shadow", "Pier", "Mast", "Buoy"),
    *("Heron", "Marsh", "Saltern", "Jetty", "Gull", "Öland", "Dünen"),
)
_LAST = (
    *("Red", "Gold", "Early", "Giant", "Star", "Pride", "Beauty"),
    *("Special", "Queen", "Dwarf", "Striped", "Café", "Brûlée"),
)
_SOURCES = ("Hill & Dale Seeds", "own", "swap day", "Samenhof Küste", "Graines du Môle", "")
_PLACES = ("Drawer 1", "drawer 1", "Cold jar", "Tub (blue)", "")


@dataclass(frozen=True)
class Intended:
    """What a row means; ``None``: nobody can tell."""

    kind: str
    variety: str
    source: str
    year: int
    label_pct: float | None
    label_date: date | None
    seeds: float | None
    grams: float | None
    place: str


def made(seed: int = 5) -> tuple[bytes, dict[int, Intended | None]]:
    """Bytes of the file, and what each of its rows means."""
    chance = random.Random(seed)  # noqa: S311 - a test wants the same every time
    rows: list[list[str]] = [
        ["Seed library of Saltmarsh Lane – stock list", *[""] * 8],
        ["printed 12.9.2026, please return corrections to the shed", *[""] * 8],
        [""] * 9,
        *[["Where kept", "Crop", "Name of variety", "Obtained from", "Harvest", "Germ. %"]],
    ]
    rows[3] += ["Date tested", "Amount", "Notes"]
    meant: dict[int, Intended | None] = {}
    names = [f"{first} {last}" for first in _FIRST for last in _LAST]
    chance.shuffle(names)
    for n in range(ROWS):
        cells, intended = _row(chance, names[n % len(names)] + (" II" if n >= len(names) else ""))
        spoilt = chance.random() < 0.03
        rows.append(chance.choice(_SPOILT)(cells) if spoilt else cells)
        meant[len(rows)] = None if spoilt else intended
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=";").writerows(rows)
    return text.getvalue().encode("latin-1", "replace"), meant


def _row(chance: random.Random, variety: str) -> tuple[list[str], Intended]:
    written = chance.choice(list(_KINDS))
    year = chance.randint(2012, 2025)
    pct = None if chance.random() < 0.3 else chance.randint(40, 198) / 2
    day = (
        None
        if pct is None
        else date(chance.randint(year, 2026), chance.randint(1, 8), chance.randint(1, 28))
    )
    seeds, grams, amount = _amount(chance)
    source, place = chance.choice(_SOURCES), chance.choice(_PLACES)
    percent = "" if pct is None else _comma(pct) + chance.choice(["", " %", "%"])
    forms: list[Callable[[date], str]] = [
        lambda d: f"{d:%d.%m.%Y}",
        lambda d: f"{d.day}/{d.month}/{d.year}",
        lambda d: f"{d:%Y-%m-%d}",
        lambda d: f"{d.day} {d:%B %Y}",
    ]
    tested = "" if day is None else chance.choice(forms)(day)
    harvest = chance.choice([str(year), f"'{year % 100}", f"{year} "])
    quoted = chance.choice([variety, variety, f'"{variety}"', f"‘{variety}’", f"  {variety}"])
    quoted = quoted.replace("‘", "'").replace("’", "'")
    note = chance.choice(["", "", "tall", "needs drying; ask", "line one\nline two"])
    intended = Intended(
        *(_KINDS[written], variety, source, year, pct, day, seeds, grams),
        place=place.casefold(),
    )
    return [place, written, quoted, source, harvest, percent, tested, amount, note], intended


def _amount(chance: random.Random) -> tuple[float | None, float | None, str]:
    """Seeds, grams, and how they are written."""
    sort = chance.randrange(6)
    count, weight = chance.randint(5, 2500), chance.randint(1, 400) / 10
    if sort == 0:
        return None, None, ""
    if sort == 1:
        return count, None, f"{count} seeds"
    if sort == 2:
        return count, None, f"ca. {count} seeds"
    if sort == 3:
        return None, weight, f"{_comma(weight)} g"
    if sort == 4:
        return None, weight, f"{_comma(weight)}g"
    return None, None, f"{count % 4 + 1} pkts"


def _comma(value: float) -> str:
    return f"{value:g}".replace(".", ",")


_SPOILT: tuple[Callable[[list[str]], list[str]], ...] = (
    lambda cells: [cells[0], "", *cells[2:]],
    lambda cells: [cells[0], "Mystery vine", *cells[2:]],
    lambda cells: [*cells[:4], "20-something", *cells[5:]],
    lambda cells: [*cells[:5], "good", *cells[6:]],
    lambda cells: [*cells[:5], "940", *cells[6:]],
    lambda cells: [*cells[:6], "last spring", *cells[7:]],
    lambda cells: [*cells[:7], "-20 seeds", cells[8]],
)
