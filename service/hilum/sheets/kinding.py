"""The kind of each row, out of its cells and the rows above it."""

from dataclasses import dataclass

from hilum.science.kinds import kinds
from hilum.sheets.columns import Headed
from hilum.sheets.grid import Row, text_of
from hilum.sheets.headings import Field, plain
from hilum.sheets.kindwords import Named, UnclearName, exact, kind_and_rest, kind_of, section_key

TOTALS = {"total", "totals", "sum", "summe", "gesamt", "totaal", "somme", "subtotal"}
TOTALS |= {"grand total", "gesamtsumme", "total general"}

MOST_WORDS = 3
"""A text that stands alone and has no more words is a heading rather than a remark."""

GROUPED = 0.3
"""Share of rows without a kind from which a list gives it only in the first row of each group."""


@dataclass(frozen=True, slots=True)
class Found:
    """Kind and variety of a row, what was assumed, and what belongs into the note."""

    key: str
    variety: str
    remarks: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


class Kinder:
    """Finds the kind of each row, in order; remembers headings between rows and groups.

    Parameters
    ----------
    headed : Headed
        The table.
    """

    def __init__(self, headed: Headed) -> None:
        self._language = headed.language
        self._kind = headed.of(Field.KIND)
        self._variety = headed.of(Field.VARIETY)
        self._rows = headed.grid.rows[headed.start :]
        self._wide = headed.grid.width > 1
        self._above = headed.title_kind()  # kind carried down, and its row
        self._grouped = self._is_grouped()

    def _is_grouped(self) -> bool:
        if self._kind is None or self._variety is None:
            return self._kind is None
        kind, variety = self._kind.index, self._variety.index
        named = [row for row in self._rows if row.cell(variety) is not None]
        bare = sum(row.cell(kind) is None for row in named)
        return bool(named) and bare >= GROUPED * len(named)

    def section(self, row: Row) -> str:
        """Tell whether a row is a heading between lots; say so, and remember the kind it names."""
        texts = [text_of(cell) for cell in row.cells if text_of(cell)]
        if plain(texts[0]) in TOTALS:
            return "this row is a total, not a lot"
        if not self._wide or len(texts) != 1:
            return ""
        text = texts[0].rstrip(":")
        in_kind = self._kind is not None and row.cell(self._kind.index) is not None
        key = section_key(text, self._language)
        if key is None:
            if in_kind and self._looks_like_a_lot(text):
                return ""
            if len(text.split()) <= MOST_WORDS or text.isupper() or texts[0].endswith(":"):
                self._above = None  # rows below are not of the kind above
            return f"“{text}” stands alone in its row: taken as a heading or a remark, not as a lot"
        if in_kind and not (self._grouped and self._next_is_bare(row)):
            return ""
        self._above = (key, row.number)
        return f"“{text}” is taken as the heading of the rows below"

    def _looks_like_a_lot(self, text: str) -> bool:
        try:
            return bool(kind_and_rest(text, self._language))
        except UnclearName:
            return False

    def _next_is_bare(self, row: Row) -> bool:
        after = next((each for each in self._rows if each.number > row.number), None)
        return after is not None and (self._kind is None or after.cell(self._kind.index) is None)

    def kind(self, row: Row, written: str, variety: str, botanical: str) -> Found:
        """Find the kind of a row; ``UnclearName`` with the reason if it cannot be told."""
        if not written:
            return self._unwritten(variety, botanical)
        found = self._written(written, variety, botanical)
        self._above = (found.key, row.number)
        return found

    def _unwritten(self, variety: str, botanical: str) -> Found:
        if botanical:
            named = kind_and_rest(botanical, self._language)
            return Found(named.key, variety or named.rest, _remark(named))
        if not variety:
            raise UnclearName("no kind of seed is given in this row")
        if self._above is not None and self._grouped:
            key, number = self._above
            origin = f"row {number}" if number else "the name of the sheet"
            return Found(key, variety, (f"kind {kinds()[key].common} taken from {origin}",))
        try:
            named = kind_and_rest(variety, self._language)
        except UnclearName:
            raise UnclearName("no kind of seed is given in this row") from None
        remark = f"“{variety}” read as {kinds()[named.key].common} and “{named.rest}”"
        return Found(named.key, named.rest, (remark,))

    def _written(self, written: str, variety: str, botanical: str) -> Found:
        try:
            named = self._named(written, variety)
        except UnclearName as error:
            if not botanical:
                raise
            try:
                named = kind_and_rest(botanical, self._language)
            except UnclearName:
                raise error from None
            common = kinds()[named.key].common
            return Found(named.key, variety, (f"“{written}” is {common} by its botanical name",))
        if botanical:
            self._check_botanical(named.key, written, botanical)
        rest = named.rest
        if rest and variety and rest.casefold() not in variety.casefold():
            return Found(named.key, variety, _remark(named), (f"Kind as written: {written}",))
        return Found(named.key, variety or rest, _remark(named))

    def _named(self, written: str, variety: str) -> Named:
        """Find the kind in its cell; where several fit, a word of the variety may decide."""
        if not variety:
            return kind_and_rest(written, self._language)
        try:
            return kind_of(written, self._language)
        except UnclearName as error:
            words = variety.replace(",", " ").split()
            keys = {exact(f"{word} {written}", self._language) for word in words} - {None}
            if len(keys) == 1 and (key := keys.pop()) is not None:
                note = f"“{written}” with “{variety}” is {kinds()[key].common}"
                return Named(key, note=note)
            if "more than one" in str(error):
                raise
            return kind_and_rest(written, self._language)

    def _check_botanical(self, key: str, written: str, botanical: str) -> None:
        """Refuse a botanical name of quite another kind."""
        try:
            other = kinds()[kind_and_rest(botanical, self._language).key]
        except UnclearName:
            return  # a name the table does not have, or one of several kinds
        own = kinds()[key]
        if other.genus != own.genus:
            raise UnclearName(
                f"“{written}” is {own.common}, {own.botanical}, but “{botanical}” is {other.common}"
            )


def _remark(named: Named) -> tuple[str, ...]:
    return (named.note,) if named.note else ()
