"""Which row of a grid, or which two, hold the headings."""

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from hilum.sheets.grid import Cell, Grid, Row, text_of
from hilum.sheets.headings import SURE, Field, meanings, plain, unit_of

HEADING_WITHIN = 60  # rows from the top in which the headings are looked for
LEAST = 1.5  # score of a row of headings
LONGEST_HEADING = 60  # signs
ONE_MORE = 0.9  # so much must the line above add to a line of headings to be a part of it


@dataclass(frozen=True, slots=True)
class Headings:
    """The headings of a grid; its data begin at row ``start`` (an index, as ``at``)."""

    texts: tuple[str, ...]
    at: int
    start: int
    score: float


def find_headings(grid: Grid) -> Headings | None:
    """Find the headings: the row that reads most like them, with the line above it, or below."""
    rows = grid.rows[:HEADING_WITHIN]
    scores = [_score(row.cells) for row in rows]
    best = max(scores, default=0.0)
    at = scores.index(best) if scores else 0
    pairs = [
        (_score(joined), top, joined)
        for top in (at - 1, at)
        if 0 <= top < len(rows) - 1 and (joined := _joined(rows[top], rows[top + 1], grid.width))
    ]
    pair = max(pairs, default=None)
    if pair is not None and pair[0] >= max(LEAST, best + ONE_MORE):
        return _with_units(grid, pair[2], pair[1] + 1, pair[0])
    if best < LEAST:
        return None
    texts = tuple(text_of(rows[at].cell(index)) for index in range(grid.width))
    return _with_units(grid, texts, at, best)


def headings_with(grid: Grid, names: Collection[str]) -> Headings | None:
    """Find the first row that holds one of these headings."""
    wanted = {plain(name) for name in names} - {""}
    for at, row in enumerate(grid.rows[:HEADING_WITHIN]):
        texts = tuple(text_of(row.cell(index)) for index in range(grid.width))
        if wanted & {plain(text) for text in texts}:
            return _with_units(grid, texts, at, 0.0)
    return None


def _score(cells: Sequence[Cell]) -> float:
    """Count the different things the texts of a row are headings of; figures count against it."""
    fields: dict[Field, float] = {}
    against = 0.0
    for cell in cells:
        text = text_of(cell)
        if (not isinstance(cell, str) and cell is not None) or re.fullmatch(r"[\d.,/-]+%?", text):
            against += 0.5
            continue
        for meaning in meanings(text)[:1] if len(text) <= LONGEST_HEADING else ():
            fields[meaning.field] = max(fields.get(meaning.field, 0.0), meaning.fit)
    return sum(fields.values()) - against


def _joined(top: Row, bottom: Row, width: int) -> tuple[str, ...]:
    """Join two lines of headings; the upper ones reach to the next of their line."""
    above, below = (
        [text_of(row.cell(index)) if _is_text(row.cell(index)) else None for index in range(width)]
        for row in (top, bottom)
    )
    if None in above or None in below or sum(map(bool, above)) < 2:
        return ()
    texts = []
    reach = ""
    for upper, lower in zip(above, below, strict=True):
        reach = upper or (reach if lower else "")
        texts.append(_join(reach or "", lower or ""))
    return tuple(texts)


def _is_text(cell: Cell) -> bool:
    return cell is None or (isinstance(cell, str) and len(cell) <= LONGEST_HEADING)


def _join(upper: str, lower: str) -> str:
    """Give both, unless the lower line says it all alone."""
    both = f"{upper} {lower}".strip()
    own_unit = lower != "%" and unit_of(lower)  # “Packets” below “In stock”
    for text in (lower, both) if own_unit else (both, lower):
        if any(meaning.fit >= SURE for meaning in meanings(text)):
            return text
    return both


def _with_units(grid: Grid, texts: tuple[str, ...], at: int, score: float) -> Headings:
    """Add a second line that holds only units and forms of dates."""
    start = at + 1
    if start < len(grid.rows) and _is_units(under := grid.rows[start].cells):
        units = [text_of(cell) for cell in under] + [""] * len(texts)
        texts = tuple(
            f"{head} ({unit})" if unit else head for head, unit in zip(texts, units, strict=False)
        )
        start += 1
    return Headings(texts, at, start, score)


def _is_units(cells: Sequence[Cell]) -> bool:
    texts = [text_of(cell).strip("()[]") for cell in cells if text_of(cell)]
    forms = re.compile(r"[dmyjta]{1,4}([./-][dmyjta]{1,4}){1,2}", re.IGNORECASE)
    return bool(texts) and all(
        (unit_of(text) and len(text) <= 10 and not re.search(r"\d", text)) or forms.fullmatch(text)
        for text in texts
    )
