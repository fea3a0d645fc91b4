"""Files Hilum wrote itself, read back whole and merged with what is kept."""

import csv
import io
import re
import zipfile
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC
from typing import Any, TypeVar

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Box, Changes, Event, GerminationTest, Stay, Wrap
from hilum.domain.ports import KeepingStore
from hilum.science.kinds import kinds
from hilum.sheets.drafts import Draft, Problem
from hilum.sheets.export import MOST_EVENTS
from hilum.sheets.grid import Cell, Grid
from hilum.sheets.headings import Field
from hilum.sheets.matching import Matched, Matcher
from hilum.sheets.safe import disarmed
from hilum.sheets.tables import BOXES, JOURNAL, LOTS, STAYS, TABLES, TESTS, Table, Where
from hilum.sheets.workbook import MOST_UNPACKED, UNPACKING

Rows = list[tuple[int, Sequence[Cell]]]
Tables = Mapping[str, Rows]  # rows below the headings, by name of table
Dated = TypeVar("Dated", Stay, GerminationTest, Event)

_PLACE = {"box", "wrap", "since_ms"}


@dataclass(slots=True)
class Restored:
    """What a file of Hilum's own would change."""

    matched: Matched
    extra: Changes
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class _Read:
    """Records read from one table, with the rows that are not as Hilum writes them."""

    problems: list[Problem] = field(default_factory=list)

    def records(self, table: Table, rows: Rows) -> Iterator[tuple[int, dict[str, Any]]]:
        for number, cells in rows:
            try:
                yield number, table.values(cells)
            except ValueError as error:
                self.problems.append(Problem(number, f"{table.name}: {error}."))


def tables_in_text(data: bytes) -> Tables | None:
    """Read the tables of a CSV or zip that Hilum wrote; ``None`` if it is neither.

    A table of lots that was edited, so that a cell is no longer as Hilum writes it, is none either:
    it is read like any other list.
    """
    if data.startswith(b"PK"):
        return _packed(data)
    if not data.startswith(b"\xef\xbb\xbf") or LOTS.headings[0].encode() not in data[:20]:
        return None
    rows = _csv_rows(data)
    if rows is None or not rows or not LOTS.is_heading(rows[0][1]):
        return None
    read = _Read()
    list(read.records(LOTS, rows[1:]))
    return None if read.problems else {LOTS.name: rows[1:]}


def tables_in_grids(grids: Sequence[Grid]) -> Tables | None:
    """Read the sheets of a workbook that Hilum wrote; ``None`` if it did not."""
    by_name = {grid.name: grid for grid in grids}
    found: dict[str, Rows] = {}
    for table in TABLES:
        grid = by_name.get(table.name)
        if grid is None or not table.is_heading(grid.rows[0].cells):
            return None
        found[table.name] = [(row.number, row.cells) for row in grid.rows[1:]]
    return found


def _packed(data: bytes) -> Tables | None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as pack:
            parts = {part.filename: part for part in pack.infolist()}
            wanted = {table.name: f"{table.name.lower()}.csv" for table in TABLES}
            if not set(wanted.values()) <= set(parts):
                return None
            if sum(part.file_size for part in parts.values()) > MOST_UNPACKED:
                raise InvalidInputError("The zip file would unpack to far too much.", "file")
            texts = {name: pack.read(file) for name, file in wanted.items()}
    except UNPACKING:
        return None  # the reader of workbooks says what is wrong with it
    found: dict[str, Rows] = {}
    for table in TABLES:
        rows = _csv_rows(texts[table.name])
        if not rows or not table.is_heading(rows[0][1]):
            raise InvalidInputError(
                f"{table.name.lower()}.csv in the zip file is not as Hilum writes it.", "file"
            )
        found[table.name] = rows[1:]
    return found


def _csv_rows(data: bytes) -> Rows | None:
    try:
        text = data.decode("utf-8-sig")
        records = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error):
        return None
    rows = enumerate(records, start=1)
    return [(number, [disarmed(cell) for cell in record]) for number, record in rows if record]


