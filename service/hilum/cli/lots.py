"""Lots from spreadsheets and back, and labels for them."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hilum.cli.keep import lots, open_data
from hilum.cli.options import DataDir, Json, print_json, time_ms, write_file
from hilum.domain.errors import InvalidInputError

if TYPE_CHECKING:
    from hilum.config import Settings
    from hilum.sheets.proposal import Options, Proposal

__all__ = ["lots"]

SHOWN = 20  # lines of each sort; --all shows every one
ORDERS = {"day-first": True, "month-first": False}


@lots.command("import")
def import_lots(
    file: Annotated[Path, typer.Argument(help="XLSX, CSV, TSV, or a file Hilum exported.")],
    sheet: Annotated[str | None, typer.Option(help="Sheet of the workbook.")] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask before importing.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what would change.")] = False,
    dates: Annotated[
        str | None, typer.Option(help="Order in dates like 1/3/2023: day-first or month-first.")
    ] = None,
    unit: Annotated[
        str | None,
        typer.Option(help="What numbers without a unit count: seeds, packets, g or oz."),
    ] = None,
    column: Annotated[
        list[str] | None,
        typer.Option(help='What a column is, such as "Name=variety" or "Price=ignore".'),
    ] = None,
    since: Annotated[
        str | None, typer.Option(help="In their boxes since, where the row does not say; else now.")
    ] = None,
    rejected: Annotated[
        Path | None, typer.Option(help="Write the rows that are not taken into this CSV file.")
    ] = None,
    show_all: Annotated[bool, typer.Option("--all", help="Show every row.")] = False,
    as_json: Json = False,
    data_dir: DataDir = None,
) -> None:
    """Import lots: says what was understood and what would change, then asks.

    Importing the same file again changes nothing. With --json nothing is asked.

    Example: hilum lots import seeds.xlsx --dry-run
    """
    from hilum.bootstrap import system_clock
    from hilum.config import load_settings
    from hilum.sheets.applying import apply
    from hilum.sheets.proposal import propose
    from hilum.sheets.read import read_path
    from hilum.sheets.rejected import rejected_csv

    settings = load_settings(data_dir)
    options = _options(settings, sheet, dates, unit, column or [], since)
    data = read_path(file)
    with open_data(data_dir) as store:
        now_ms = system_clock().now_ms()
        proposal = propose(data, file.name, store, now_ms, options)
        if not as_json:
            _show(proposal, most=None if show_all else SHOWN)
        agreed = not dry_run and not proposal.changes_nothing and (yes or as_json or _asked())
        done = apply(proposal, store, now_ms) if agreed else None
    if rejected is not None:
        write_file(rejected, rejected_csv(proposal))
    if as_json:
        print_json({**_as_json(proposal), "imported": done is not None})
    elif done is not None:
        print(done.words)
        print(_counts(proposal))
    if not (agreed or dry_run or yes or as_json or proposal.changes_nothing):
        raise InvalidInputError("Nothing was imported. Add --yes to import this.", "yes")


def _options(
    settings: "Settings",
    sheet: str | None,
    dates: str | None,
    unit: str | None,
    columns: list[str],
    since: str | None,
) -> "Options":
    from zoneinfo import ZoneInfo

    from hilum.sheets.proposal import Options, Unit

    if dates is not None and dates not in ORDERS:
        raise InvalidInputError("--dates is day-first or month-first.", "dates")
    if unit is not None and unit not in set(Unit):
        raise InvalidInputError(f"--unit is one of {', '.join(Unit)}.", "unit")
    if wrong := next((each for each in columns if "=" not in each), None):
        raise InvalidInputError(f"Write --column like “{wrong}=variety”.", "column")
    return Options(
        sheet=sheet,
        day_first=None if dates is None else ORDERS[dates],
        unit=None if unit is None else Unit(unit),
        columns=dict(each.rsplit("=", 1) for each in columns),
        since_ms=None if since is None else time_ms(since, settings.time_zone, "since"),
        zone=ZoneInfo(settings.time_zone),
    )


def _asked() -> bool:
    return sys.stdin.isatty() and typer.confirm("Import this?")


def _show(proposal: "Proposal", most: int | None) -> None:
    """Say what was understood, then what would change, then what needs the grower."""
    if proposal.sheet:
        print(f"Sheet “{proposal.sheet}”.")
    for name in proposal.other_sheets:
        print(f"Sheet “{name}” looks like a list of seed too; read it with --sheet.")
    for each in proposal.columns:
        if each.heading or each.field:
            print(f"  {each.letter}  {each.heading or '(no heading)'}: {each.words}")
    for note in proposal.notes:
        print(note)
    print(f"\n{_counts(proposal)}")
    if proposal.new_boxes:
        names = ", ".join(f"{box.name} ({box.type})" for box in proposal.new_boxes)
        print(f"New boxes: {names}.")
    _list("Changes", _change_lines(proposal), most)
    _list("Not taken", [_problem_line(each) for each in proposal.problems], most)
    _list("Taken, but look", [f"row {each.row}: {each.text}" for each in proposal.remarks], most)
    for question in proposal.questions:
        print(f"\n{question.text} Say --{question.name} {' or '.join(question.options)}.")


def _counts(proposal: "Proposal") -> str:
    from hilum.sheets.proposal import Verdict

    counts = ", ".join(f"{len(proposal.of(verdict))} {verdict}" for verdict in Verdict)
    return f"Lots: {counts}. Rows not taken: {len(proposal.problems)}."


def _change_lines(proposal: "Proposal") -> list[str]:
    return [
        f"row {change.row}, lot {change.lot.code}: "
        + "; ".join(f"{each.field} {each.before} → {each.after}" for each in change.differences)
        for change in proposal.changes
        if change.differences
    ]


def _problem_line(problem: Any) -> str:  # noqa: ANN401 - from a part imported late
    where = f", “{problem.column}”" if problem.column else ""
    return f"row {problem.row}{where}: {problem.reason}" if problem.row else problem.reason


def _list(title: str, lines: list[str], most: int | None) -> None:
    if not lines:
        return
    print(f"\n{title}:")
    for line in lines[:most]:
        print(f"  {line}")
    if most is not None and len(lines) > most:
        print(f"  … and {len(lines) - most} more (--all shows them)")


def _as_json(proposal: "Proposal") -> dict[str, Any]:
    from hilum.sheets.proposal import Verdict

    return {
        "counts": {
            **{str(verdict): len(proposal.of(verdict)) for verdict in Verdict},
            "rejected": len(proposal.problems),
        },
        "file": proposal.file,
        "sheet": proposal.sheet,
        "sheets": list(proposal.sheets),
        "other_sheets": list(proposal.other_sheets),
        "heading_row": proposal.heading_row,
        "columns": [
            {
                "column": each.letter,
                "heading": each.heading,
                "field": each.field,
                "words": each.words,
            }
            for each in proposal.columns
        ],
        "notes": list(proposal.notes),
        "questions": [
            {"name": each.name, "text": each.text, "options": list(each.options)}
            for each in proposal.questions
        ],
        "rows": [_row_json(change) for change in proposal.changes],
        "new_boxes": [{"name": box.name, "type": box.type} for box in proposal.new_boxes],
        "rejected": [
            {"row": each.row, "column": each.column, "reason": each.reason}
            for each in proposal.problems
        ],
        "remarks": [{"row": each.row, "text": each.text} for each in proposal.remarks],
    }


def _row_json(change: Any) -> dict[str, Any]:  # noqa: ANN401 - from a part imported late
    lot = change.lot
    return {
        "row": change.row,
        "verdict": change.verdict,
        "lot": {
            "code": lot.code,
            "kind": lot.kind,
            "variety": lot.variety,
            "source": lot.source,
            "year": lot.year,
            "label_pct": lot.label_pct,
            "label_n": lot.label_n,
            "label_date": lot.label_date and lot.label_date.isoformat(),
            "seeds": lot.seeds,
            "grams": lot.grams,
            "note": lot.note,
            "prepared": list(lot.prepared),
        },
        "box": change.begins.box if change.begins else None,
        "differences": [
            {"field": each.field, "before": each.before, "after": each.after}
            for each in change.differences
        ],
    }


@lots.command("export")
def export_lots(
    to: Annotated[Path, typer.Option("--to", help="File to write: .csv, .xlsx or .zip.")],
    data_dir: DataDir = None,
) -> None:
    """Export the lots; `hilum lots import` reads the file back without loss.

    .csv holds the lots and where they lie now; .xlsx and .zip also every stay, test, box and line
    of the journal.

    Example: hilum lots export --to lots.xlsx
    """
    from hilum.sheets.export import export

    with open_data(data_dir) as store:
        data = export(store, to.suffix.lower())
        count = len(store.lots())
    write_file(to, data)
    print(f"{count} lots written to {to}.")


@lots.command("labels")
def print_labels(
    to: Annotated[Path, typer.Option("--to", help="HTML file to write; print it at full size.")],
    codes: Annotated[list[str] | None, typer.Argument(help="Codes of lots; none: all.")] = None,
    boxes: Annotated[bool, typer.Option("--boxes", help="Labels for boxes instead.")] = False,
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    width: Annotated[float, typer.Option(help="Width of a label, mm.")] = 62.0,
    height: Annotated[float, typer.Option(help="Height of a label, mm.")] = 32.0,
    address: Annotated[
        str | None,
        typer.Option(help="Address of Hilum for phones, http://…:8420; else public_url."),
    ] = None,
    data_dir: DataDir = None,
) -> None:
    """Print labels with a code that opens the page of the lot on a phone.

    Example: hilum lots labels --to labels.html --address http://seeds.local:8420
    """
    from hilum.config import load_settings
    from hilum.sheets.labels import Paper, SheetLayout, box_labels, label_sheet, lot_labels

    settings = load_settings(data_dir)
    if paper.lower() not in set(Paper):
        raise InvalidInputError(f"--paper is one of {', '.join(Paper)}.", "paper")
    layout = SheetLayout(Paper(paper.lower()), width, height)
    site = address or settings.public_url or ""
    with open_data(data_dir) as store:
        labels = (box_labels if boxes else lot_labels)(store, codes or [], site)
        page = label_sheet(labels, layout)
    write_file(to, page.encode("utf-8"))
    print(f"{len(labels)} labels written to {to}.")
    if not site:
        print(
            "They carry no QR code, because nobody said how a phone reaches Hilum: set public_url, "
            "or give --address."
        )
