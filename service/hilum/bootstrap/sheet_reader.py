"""Lets the pages read and write spreadsheets."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Event, Lot
from hilum.domain.ports import Clock, Store
from hilum.keeping.seasons.season import Season
from hilum.science.kinds import kinds
from hilum.sheets.applying import apply
from hilum.sheets.columns import IGNORE, Column, Headed
from hilum.sheets.export import export
from hilum.sheets.grid import text_of
from hilum.sheets.headings import Field
from hilum.sheets.journal import journal_csv
from hilum.sheets.labels import box_labels, lot_labels, qr_code
from hilum.sheets.order import order_file
from hilum.sheets.proposal import LotChange, Options, Proposal, Unit, Verdict, outline, propose
from hilum.sheets.rejected import rejected_csv
from hilum.web.sheetparts import (
    COLUMN,
    SheetColumn,
    SheetDone,
    SheetLabel,
    SheetOutline,
    SheetProposal,
    SheetQuestion,
    SheetRow,
)

DAY_FIRST = {"day-first": True, "month-first": False}
SAMPLES = 3
FIELDS = tuple(field for field in Field if field is not Field.UNUSED)
FIELD_WORDS = {
    Field.CODE: "your own code",
    Field.KIND: "kind (and variety)",
    Field.YEAR: "year of harvest or packing",
    Field.GERMINATION: "germination, per cent",
    Field.SEEDS: "number of seeds",
    Field.QUANTITY: "amount: seeds, packets or weight",
}
LEFT_OUT = (IGNORE, "leave out")


class Sheets:
    """Reads lists of seed for one store, and writes them.

    Parameters
    ----------
    store : Store
        Where lots are kept.
    clock : Clock
        Tells the time.
    time_zone : str
        In which days of a file are read.
    """

    def __init__(self, store: Store, clock: Clock, time_zone: str) -> None:
        self._store = store
        self._clock = clock
        self._zone = ZoneInfo(time_zone)

    def outline(self, data: bytes, name: str, answers: Mapping[str, str]) -> SheetOutline:
        """Say what a file looks like."""
        options, now_ms = self._options(answers), self._clock.now_ms()
        today = datetime.fromtimestamp(now_ms / 1000, self._zone).date()
        found = outline(data, name, today, options)
        columns = found.headed.columns if found.headed else ()
        return SheetOutline(
            sheets=found.sheets,
            sheet=found.sheet,
            columns=tuple(_column(found.headed, each) for each in columns if found.headed),
            fields=(
                *((each.value, FIELD_WORDS.get(each, each.value)) for each in FIELDS),
                LEFT_OUT,
            ),
        )

    def propose(self, data: bytes, name: str, answers: Mapping[str, str]) -> SheetProposal:
        """Say what a file would change."""
        found = self._proposal(data, name, answers)
        return SheetProposal(
            notes=found.notes,
            questions=tuple(SheetQuestion(q.name, q.text, q.options) for q in found.questions),
            new=tuple(self._row(change, found) for change in found.of(Verdict.NEW)),
            changed=tuple(self._row(change, found) for change in found.of(Verdict.CHANGED)),
            same=len(found.of(Verdict.SAME)),
            boxes=tuple(box.name for box in found.new_boxes),
            problems=_problems(found),
            remarks=_rows((each.row, each.text) for each in found.remarks),
            nothing=found.changes_nothing,
        )

    def apply(self, data: bytes, name: str, answers: Mapping[str, str]) -> SheetDone:
        """Write what a file says."""
        found = self._proposal(data, name, answers)
        done = apply(found, self._store, self._clock.now_ms())
        return SheetDone(
            new=done.new,
            changed=done.changed,
            same=len(found.of(Verdict.SAME)),
            boxes=done.boxes,
            problems=_problems(found),
            rejected=rejected_csv(found),
        )

    def export(self, suffix: str) -> bytes:
        """Write all lots."""
        return export(self._store, suffix)

    def labels(self, codes: Sequence[str], boxes: Sequence[str], site: str) -> list[SheetLabel]:
        """Make labels."""
        made = lot_labels(self._store, codes, site) if codes else []
        made += box_labels(self._store, boxes, site) if boxes else []
        return [SheetLabel(m.title, m.lines, m.code, qr_code(m.address)) for m in made]

    def journal(self, events: Sequence[Event]) -> bytes:
        """Write lines of the journal."""
        return journal_csv(events, self._zone)

    def order(self, found: Season, suffix: str) -> bytes:
        """Write what to order."""
        return order_file(found, suffix)

    def _proposal(self, data: bytes, name: str, answers: Mapping[str, str]) -> Proposal:
        options = self._options(answers)
        return propose(data, name, self._store, self._clock.now_ms(), options)

    def _options(self, answers: Mapping[str, str]) -> Options:
        dates, unit = answers.get("dates", ""), answers.get("unit", "")
        if (dates and dates not in DAY_FIRST) or (unit and unit not in set(Unit)):
            raise InvalidInputError("Choose one of the answers.", "dates" if dates else "unit")
        places = {name.removeprefix(COLUMN): what for name, what in answers.items()}
        return Options(
            sheet=answers.get("sheet") or None,
            day_first=DAY_FIRST.get(dates),
            unit=Unit(unit) if unit else None,
            columns={int(at): what for at, what in places.items() if re.fullmatch(r"\d{1,3}", at)},
            since_ms=self._since_ms(answers.get("since", "")),
            zone=self._zone,
        )

    def _since_ms(self, day: str) -> int | None:
        if not day:
            return None
        try:
            since = datetime.combine(date.fromisoformat(day), time(), self._zone)
        except ValueError as error:
            raise InvalidInputError(
                f"“{day}” is no date; write it like 2026-03-01.", "since"
            ) from error
        if (since_ms := round(since.timestamp() * 1000)) > self._clock.now_ms():
            raise InvalidInputError(f"{day} lies in the future.", "since")
        return since_ms

    def _row(self, change: LotChange, found: Proposal) -> SheetRow:
        lot = change.lot
        names = {box.slug: box.name for box in (*self._store.boxes(), *found.new_boxes)}
        kind = kinds().get(lot.kind)
        return SheetRow(
            number=change.row,
            lot=f"{kind.common if kind else lot.kind} {lot.variety}".strip(),
            code=lot.code,
            facts=tuple(_facts(lot)),
            box=names[change.begins.box] if change.begins else "",
            note=lot.note,
            changes=tuple(
                f"{each.field.replace('_', ' ')}: {each.before} becomes {each.after}"
                for each in change.differences
            ),
        )


def _column(headed: Headed, column: Column) -> SheetColumn:
    cells = dict.fromkeys(text_of(cell) for cell in headed.grid.column(column.index, headed.start))
    return SheetColumn(
        name=f"{COLUMN}{column.index}",
        heading=column.heading or f"Column {column.letter}",
        field=column.field.value if column.field in FIELDS else IGNORE,
        words=column.words,
        samples=tuple(cells)[:SAMPLES],
    )


def _facts(lot: Lot) -> Iterator[str]:
    """Say what is understood of a lot, with its units."""
    if lot.source:
        yield f"from {lot.source}"
    if lot.year is not None:
        yield str(lot.year)
    if lot.label_pct is not None:
        of = f" of {lot.label_n} seeds" if lot.label_n else ""
        on = f", tested {lot.label_date}" if lot.label_date else ""
        yield f"{lot.label_pct:g} %{of}{on}"
    if lot.seeds is not None:
        yield f"{lot.seeds:,.0f} seeds"
    if lot.grams is not None:
        yield f"{lot.grams:.4g} g"


def _problems(found: Proposal) -> tuple[str, ...]:
    return _rows(
        (each.row, f"{each.column}: {each.reason}" if each.column else each.reason)
        for each in found.problems
    )


def _rows(found: Iterable[tuple[int, str]]) -> tuple[str, ...]:
    return tuple(f"Row {row}: {words}" if row else words for row, words in found)
