"""Rows to drafts of lots: each row is understood whole, or reported with the reason."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

from hilum.domain.model import Wrap
from hilum.sheets.amounts import Amount, NoAmountError, to_amount
from hilum.sheets.columns import Column, Headed
from hilum.sheets.dates import When, to_date, to_year
from hilum.sheets.grid import ERROR, Broken, Cell, Row, text_of
from hilum.sheets.habits import Habits
from hilum.sheets.headings import Field, counts_each, plain
from hilum.sheets.kinding import Kinder
from hilum.sheets.kindwords import UnclearName
from hilum.sheets.numbers import figure_and_rest, to_percent
from hilum.sheets.prepared import prepared_of
from hilum.sheets.wraps import wrap_of

T = TypeVar("T")
LONGEST_CODE = 40
LONGEST_TEXT = 2_000
LEAST_SHARE = 0.05
"""From here on, a bare 0.88 among percentages is 88 %: no packet says 0.88 % (our assumption)."""
_NOTHING = {"", "-", "–", "—", "?", "??", "n/a", "na", "none", "unknown", "nil", "x", ".", "tbd"}
_NOTHING |= {"unbekannt", "inconnu", "onbekend", "not tested", "untested", "no data", "null", "--"}
_NOTHING |= {"nicht getestet", "ungetestet", "non testé", "niet getest", "sin probar", "not yet"}
_NOTHING |= {"desconocido", "keine", "keine angabe", "k.a.", "k. a.", "aucun", "aucune", "geen"}
_NOTHING |= {
    "nvt",
    "n.v.t.",
    "s/d",
    "sin datos",
    "ninguno",
    "nicht bekannt",
    "pending",
    "tbc",
    "../..",
}
_TEST_SIZE = re.compile(
    r"n\s*=\s*(\d+)|(?:of\s+|von\s+)?(\d+)\s*(?:seeds?|samen|korn|graines?|zaden|semillas)",
    re.IGNORECASE,
)
_TESTED = re.compile(r"^(tested|test|getestet|testé|getest|probado)\s*:?\s*", re.IGNORECASE)
_QUOTES = "\"“”„‘’'«»"


@dataclass(frozen=True, slots=True)
class Problem:
    """A row that is not taken, with the reason in a sentence."""

    row: int
    reason: str
    column: str = ""


@dataclass(frozen=True, slots=True)
class Remark:
    """Something that was assumed, or left out, in a row that is taken."""

    row: int
    text: str


@dataclass(slots=True)
class Draft:
    """What one row says of a lot; ``values`` holds only fields of the lot that it speaks of."""

    row: int
    kind: str = ""
    code: str | None = None
    values: dict[str, object] = field(default_factory=dict)
    box: str = ""
    wrap: Wrap | None = None
    since: date | None = None
    since_ms: int | None = None  # as ``since``, where the time of day is known
    notes: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


class _CellError(ValueError):
    """A cell that cannot be used, with its heading."""

    def __init__(self, column: Column, reason: str) -> None:
        self.heading = column.heading or f"column {column.letter}"
        super().__init__(reason)


def read_drafts(headed: Headed, habits: Habits, today: date) -> Iterator[Draft | Problem | Remark]:
    """Read every row below the headings: a draft, or a problem or remark where it is no lot."""
    reader = _Reader(headed, habits, today)
    kinder = Kinder(headed)
    for row in headed.grid.rows[headed.start :]:
        if reader.is_headings(row):
            continue
        if section := kinder.section(row):
            yield Remark(row.number, section)
            continue
        try:
            draft = reader.read(row, kinder)
        except _CellError as error:
            yield Problem(row.number, sentence(str(error)), error.heading)
            continue
        yield draft


def sentence(text: str) -> str:
    """Make a sentence of a reason."""
    whole = text[:1].upper() + text[1:]
    return whole if whole.endswith((".", "?")) else f"{whole}."


class _Reader:
    def __init__(self, headed: Headed, habits: Habits, today: date) -> None:
        self._headed = headed
        self._habits = habits
        self._today = today
        self._columns: dict[Field, Column] = {}
        for column in headed.columns:
            if column.field is not None:
                self._columns.setdefault(column.field, column)
        self._notes = [column for column in headed.columns if column.field is Field.NOTE]
        self._prepared = [column for column in headed.columns if column.field is Field.PREPARED]

    def is_headings(self, row: Row) -> bool:
        """Tell a row that repeats the headings, as printed lists do on each page."""
        same = sum(
            bool(column.heading) and plain(text_of(row.cell(column.index))) == plain(column.heading)
            for column in self._columns.values()
        )
        return same >= 2

    def read(self, row: Row, kinder: Kinder) -> Draft:
        """Read a row; raises ``_CellError`` where a cell cannot be used."""
        draft = Draft(row.number)
        self._kind(row, draft, kinder)
        self._texts(row, draft)
        self._year_and_tests(row, draft)
        self._amounts(row, draft)
        self._place(row, draft)
        self._what_was_done(row, draft)
        self._note(row, draft)
        for column in self._headed.columns:
            if column.misfit and (text := text_of(row.cell(column.index))):
                draft.remarks.append(f"“{text}” in “{column.heading}” is not used")
        return draft

    # Cells

    def _cell(self, row: Row, name: Field) -> tuple[Column, Cell] | None:
        """Give a column and its cell, unless there is no such column or nothing in it."""
        column = self._columns.get(name)
        if column is None:
            return None
        cell = row.cell(column.index)
        if isinstance(cell, Broken) or ERROR.fullmatch(text_of(cell)):
            raise _CellError(column, f"the cell {_broken(cell)}")
        return None if text_of(cell).casefold() in _NOTHING else (column, cell)

    def _text(self, row: Row, name: Field) -> str:
        found = self._cell(row, name)
        if found is None:
            return ""
        text = text_of(found[1])
        if len(text) > LONGEST_TEXT:
            raise _CellError(found[0], f"the text is too long (at most {LONGEST_TEXT:,} signs)")
        return text

    def _parsed(self, row: Row, name: Field, read: Callable[[Cell], T]) -> T | None:
        found = self._cell(row, name)
        if found is None:
            return None
        try:
            return read(found[1])
        except NoAmountError:
            raise
        except (ValueError, OverflowError) as error:
            raise _CellError(found[0], str(error)) from error

    # Parts of a row

    def _kind(self, row: Row, draft: Draft, kinder: Kinder) -> None:
        written = self._text(row, Field.KIND)
        column = self._columns.get(Field.KIND) or self._columns[Field.VARIETY]
        variety = self._text(row, Field.VARIETY)
        try:
            found = kinder.kind(row, written, variety, self._text(row, Field.BOTANICAL))
        except UnclearName as error:
            raise _CellError(column, str(error)) from error
        draft.kind = found.key
        draft.remarks += found.remarks
        draft.notes += found.notes
        if found.variety:
            draft.values["variety"] = _unquoted(found.variety)

    def _texts(self, row: Row, draft: Draft) -> None:
        if source := self._text(row, Field.SOURCE):
            draft.values["source"] = source
        if code := self._text(row, Field.CODE):
            if len(code) > LONGEST_CODE:
                raise _CellError(
                    self._columns[Field.CODE], f"“{code[:20]}…” is too long for a code"
                )
            draft.code = code

    def _year_and_tests(self, row: Row, draft: Draft) -> None:
        year = self._parsed(row, Field.YEAR, lambda cell: to_year(cell, self._today))
        if year is not None:
            draft.values["year"] = year[0]
            draft.remarks += [year[1]] * bool(year[1])
        self._germination(row, draft)
        count = self._parsed(row, Field.TESTED_SEEDS, self._count)
        if count is not None:
            draft.values["label_n"] = count
        self._sprouted(row, draft, count)
        day = self._parsed(row, Field.TESTED, self._day)
        if day is not None:
            draft.values["label_date"] = day.day
            draft.remarks += [f"test date {day.note}"] * bool(day.note)
        tested = draft.values.get("label_date")
        if year is not None and isinstance(tested, date) and tested.year < year[0] - 1:
            raise _CellError(
                self._columns.get(Field.TESTED) or self._columns[Field.GERMINATION],
                f"seed of {year[0]} cannot have been tested in {tested.year}",
            )
        minimum = self._parsed(row, Field.MINIMUM, self._percent)
        if minimum is not None:
            draft.values["minimum_pct"] = minimum[0]

    def _germination(self, row: Row, draft: Draft) -> None:
        """Read the germination, and what stands behind it: a date, a number of seeds, a word."""
        found = self._cell(row, Field.GERMINATION)
        if found is None:
            return
        figure, rest = figure_and_rest(found[1])
        read = self._parsed(row, Field.GERMINATION, lambda _: self._percent(figure))
        if read is None:
            return
        draft.values["label_pct"], tested, note = read
        draft.remarks += [note] * bool(note)
        if tested is not None:
            draft.values["label_n"] = tested
        if rest:
            self._behind(found, rest, draft)

    def _sprouted(self, row: Row, draft: Draft, sown: int | None) -> None:
        """Read how many came up: of as many as were tested, unless the cell says it all."""
        found = self._cell(row, Field.SPROUTED)
        if found is None:
            return
        column, cell = found
        text = text_of(cell)
        if re.search(r"%|/|\bof\b", text):
            read = self._parsed(row, Field.SPROUTED, self._percent)
            percent = None if read is None else read[0]
        else:
            if sown is None:
                raise _CellError(column, f"“{text}” came up, but of how many is not said")
            came_up = self._parsed(row, Field.SPROUTED, self._habits.numbers.whole)
            if came_up is None or came_up > sown:
                raise _CellError(column, f"of {sown} seeds, {text} cannot have come up")
            percent = round(100 * came_up / sown, 10)
        if percent is None:
            return
        known = draft.values.setdefault("label_pct", percent)
        if isinstance(known, float) and abs(known - percent) > 1.0:
            raise _CellError(column, f"{text} of {sown} is not the germination beside it")

    def _behind(self, found: tuple[Column, Cell], rest: str, draft: Draft) -> None:
        column, cell = found
        text = text_of(cell)
        if seeds := _TEST_SIZE.fullmatch(rest):
            size = int(seeds[1] or seeds[2])
            draft.values.setdefault("label_n", size)
            draft.remarks.append(f"“{text}”: {size} seeds tested")
            return
        try:
            when = self._day(_TESTED.sub("", rest))
        except ValueError as error:
            if re.search(r"\d", rest):
                raise _CellError(column, f"“{text}” is more than one figure") from error
            draft.notes.append(f"{column.heading}: {text}")
            draft.remarks.append(f"“{rest}” in “{column.heading}” is kept in the note")
            return
        draft.values["label_date"] = when.day
        draft.remarks.append(f"“{text}”: tested on {when.day}")

    def _day(self, cell: Cell) -> When:
        return to_date(cell, self._today, day_first=self._habits.day_first)

    def _count(self, cell: Cell) -> int:
        value = self._habits.numbers.whole(cell)
        if not 1 <= value <= 1_000_000:
            raise ValueError(f"“{text_of(cell)}” is no number of seeds tested")
        return value

    def _percent(self, cell: Cell) -> tuple[float, int | None, str]:
        found = to_percent(cell, self._habits.numbers, fraction=self._habits.fraction)
        said = "%" in text_of(cell) or found[1] is not None
        if self._habits.fraction and self._habits.mixed and not said:
            return found[0], None, f"germination “{text_of(cell)}” read as {found[0]:g} %"
        if not self._habits.fraction and not said and LEAST_SHARE <= found[0] < 1:
            pct = round(found[0] * 100, 6)  # a spreadsheet keeps 88 % as 0.88
            return pct, None, f"germination “{text_of(cell)}” read as {pct:g} %"
        if not self._habits.fraction and not said and 0 < found[0] <= 1:
            raise ValueError(
                f"“{text_of(cell)}” can be a percentage or a share of 1; write it with %"
            )
        return found

    def _amounts(self, row: Row, draft: Draft) -> None:
        for name in (Field.SEEDS, Field.GRAMS, Field.QUANTITY, Field.PACKETS):
            column = self._columns.get(name)
            if column is None:
                continue
            unit = self._unit(name, column)
            try:
                amount = self._parsed(row, name, self._amount_reader(unit))
            except NoAmountError as error:
                text = self._text(row, name)
                draft.notes.append(f"{column.heading}: {text}")
                draft.remarks.append(f"{error}; kept in the note")
                continue
            if amount is None:
                continue
            if counts_each(column.heading) and name is not Field.PACKETS:
                amount = self._times_packets(row, amount)
            self._add_amount(column, amount, row, draft)

    def _times_packets(self, row: Row, amount: Amount) -> Amount:
        """Multiply the content of one packet by the number of packets, if that is known."""
        packets = self._parsed(row, Field.PACKETS, self._amount_reader("packets"))
        if packets is None or packets.packets is None:
            return Amount(bare=amount.seeds or amount.grams or amount.bare, note=amount.note)
        times = packets.packets
        return Amount(
            seeds=None if amount.seeds is None else amount.seeds * times,
            grams=None if amount.grams is None else amount.grams * times,
            bare=None if amount.bare is None else amount.bare * times,
            note=amount.note,
        )

    def _amount_reader(self, unit: str) -> Callable[[Cell], Amount]:
        return lambda cell: to_amount(cell, self._habits.numbers, unit)

    def _unit(self, name: Field, column: Column) -> str:
        said = "" if column.unit == "%" else column.unit
        if name is Field.GRAMS:
            return said or ("" if self._headed.language == "en" else "g")
        defaults = {Field.SEEDS: "seeds", Field.PACKETS: "packets", Field.QUANTITY: ""}
        return said or defaults[name] or self._habits.unit

    def _add_amount(self, column: Column, amount: Amount, row: Row, draft: Draft) -> None:
        for name, value in (("seeds", amount.seeds), ("grams", amount.grams)):
            if value is None:
                continue
            if draft.values.get(name, value) != value:
                raise _CellError(column, f"two columns give different amounts of {name}")
            draft.values[name] = value
        draft.remarks += [amount.note] * bool(amount.note)
        text = text_of(row.cell(column.index))
        if amount.bare is not None:
            draft.notes.append(f"{column.heading}: {text}")
            draft.remarks.append(f"“{text}” in “{column.heading}” has no unit; kept in the note")
        elif amount.packets is not None and amount.seeds is None and amount.grams is None:
            draft.notes.append(f"{amount.packets:g} packet{'s' * (amount.packets != 1)}")
            draft.remarks.append(f"“{text}” counts packets, not seeds; kept in the note")

    def _place(self, row: Row, draft: Draft) -> None:
        draft.box = self._text(row, Field.BOX)
        if re.fullmatch(r"\d{1,4}|[A-Za-z]\d{0,3}", draft.box):  # “3” under “Box” is “Box 3”
            draft.box = f"{self._columns[Field.BOX].heading} {draft.box}"
        since = self._parsed(row, Field.SINCE, self._day)
        if since is not None:
            draft.since = since.day
            draft.remarks += [f"in the box since {since.note}"] * bool(since.note)
        if words := self._text(row, Field.WRAP):
            draft.wrap = wrap_of(words)
            if draft.wrap is None or not draft.box:
                draft.notes.append(f"{self._columns[Field.WRAP].heading}: {words}")
                why = (
                    "is kept in the note"
                    if draft.wrap
                    else "is no wrap Hilum knows; kept in the note"
                )
                draft.remarks.append(f"“{words}” {why}")

    def _what_was_done(self, row: Row, draft: Draft) -> None:
        """Read whether the seed is treated, pelleted, primed; other words go into the note."""
        for column in self._prepared:
            words = text_of(row.cell(column.index))
            if words.casefold() in _NOTHING - {"x", "none", "keine", "aucun", "geen", "ninguno"}:
                continue
            done = prepared_of(words, column.heading)
            if done is None:
                draft.notes.append(f"{column.heading}: {words}")
                draft.remarks.append(f"“{words}” in “{column.heading}” is kept in the note")
                continue
            for name, value in done.items():
                draft.values[name] = value or bool(draft.values.get(name))

    def _note(self, row: Row, draft: Draft) -> None:
        texts = []
        for column in self._notes:
            cell = row.cell(column.index)
            if isinstance(cell, Broken):
                raise _CellError(column, f"the cell {cell}")
            if text := str(cell).strip() if isinstance(cell, str) else text_of(cell):
                texts.append(text)
        if draft.notes or texts:
            draft.values["note"] = "; ".join([*texts, *draft.notes])


def _broken(cell: Cell) -> str:
    return str(cell) if isinstance(cell, Broken) else f"shows {cell}"


def _unquoted(text: str) -> str:
    """Take quotation marks off that enclose a whole name."""
    if len(text) > 2 and text[0] in _QUOTES and text[-1] in _QUOTES:
        inner = text[1:-1]
        if not any(quote in inner for quote in _QUOTES if quote not in "’'"):
            return inner.strip()
    return re.sub(r"\s+", " ", text)
