"""Lets the pages read and write spreadsheets."""

from collections.abc import Iterable, Mapping
from zoneinfo import ZoneInfo

from hilum.domain.errors import InvalidInputError
from hilum.domain.ports import Clock, Store
from hilum.keeping.seasons.season import Season
from hilum.science.kinds import kinds
from hilum.sheets.applying import apply
from hilum.sheets.export import export
from hilum.sheets.order import order_file
from hilum.sheets.proposal import LotChange, Options, Proposal, Unit, Verdict, propose
from hilum.web.sheetparts import SheetProposal, SheetQuestion

DAY_FIRST = {"day-first": True, "month-first": False}


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

    def propose(self, data: bytes, name: str, answers: Mapping[str, str]) -> SheetProposal:
        """Say what a file would change."""
        found = self._proposal(data, name, answers)
        return SheetProposal(
            columns=tuple((column.heading, column.words) for column in found.columns),
            notes=found.notes,
            questions=tuple(SheetQuestion(q.name, q.text, q.options) for q in found.questions),
            new=tuple(_lot(change) for change in found.of(Verdict.NEW)),
            changed=tuple(_changed(change) for change in found.of(Verdict.CHANGED)),
            same=len(found.of(Verdict.SAME)),
            boxes=tuple(box.name for box in found.new_boxes),
            problems=_rows((each.row, each.reason) for each in found.problems),
            remarks=_rows((each.row, each.text) for each in found.remarks),
            nothing=found.changes_nothing,
        )

    def apply(self, data: bytes, name: str, answers: Mapping[str, str]) -> str:
        """Write what a file says."""
        found = self._proposal(data, name, answers)
        return apply(found, self._store, self._clock.now_ms()).words

    def export(self, suffix: str) -> bytes:
        """Write all lots."""
        return export(self._store, suffix)

    def order(self, found: Season, suffix: str) -> bytes:
        """Write what to order."""
        return order_file(found, suffix)

    def _proposal(self, data: bytes, name: str, answers: Mapping[str, str]) -> Proposal:
        dates, unit = answers.get("dates", ""), answers.get("unit", "")
        if (dates and dates not in DAY_FIRST) or (unit and unit not in set(Unit)):
            raise InvalidInputError("Choose one of the answers.", "dates" if dates else "unit")
        options = Options(
            sheet=answers.get("sheet") or None,
            day_first=DAY_FIRST.get(dates),
            unit=Unit(unit) if unit else None,
            zone=self._zone,
        )
        return propose(data, name, self._store, self._clock.now_ms(), options)


def _rows(found: Iterable[tuple[int, str]]) -> tuple[str, ...]:
    return tuple(f"Row {row}: {words}" for row, words in found)


def _lot(change: LotChange) -> str:
    kind = kinds().get(change.lot.kind)
    name = f"{kind.common if kind else change.lot.kind} {change.lot.variety}".strip()
    return f"{name}, {change.lot.code}" if change.lot.code else name


def _changed(change: LotChange) -> str:
    told = "; ".join(f"{d.field}: {d.before} becomes {d.after}" for d in change.differences)
    return f"{_lot(change)}: {told}"
