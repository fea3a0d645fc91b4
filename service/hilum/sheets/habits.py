"""How a table writes numbers, shares and dates: told from all its cells, or asked."""

import re
from dataclasses import dataclass
from datetime import date
from statistics import median

from hilum.sheets.amounts import to_amount
from hilum.sheets.columns import Headed
from hilum.sheets.dates import TwoReadings, to_date
from hilum.sheets.grid import Cell, text_of
from hilum.sheets.headings import Field
from hilum.sheets.numbers import Numbers

LEAST_SEEDS = 20
"""From this median on, numbers without a unit in a column of quantities are counts of seeds: fewer
may be packets."""

_FIGURES = (Field.GERMINATION, Field.SEEDS, Field.GRAMS, Field.QUANTITY, Field.MINIMUM)
_DATES = (Field.TESTED, Field.SINCE)


@dataclass(frozen=True, slots=True)
class Question:
    """Something only the grower knows; ``options`` are the answers."""

    name: str  # name of the answer: ``dates`` or ``unit``
    text: str
    options: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Habits:
    """How a table is written.

    ``fraction`` tells that germinations are shares of 1, and ``mixed`` that some beside them are
    written with a per cent sign; ``unit`` is what bare quantities count.
    """

    numbers: Numbers
    fraction: bool
    mixed: bool
    day_first: bool | None
    unit: str
    notes: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()


def find_habits(headed: Headed, today: date, day_first: bool | None, unit: str) -> Habits:
    """Find out how a table is written; what the grower said goes before what is seen."""
    notes: list[str] = []
    questions: list[Question] = []
    numbers = Numbers(_decimal(headed))
    if numbers.decimal == ",":
        notes.append("Numbers are read with a decimal comma.")
    fraction = _is_fraction(headed, numbers)
    if fraction:
        notes.append("Germinations are read as shares of 1: 0.92 is 92 %.")
    order = day_first if day_first is not None else _day_first(headed, notes)
    if order is None and _unclear_dates(headed, today):
        text = "Dates such as 1/3/2023 can be read day first or month first. Which is it?"
        questions.append(Question("dates", text, ("day-first", "month-first")))
    counted = unit or _bare_unit(headed, numbers, notes, questions)
    mixed = any("%" in text_of(cell) for cell in _cells(headed, Field.GERMINATION))
    return Habits(numbers, fraction, mixed, order, counted, tuple(notes), tuple(questions))


def _cells(headed: Headed, *fields: Field) -> list[Cell]:
    columns = [column for column in headed.columns if column.field in fields]
    return [cell for each in columns for cell in headed.grid.column(each.index, headed.start)]


def _decimal(headed: Headed) -> str:
    texts = [cell for cell in _cells(headed, *_FIGURES) if isinstance(cell, str)]
    comma = any(re.search(r"\d,(\d{1,2}|\d{4,})(?![\d.,])|(?<!\d)0,\d", text) for text in texts)
    point = any(re.search(r"\d\.(\d{1,2}|\d{4,})(?![\d.,])|(?<!\d)0\.\d", text) for text in texts)
    if comma != point:
        return "," if comma else "."
    if comma or headed.grid.delimiter == ";":
        return ""
    return "." if headed.language == "en" else ","


def _is_fraction(headed: Headed, numbers: Numbers) -> bool:
    values = []
    for cell in _cells(headed, Field.GERMINATION):
        try:
            values.append(
                float(cell) if isinstance(cell, int | float) else numbers.read(text_of(cell))
            )
        except ValueError:
            continue
    return (
        bool(values)
        and all(0 <= value <= 1 for value in values)
        and any(0 < value < 1 for value in values)
    )


def _day_first(headed: Headed, notes: list[str]) -> bool | None:
    """Tell the order of day and month by the numbers above twelve, else by the language."""
    cells = [cell for row in headed.grid.rows[headed.start :] for cell in row.cells]
    pairs = [
        (int(found[1]), int(found[2]))
        for cell in cells
        if isinstance(cell, str) and (found := re.match(r"\s*(\d{1,2})[/-](\d{1,2})[/-]\d", cell))
    ]
    day = any(first > 12 for first, _ in pairs)
    month = any(second > 12 for _, second in pairs)
    if day != month:
        notes.append(f"Dates are read {'day' if day else 'month'} first, as some of them must be.")
        return day
    if pairs and not day and headed.language != "en":
        notes.append("Dates are read day first, as the language of the headings does.")
        return True
    return None


def _unclear_dates(headed: Headed, today: date) -> bool:
    for cell in _cells(headed, *_DATES):
        try:
            to_date(cell, today, day_first=None)
        except TwoReadings:
            return True
        except ValueError:
            continue
    return False


def _bare_unit(
    headed: Headed, numbers: Numbers, notes: list[str], questions: list[Question]
) -> str:
    """Unit of the numbers without one among the quantities: what the heading says, or seeds."""
    column = headed.of(Field.QUANTITY)
    if column is None or column.unit not in {"", "%"}:
        return column.unit if column else ""
    bare = []
    for cell in headed.grid.column(column.index, headed.start):
        try:
            amount = to_amount(cell, numbers)
        except ValueError:
            continue
        if amount.bare:
            bare.append(amount.bare)
    if not bare:
        return ""
    if median(bare) >= LEAST_SEEDS:
        notes.append(f"Numbers without a unit in “{column.heading}” are taken as seeds.")
        return "seeds"
    text = f"Numbers without a unit in “{column.heading}”, such as {bare[0]:g}: what do they count?"
    questions.append(Question("unit", text, ("seeds", "packets", "g", "oz")))
    return ""
