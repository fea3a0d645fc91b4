"""Which row holds the headings, and what each column means: by its heading and by what is in it."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

from hilum.domain.errors import InvalidInputError
from hilum.sheets.amounts import to_amount
from hilum.sheets.dates import TwoReadings, to_date, to_year
from hilum.sheets.grid import Cell, Grid, text_of
from hilum.sheets.headings import Field, Meaning, meanings, plain, unit_of
from hilum.sheets.headrows import find_headings, headings_with
from hilum.sheets.kindwords import exact, names_a_kind, section_key
from hilum.sheets.numbers import Numbers, figure_and_rest, to_percent
from hilum.sheets.wraps import wrap_of

SAMPLE = 80  # different cells of a column looked at
FITS = 0.3  # share of cells that must look like what the heading says
KINDS = 0.5  # share of cells that must name a kind where the heading says little or nothing

Said = Mapping[str, str] | Mapping[int, str]
"""Field (or ``ignore``) of columns, by heading or letter, or by place (from 0 on)."""

IGNORE = "ignore"
"""What is said of a column that is to be left out."""

_MANY = {Field.NOTE, Field.PREPARED, Field.UNUSED}  # of these there can be several columns
_VAGUE = {
    *("name", "type", "item", "description", "seed", "seeds", "seeds name", "what", "product"),
    *("plant", "plant name", "seed name", "common", "samen", "saatgut", "nom", "naam", "zaad"),
    *("bezeichnung", "designation", "herb", "flower", "species"),
}
_RUNNING = {"#", "no", "nr", "n", "number", "numero", "row no", "item no", "volgnummer", "id"}
_INSTEAD = {  # what a column may be when its cells do not fit its heading
    Field.GERMINATION: Field.TESTED,
    Field.TESTED: Field.GERMINATION,
    Field.SEEDS: Field.KIND,
    Field.SINCE: Field.BOX,
    Field.PACKETS: Field.WRAP,
    Field.BOX: Field.WRAP,
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, what it is taken for (``None``: not known), and why in words."""

    index: int
    heading: str
    field: Field | None
    words: str
    unit: str = ""
    misfit: bool = False  # its heading is known, but its cells are something else

    @property
    def letter(self) -> str:
        """What a spreadsheet program calls it."""
        high, low = divmod(self.index, 26)
        return (chr(64 + high) if high else "") + chr(65 + low)


@dataclass(frozen=True, slots=True)
class Headed:
    """A grid with its headings found: rows from ``start`` on are data."""

    grid: Grid
    start: int
    columns: tuple[Column, ...]
    language: str
    heading_row: int | None  # number of the row; None: there is none

    def of(self, field: Field) -> Column | None:
        """Give the column taken for a field."""
        return next((column for column in self.columns if column.field is field), None)

    def title_kind(self) -> tuple[str, int] | None:
        """Give the kind that the last title above the headings, or the sheet, is named after."""
        above = [row for row in self.grid.rows if row.number < (self.heading_row or 0)]
        for row in reversed(above):
            texts = [text_of(cell) for cell in row.cells if text_of(cell)]
            if len(texts) == 1:
                key = section_key(texts[0], self.language)
                return None if key is None else (key, row.number)
        key = exact(self.grid.name, self.language)
        return None if key is None else (key, 0)


def find_columns(grid: Grid, today: date, said: Said) -> Headed:
    """Find the headings of a grid and what its columns mean.

    Parameters
    ----------
    grid : Grid
        The table.
    today : date
        The present.
    said : mapping
        What the grower said of columns: field (or ``ignore``) by heading, letter, or place (from 0
        on).

    Returns
    -------
    Headed
        The columns, and where the data begin.

    Raises
    ------
    InvalidInputError
        No row of headings is found, or no column names the kind of seed.
    """
    headed = read_columns(grid, today, said)
    if headed.of(Field.KIND) is not None or _sections(headed):
        return headed
    if headed.heading_row is None:
        first = ", ".join(f"“{text_of(cell)}”" for cell in grid.rows[0].cells[:6] if text_of(cell))
        raise InvalidInputError(
            "No row of headings was found, such as Kind, Variety, Source, Year, Germination, Box. "
            f"The first row holds {first}. Put headings above the columns, or say what each column "
            "is.",
            "headings",
        )
    seen = ", ".join(f"“{column.heading}”" for column in headed.columns if column.heading)
    raise InvalidInputError(
        f"No column names the kind of seed (tomato, onion, …). The headings are {seen}. Name "
        "one of them “Kind”, or say which it is.",
        "kind",
    )


def read_columns(grid: Grid, today: date, said: Said) -> Headed:
    """Find headings and columns as :func:`find_columns` does, also where none names the kind."""
    found = find_headings(grid)
    if found is None and (bare := _bare_list(grid, said)) is not None:
        return bare
    found = found or headings_with(grid, [name for name in said if isinstance(name, str)])
    headings = list(found.texts) if found else [""] * grid.width
    start = found.start if found else 0
    means = [meanings(heading) for heading in headings]
    language = _language(means)
    sorter = _Sorter(grid, start, headings, language, today)
    columns = sorter.sort(means, _told(headings, said), guess=found is not None)
    number = grid.rows[found.at].number if found else None
    return Headed(grid, start, tuple(columns), language, number)