def restored(tables: Tables, store: KeepingStore, now_ms: int) -> Restored:
    """Merge a file of Hilum's own with what is kept: what is here already changes nothing.

    Parameters
    ----------
    tables : mapping
        From :func:`tables_in_text` or :func:`tables_in_grids`.
    store : KeepingStore
        What is kept.
    now_ms : int
        The present.
    """
    read = _Read()
    whole = set(tables) != {LOTS.name}
    drafts = list(_drafts(read, tables[LOTS.name], whole=whole))
    boxes, notes = _boxes(read, tables.get(BOXES.name, []), store)
    has = {Field.CODE, Field.SOURCE, Field.YEAR}
    matched = Matcher(store, has, now_ms, None, UTC).match(drafts)
    lots = {lot.code for lot in store.lots()} | {change.lot.code for change in matched.changes}
    slugs = {box.slug for box in (*store.boxes(), *boxes)}
    stays = _new(_stays(read, tables.get(STAYS.name, []), lots, slugs), store.stays(), _stay_key)
    stays = _without_overlaps(read, stays, store)
    tests = [
        GerminationTest(id=0, **values)
        for number, values in read.records(TESTS, tables.get(TESTS.name, []))
        if _known(read, (number, TESTS, values), lots, slugs)
    ]
    events = [
        Event(id=0, **values)
        for number, values in read.records(JOURNAL, tables.get(JOURNAL.name, []))
        if _known(read, (number, JOURNAL, values), lots, slugs)
    ]
    extra = Changes(
        boxes=tuple(boxes),
        stays=tuple(stays),
        tests=tuple(_new(tests, store.tests(), lambda test: replace(test, id=0))),
        events=tuple(_new(events, store.events(limit=MOST_EVENTS), _event_key)),
    )
    matched.problems += read.problems
    added = {STAYS: extra.stays, TESTS: extra.tests, JOURNAL: extra.events}
    notes += [f"{table.name}: {len(new)} to add." for table, new in added.items() if new]
    return Restored(matched, extra, tuple(notes))


def _drafts(read: _Read, rows: Rows, *, whole: bool) -> Iterator[Draft]:
    """Lots as drafts; beside a table of stays, where they lie now says nothing more."""
    for number, values in read.records(LOTS, rows):
        if values["kind"] not in kinds():
            read.problems.append(Problem(number, f"Lots: there is no kind “{values['kind']}”."))
            continue
        where = Where(**{name: values.pop(name) for name in _PLACE})
        code, kind = str(values.pop("code")), str(values.pop("kind"))
        draft = Draft(number, kind, code, values)
        if not whole and where.box:
            draft.box, draft.wrap, draft.since_ms = where.box, where.wrap, where.since_ms
        yield draft


def _boxes(read: _Read, rows: Rows, store: KeepingStore) -> tuple[list[Box], list[str]]:
    kept = {box.slug: box for box in store.boxes()}
    boxes = []
    for number, values in read.records(BOXES, rows):
        if re.fullmatch(r"(?!new$)[a-z0-9][a-z0-9-]*", str(values["slug"])):
            boxes.append(Box(**values))
        else:
            reason = f"Boxes: “{values['slug']}” cannot be the short name of a box."
            read.problems.append(Problem(number, reason))
    changed = [box for box in boxes if kept.get(box.slug) != box]
    names = {True: "Boxes to add", False: "Boxes to change"}
    notes = []
    for new, words in names.items():
        some = [box.name for box in changed if (box.slug not in kept) is new]
        notes += [f"{words}: {', '.join(some)}."] if some else []
    return changed, notes


def _stays(read: _Read, rows: Rows, lots: set[str], slugs: set[str]) -> list[Stay]:
    return [
        Stay(id=0, **values)
        for number, values in read.records(STAYS, rows)
        if _known(read, (number, STAYS, values), lots, slugs)
    ]


def _known(
    read: _Read,
    row: tuple[int, Table, Mapping[str, Any]],
    lots: set[str],
    slugs: set[str],
) -> bool:
    """Report a row that refers to a lot or box that is neither here nor in the file."""
    number, table, values = row
    lot, box = values.get("lot"), values.get("box")
    if lot is not None and lot not in lots:
        read.problems.append(Problem(number, f"{table.name}: there is no lot “{lot}”."))
        return False
    if box is not None and box not in slugs:
        read.problems.append(Problem(number, f"{table.name}: there is no box “{box}”."))
        return False
    return True


def _new(records: Iterable[Dated], kept: Iterable[Dated], key: Any) -> list[Dated]:  # noqa: ANN401
    """Records that are not kept yet; one that stands twice is kept twice."""
    here = Counter(map(key, kept))
    new = []
    for record in records:
        name = key(record)
        if here[name]:
            here[name] -= 1
        else:
            new.append(record)
    return new


def _stay_key(stay: Stay) -> tuple[str, str, Wrap, int]:
    return stay.lot, stay.box, stay.wrap, stay.from_ms


def _event_key(event: Event) -> Event:
    return replace(event, id=0, struck=False)


def _without_overlaps(read: _Read, stays: list[Stay], store: KeepingStore) -> list[Stay]:
    """Leave out, and report, stays that would put a lot into two boxes at once."""
    kept: dict[str, list[Stay]] = defaultdict(list)
    for stay in store.stays():
        kept[stay.lot].append(stay)
    fitting = []
    for stay in stays:
        if any(_overlap(stay, other) for other in kept[stay.lot]):
            reason = f"Stays: lot {stay.lot} was elsewhere, or in two boxes at once."
            read.problems.append(Problem(0, reason))
            continue
        kept[stay.lot].append(stay)
        fitting.append(stay)
    return fitting


def _overlap(one: Stay, other: Stay) -> bool:
    ends = [stay.to_ms for stay in (one, other) if stay.to_ms is not None]
    start = max(one.from_ms, other.from_ms)
    return not ends or start < min(ends)
