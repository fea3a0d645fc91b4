"""The journal from the command line."""

import sys
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from hilum.cli.keep import open_data
from hilum.cli.options import DataDir

journal = typer.Typer(help="Journal: what was done and noticed.", no_args_is_help=True)

EVERYTHING = sys.maxsize


@journal.command("export")
def export(
    file: Annotated[Path | None, typer.Option("--to", help="File; else it is printed.")] = None,
    box: Annotated[str | None, typer.Option(help="Of this box only.")] = None,
    lot: Annotated[str | None, typer.Option(help="Of this lot only.")] = None,
    data_dir: DataDir = None,
) -> None:
    """Export every line of the journal as CSV, those taken back too.

    Example: hilum journal export --to journal.csv
    """
    from hilum.config import load_settings
    from hilum.sheets.journal import journal_csv

    with open_data(data_dir) as store:
        place = store.box(box).slug if box else None
        about = store.lot(lot).code if lot else None
        events = store.events(box=place, lot=about, limit=EVERYTHING)
    data = journal_csv(events[::-1], ZoneInfo(load_settings(data_dir).time_zone))
    if file is None:
        print(data.decode("utf-8-sig"), end="")
    else:
        file.write_bytes(data)
    print(f"{len(events):,} lines of the journal written.", file=sys.stderr)