def score_of_heading(grid: Grid) -> float:
    """Tell how much a sheet looks like a list of seed; 0: not at all."""
    found = find_headings(grid)
    return 0.0 if found is None else found.score


def _bare_list(grid: Grid, said: Said) -> Headed | None:
    """Take a list of one column without a heading as kinds and varieties, if it names kinds."""
    texts = list(dict.fromkeys(text_of(cell) for cell in grid.column(0)))
    start = int(bool(texts) and any(m.field is Field.KIND for m in meanings(texts[0])))
    if grid.width > 1 and [*said.items()] not in ([("A", Field.KIND)], [(0, Field.KIND)]):
        return None
    if _share(texts[start : start + SAMPLE], _names_a_kind("en")) < KINDS:
        return None
    heading = texts[0] if start else ""
    column = Column(0, heading, Field.KIND, "kind and variety")
    return Headed(grid, start, (column,), "en", grid.rows[0].number if start else None)


def _language(means: Sequence[Sequence[Meaning]]) -> str:
    """Language most of the headings are in; English where it is even."""
    count: dict[str, float] = {"en": 0.1}
    for found in means:
        for language in {meaning.language for meaning in found if meaning.fit == found[0].fit}:
            count[language] = count.get(language, 0.0) + found[0].fit
    return max(count, key=lambda language: count[language])


def _told(headings: Sequence[str], said: Said) -> dict[int, Field]:
    """What the grower said of columns, by place."""
    told: dict[int, Field] = {}
    fields = {field.value: field for field in Field} | {IGNORE: Field.UNUSED}
    for name, what in said.items():
        place = name if isinstance(name, int) else _place(headings, name)
        if place is None or not 0 <= place < len(headings):
            raise InvalidInputError(f"There is no column “{name}”.", "columns")
        if what not in fields:
            raise InvalidInputError(
                f"“{what}” is nothing a column can be; it can be {', '.join(fields)}.", "columns"
            )
        field = fields[what]
        if field in told.values() and field not in _MANY:
            raise InvalidInputError(f"Two columns cannot both be “{what}”.", "columns")
        told[place] = field
    return told


def _place(headings: Sequence[str], name: str) -> int | None:
    """Place of the column with this heading, or else this letter."""
    places = [i for i, heading in enumerate(headings) if plain(heading) == plain(name)]
    places += [i for i in range(len(headings)) if Column(i, "", None, "").letter == name]
    return places[0] if places else None


def _sections(headed: Headed) -> bool:
    """Tell whether kinds stand as headings of their own between the rows."""
    if headed.of(Field.VARIETY) is None:
        return False
    if headed.title_kind() is not None:
        return True
    for row in headed.grid.rows[headed.start :]:
        texts = [text_of(cell) for cell in row.cells if text_of(cell)]
        if len(texts) == 1 and _names_a_kind(headed.language)(texts[0]):
            return True
    return False


