"""A season's answers as a file: what to order, and beside it what to sow, to test, and why."""

from hilum.domain.errors import InvalidInputError
from hilum.keeping.seasons.season import Season, SeasonLine
from hilum.sheets.grid import Cell
from hilum.sheets.writing import Sheet, csv_bytes, xlsx_bytes

FORMATS = (".csv", ".xlsx")
ORDER = ("Kind", "Variety", "Packets", "Seeds per packet", "Plants wanted", "Note")
SOW = ("Kind", "Variety wanted", "Plants wanted", "Lot", "Variety", "Box", "Do", "Sow seeds", "Why")
Rows = list[list[Cell]]
TESTS = ("Lot", "Seeds", "Days", "Why")
NONE_WOULD_DO = "No number of packets would do."


def order_file(found: Season, suffix: str) -> bytes:
    """Write what to order.

    Parameters
    ----------
    found : Season
        The answered plan.
    suffix : str
        ``.csv``: what to order, in one table. ``.xlsx``: the same, and on further sheets what to
        sow, what to test, and what was taken for granted.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    InvalidInputError
        The format is none of these.
    """
    order: Rows = [list(ORDER), *(_order_row(line) for line in found.order)]
    if suffix == ".csv":
        return csv_bytes(order)
    if suffix == ".xlsx":
        sow: Rows = [list(SOW)]
        for line in found.lines:
            sow += _sow_rows(line)
        tests: Rows = [list(TESTS)]
        tests += [[each.lot.code, each.seeds, each.days, each.words] for each in found.tests]
        said: Rows = [["Taken for granted"]]
        said += [[words] for words in found.assumptions]
        return xlsx_bytes(
            [
                Sheet("To order", order, "A2"),
                Sheet("To sow", sow, "A2"),
                Sheet("To test", tests, "A2"),
                Sheet("Taken for granted", said, "A2"),
            ]
        )
    raise InvalidInputError(f"An order is written as .csv or .xlsx, not as “{suffix}”.", "to")


def _order_row(line: SeasonLine) -> list[Cell]:
    note = line.duplicate if line.packets >= 0 else f"{NONE_WOULD_DO} {line.duplicate}".strip()
    wanted = (line.packet_seeds, line.line.plants)
    return [line.kind.common, line.line.variety, max(line.packets, 0) or None, *wanted, note]


def _sow_rows(line: SeasonLine) -> Rows:
    """Give a row for each lot that can serve a line; one without a lot where none can."""
    wanted: list[Cell] = [line.kind.common, line.line.variety or "any", line.line.plants]
    if not line.lots:
        return [[*wanted, None, None, None, None, None, line.words]]
    return [
        [
            *wanted,
            offer.lot.code,
            offer.lot.variety,
            offer.box,
            offer.judgement.verdict.value if offer.judgement else None,
            offer.sow_seeds or None,
            offer.words,
        ]
        for offer in line.lots
    ]
