"""What a file would change: proposed first, looked at, then applied all or none."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, tzinfo
from enum import StrEnum

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Box, Changes
from hilum.domain.ports import KeepingStore
from hilum.sheets import own
from hilum.sheets.columns import Column, Headed, Said, find_columns, read_columns, score_of_heading
from hilum.sheets.drafts import Draft, Problem, Remark, read_drafts, sentence
from hilum.sheets.grid import Cell, Grid
from hilum.sheets.habits import Question, find_habits
from hilum.sheets.matching import Matcher
from hilum.sheets.read import read_grids
from hilum.sheets.verdicts import LotChange, Verdict

__all__ = [
    "LotChange",
    "Options",
    "Outline",
    "Problem",
    "Proposal",
    "Question",
    "Remark",
    "Verdict",
    "outline",
    "propose",
]

A_LIST = 3.0  # score of headings from which another sheet looks like a list of seed too


class Unit(StrEnum):
    """What numbers without a unit count."""

    SEEDS = "seeds"
    PACKETS = "packets"
    GRAMS = "g"
    OUNCES = "oz"


@dataclass(frozen=True, slots=True)
class Options:
    """What the grower said beforehand, or in answer to a question.

    ``columns`` says what columns are. Lots whose row does not say since when they lie in their box
    lie there from ``since_ms`` on (``None``: now).
    """

    sheet: str | None = None
    day_first: bool | None = None
    unit: Unit | None = None
    columns: Said = field(default_factory=dict)
    since_ms: int | None = None
    zone: tzinfo = UTC


@dataclass(frozen=True, slots=True)
class Proposal:
    """What was understood of a file and what it would change; nothing is changed yet.

    ``changes`` holds each row that is a lot; ``problems`` each row that is not taken; ``remarks``
    what was assumed in rows that are. ``own`` tells a file that Hilum wrote, and ``extra`` what it
    brings along beside lots.
    """

    file: str
    sheet: str
    other_sheets: tuple[str, ...]
    heading_row: int | None
    columns: tuple[Column, ...]
    notes: tuple[str, ...]
    questions: tuple[Question, ...]
    changes: tuple[LotChange, ...]
    new_boxes: tuple[Box, ...]
    problems: tuple[Problem, ...]
    remarks: tuple[Remark, ...]
    extra: Changes = field(default_factory=Changes)
    own: bool = False
    sheets: tuple[str, ...] = ()  # all that hold something
    refused: Mapping[int, tuple[Cell, ...]] = field(default_factory=dict)  # cells, by row

    def of(self, verdict: Verdict) -> tuple[LotChange, ...]:
        """Give the rows that are new lots, changed ones, or as they are here."""
        return tuple(change for change in self.changes if change.verdict is verdict)

    @property
    def changes_nothing(self) -> bool:
        """Whether everything in the file is here already."""
        return (
            not (self.of(Verdict.NEW) or self.of(Verdict.CHANGED) or self.new_boxes)
            and self.extra == Changes()
        )


def propose(
    data: bytes, name: str, store: KeepingStore, now_ms: int, options: Options | None = None
) -> Proposal:
    """Read a file and say what it would change.

    Parameters
    ----------
    data : bytes
        Content of the file.
    name : str
        Its name, for messages.
    store : KeepingStore
        What is kept already.
    now_ms : int
        The present.
    options : Options, optional
        What the grower said.

    Returns
    -------
    Proposal
        For :func:`hilum.sheets.applying.apply`.

    Raises
    ------
    InvalidInputError
        The file is no table, or no list of seed; says what to do.
    """
    said = options or Options()
    packed = own.tables_in_text(data)
    grids = [] if packed else read_grids(data, name)
    if (tables := packed or own.tables_in_grids(grids)) is not None:
        return _own(own.restored(tables, store, now_ms), name)
    grid, others = _chosen(grids, said.sheet)
    found = _listed(grid, name, others=others, store=store, now_ms=now_ms, said=said)
    return replace(found, sheets=tuple(each.name for each in grids))


@dataclass(frozen=True, slots=True)
class Outline:
    """What a file looks like before its rows are read; ``headed`` is none for one Hilum wrote."""

    sheets: tuple[str, ...]
    sheet: str
    headed: Headed | None


def outline(data: bytes, name: str, today: date, options: Options) -> Outline:
    """Find sheets and columns of a file, also where no column names the kind.

    Raises
    ------
    InvalidInputError
        The file is no table.
    """
    packed = own.tables_in_text(data)
    grids = [] if packed else read_grids(data, name)
    if packed or own.tables_in_grids(grids) is not None:
        return Outline((), "", None)
    grid, _ = _chosen(grids, options.sheet)
    headed = read_columns(grid, today, options.columns)
    return Outline(tuple(each.name for each in grids), grid.name, headed)


def _own(found: own.Restored, name: str) -> Proposal:
    return Proposal(
        file=name,
        sheet="",
        other_sheets=(),
        heading_row=1,
        columns=(),
        notes=found.notes,
        questions=(),
        changes=tuple(found.matched.changes),
        new_boxes=tuple(found.matched.boxes),
        problems=tuple(found.matched.problems),
        remarks=tuple(found.matched.remarks),
        extra=found.extra,
        own=True,
    )


def _chosen(grids: list[Grid], sheet: str | None) -> tuple[Grid, tuple[str, ...]]:
    """Give the sheet that was named, or looks most like a list of seed; and others that do too."""
    if sheet is not None:
        for grid in grids:
            if grid.name.casefold() == sheet.casefold():
                return grid, ()
        names = ", ".join(f"“{grid.name}”" for grid in grids)
        raise InvalidInputError(f"There is no sheet “{sheet}”; there are {names}.", "sheet")
    scores = {grid.name: score_of_heading(grid) for grid in grids}
    best = max(grids, key=lambda grid: (scores[grid.name], len(grid.rows)))
    others = (name for name, score in scores.items() if score >= A_LIST and name != best.name)
    return best, tuple(others)


def _listed(
    grid: Grid,
    name: str,
    *,
    others: tuple[str, ...],
    store: KeepingStore,
    now_ms: int,
    said: Options,
) -> Proposal:
    today = datetime.fromtimestamp(now_ms / 1000, said.zone).date()
    headed = find_columns(grid, today, said.columns)
    habits = find_habits(headed, today, said.day_first, said.unit or "")
    drafts: list[Draft] = []
    problems: list[Problem] = []
    remarks: list[Remark] = []
    for item in read_drafts(headed, habits, today):
        if isinstance(item, Draft):
            drafts.append(item)
            remarks += [Remark(item.row, sentence(text)) for text in item.remarks]
        elif isinstance(item, Problem):
            problems.append(item)
        else:
            remarks.append(Remark(item.row, sentence(item.text)))
    if not drafts and not problems:
        raise InvalidInputError("There is no row of lots below the headings.")
    has = {column.field for column in headed.columns}
    matcher = Matcher(store, has, now_ms, said.since_ms, said.zone)
    matched = matcher.match(drafts)
    problems = sorted([*problems, *matched.problems], key=lambda item: item.row)
    wrong = {problem.row for problem in problems}
    return Proposal(
        file=name,
        sheet=grid.name if grid.name != name else "",
        other_sheets=others,
        heading_row=headed.heading_row,
        columns=headed.columns,
        notes=(*grid.notes, *habits.notes),
        questions=habits.questions,
        changes=tuple(sorted(matched.changes, key=lambda change: change.row)),
        new_boxes=tuple(matched.boxes),
        problems=tuple(problems),
        remarks=tuple(sorted([*remarks, *matched.remarks], key=lambda item: item.row)),
        refused={row.number: row.cells for row in grid.rows if row.number in wrong},
    )