class _Sorter:
    """Gives each column a field, and each field at most one column (notes: any)."""

    def __init__(
        self, grid: Grid, start: int, headings: Sequence[str], language: str, today: date
    ) -> None:
        self._headings = headings
        self._cells = [
            list(dict.fromkeys(grid.column(index, start)))[:SAMPLE]
            for index in range(len(headings))
        ]
        self._all = [grid.column(index, start) for index in range(len(headings))]
        self._looks = _looks(language, today)

    def sort(
        self, means: Sequence[Sequence[Meaning]], told: Mapping[int, Field], *, guess: bool
    ) -> list[Column]:
        """Give every column its field; ``guess``: also the kind, by what is in the cells."""
        fields = dict(told)
        words = dict.fromkeys(told, "as you said")
        for score, index, field in self._candidates(means, told):
            del score
            taken = field in fields.values() and field not in _MANY
            if index not in fields and not taken:
                fields[index] = field
        if guess and Field.KIND not in fields.values():
            self._kind_by_content(fields, words)
        return [
            self._column(index, means[index], fields, words) for index in range(len(self._headings))
        ]

    def _candidates(
        self, means: Sequence[Sequence[Meaning]], told: Mapping[int, Field]
    ) -> list[tuple[float, int, Field]]:
        """Fields each column may be, the surest first; a running number is no code."""
        found = []
        for index, each in enumerate(means):
            if index in told:
                continue
            if plain(self._headings[index]) in _RUNNING and self._runs(index):
                found.append((2.0, index, Field.UNUSED))
                continue
            options = {meaning.field: meaning.fit for meaning in each}
            for meaning in each:
                if meaning.field in _INSTEAD:
                    options.setdefault(_INSTEAD[meaning.field], 0.7 * meaning.fit)
            for field, fit in options.items():
                share = self._share(index, field)
                vague = plain(self._headings[index]) in _VAGUE
                least = KINDS if field is Field.KIND and vague else FITS
                if share >= least or (field is Field.KIND and fit >= 0.95 and not vague):
                    weight = 0.85 if vague else 1.0
                    found.append((fit * weight * (0.4 + 0.6 * share), index, field))
        return sorted(found, key=lambda item: (-item[0], item[1]))

    def _runs(self, index: int) -> bool:
        """Tell whether a column counts its rows."""
        numbers = [text_of(cell) for cell in self._all[index]]
        if len(numbers) < 3 or not all(re.fullmatch(r"\d+\.?", text) for text in numbers):
            return False
        counted = [int(text.rstrip(".")) for text in numbers]
        return all(after == before + 1 for before, after in pairwise(counted))

    def _share(self, index: int, field: Field) -> float:
        """Share of the cells that look like what the field holds; an empty column fits all."""
        cells = self._cells[index]
        if not cells:
            return 1.0
        if field is Field.CODE:
            return len(set(map(text_of, self._all[index]))) / len(self._all[index])
        return _share(cells, self._looks[field]) if field in self._looks else 1.0

    def _kind_by_content(self, fields: dict[int, Field], words: dict[int, str]) -> None:
        """Take the column that names kinds, whatever its heading says, for kind (and variety)."""
        free = [
            index
            for index in range(len(self._headings))
            if fields.get(index) in {None, Field.VARIETY, Field.BOTANICAL, Field.UNUSED}
        ]
        shares = {index: self._share(index, Field.KIND) for index in free if self._cells[index]}
        best = max(shares, key=lambda index: shares[index], default=None)
        if best is not None and shares[best] >= KINDS:
            fields[best] = Field.KIND
            words[best] = "kind (and variety), by what is in it"

    def _column(
        self,
        index: int,
        means: Sequence[Meaning],
        fields: Mapping[int, Field],
        words: Mapping[int, str],
    ) -> Column:
        heading, field = self._headings[index], fields.get(index)
        column = Column(index, heading, field, words.get(index, field or ""), unit_of(heading))
        if field is Field.UNUSED:
            running = plain(heading) in _RUNNING and self._runs(index)
            return replace(column, words="counts the rows" if running else "not kept by Hilum")
        if field is not None or not self._cells[index]:
            return replace(column, words=column.words or "empty")
        if not means:
            return replace(column, words="not understood, not used")
        wanted = means[0].field
        other = next((i for i, each in fields.items() if each is wanted), None)
        if other is not None:
            return replace(
                column, words=f"not used: {wanted} is taken from “{self._headings[other]}”"
            )
        sample = text_of(self._cells[index][0])
        return replace(
            column, words=f"not used: does not look like {wanted} (“{sample}”)", misfit=True
        )


def _share(cells: Sequence[Cell], looks: Callable[[Cell], bool]) -> float:
    return sum(map(looks, cells)) / len(cells) if cells else 0.0


def _names_a_kind(language: str) -> Callable[[Cell], bool]:
    return lambda cell: isinstance(cell, str) and names_a_kind(text_of(cell), language)


def _looks(language: str, today: date) -> dict[Field, Callable[[Cell], bool]]:
    """Tests of a cell, by field; fields without one hold any text."""
    numbers = Numbers(".")

    def parses(read: Callable[[Cell], object]) -> Callable[[Cell], bool]:
        def looks(cell: Cell) -> bool:
            try:
                read(cell)
            except TwoReadings:
                return True
            except ValueError:
                return False
            return True

        return looks

    percent = parses(
        lambda cell: to_percent(figure_and_rest(_point(cell))[0], numbers, fraction=False)
    )
    day = parses(lambda cell: to_date(cell, today, day_first=None))
    amount = parses(lambda cell: to_amount(_point(cell), numbers, "seeds"))

    def countable(cell: Cell) -> bool:
        return amount(cell) or bool(re.search(r"\d", text_of(cell)) and not day(cell))

    def wordy(cell: Cell) -> bool:
        return isinstance(cell, str) and bool(re.search(r"[^\W\d_]{2}", cell))

    return {
        Field.KIND: _names_a_kind(language),
        Field.BOTANICAL: lambda cell: bool(re.match(r"[A-Z][a-z]+\b", text_of(cell))),
        Field.VARIETY: lambda cell: wordy(cell) or not percent(cell),
        Field.YEAR: parses(lambda cell: to_year(cell, today)),
        Field.GERMINATION: percent,
        Field.MINIMUM: percent,
        Field.TESTED: day,
        Field.SINCE: day,
        Field.TESTED_SEEDS: amount,
        Field.SPROUTED: lambda cell: amount(cell) or percent(cell),
        Field.SEEDS: countable,
        Field.GRAMS: countable,
        Field.PACKETS: countable,
        Field.QUANTITY: lambda cell: not day(cell) or amount(cell),
        Field.WRAP: lambda cell: wrap_of(text_of(cell)) is not None,
        Field.SOURCE: wordy,
    }


def _point(cell: Cell) -> Cell:
    """Write a decimal comma as a point, only to see whether a cell is a number at all."""
    return re.sub(r"(?<=\d),(?=\d)", ".", cell) if isinstance(cell, str) else cell
