"""Readings from files, and back into files."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TextIO
from zoneinfo import ZoneInfo

import typer

from hilum.cli.options import DataDir, Json, print_json, slug_of, time_ms
from hilum.domain.errors import InvalidInputError, NotFoundError

if TYPE_CHECKING:
    from hilum.domain.ports import Store
    from hilum.ingest.files import Tally
    from hilum.ingest.tables import Layout

readings = typer.Typer(help="Readings: import and export.", no_args_is_help=True)
EVERYTHING = (-(2**62), 2**62)


@readings.command("import")
def import_readings(
    file: Annotated[
        Path, typer.Argument(help="CSV, TSV or similar, or SenML.", exists=True, dir_okay=False)
    ],
    sensor: Annotated[str | None, typer.Option(help="Name of the sensor; else the file's.")] = None,
    box: Annotated[str | None, typer.Option(help="Box the sensor stood in.")] = None,
    time_zone: Annotated[
        str | None, typer.Option(help="Time zone of local times, for example Europe/Brussels.")
    ] = None,
    dates: Annotated[
        str | None, typer.Option(help="Order in dates like 03/04/2024: day-first or month-first.")
    ] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of the temperature: C or F.")] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Only say what is understood.")
    ] = False,
    as_json: Json = False,
    data_dir: DataDir = None,
) -> None:
    """Import readings.

    Example: hilum readings import logger.csv --box blue-tub
    """
    from hilum.bootstrap import keep_up, open_store
    from hilum.config import load_settings
    from hilum.ingest.senmlfiles import is_senml

    settings = load_settings(data_dir)
    asked = sensor or file.stem
    name = asked if "/" in asked else f"{settings.site}/{slug_of(asked)}"
    layout = None
    if is_senml(file):
        if not as_json:
            print(f"Sensor {name}. Understood: SenML (RFC 8428), with times of its own.")
    else:
        layout = _recognised(file, dates, unit)
        if not as_json:
            _show_layout(layout, name)
    if dry_run:
        return
    zone = None if layout is None or layout.zoned else _zone(time_zone)
    with open_store(settings) as store:
        place = store.box(box).slug if box else None
        tally = _import(file, layout, name, zone, store)
        if place and tally.first_ms is not None:
            _place(store, name, place, tally.first_ms)
        keep_up(store)
    _show_tally(tally, name, as_json=as_json)


def _recognised(file: Path, dates: str | None, unit: str | None) -> "Layout":
    from itertools import islice

    from hilum.ingest.files import open_text
    from hilum.ingest.tables import SAMPLE_LINES, recognise

    with open_text(file) as lines:
        return recognise(
            list(islice(lines, SAMPLE_LINES)),
            day_first=_one_of(dates, "dates", {"day-first": True, "month-first": False}),
            fahrenheit=_one_of(unit, "unit", {"C": False, "F": True}),
        )


def _import(
    file: Path, layout: "Layout | None", name: str, zone: ZoneInfo | None, store: "Store"
) -> "Tally":
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    from hilum.bootstrap import system_clock
    from hilum.ingest.files import import_table, open_text
    from hilum.ingest.senmlfiles import import_senml

    now_ms = system_clock().now_ms()
    if layout is None:
        return import_senml(file, name, store, now_ms=now_ms)
    columns = TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn()
    bar = Progress(*columns, console=Console(stderr=True), transient=True)
    with bar, open_text(file) as stream:
        task = bar.add_task("Reading", total=max(file.stat().st_size, 1))
        lines = _counted(stream, lambda size: bar.update(task, advance=size))
        return import_table(lines, layout, name, zone, store, origin=file.name, now_ms=now_ms)


def _counted(stream: TextIO, advance: Callable[[int], None]) -> Iterator[str]:
    pending = 0
    for number, line in enumerate(stream):
        pending += len(line)
        if number % 1000 == 0:
            advance(pending)
            pending = 0
        yield line


def _place(store: "Store", name: str, box: str, first_ms: int) -> None:
    """Let the sensor stand in the box from its first reading on, unless it is placed already.

    Where another sensor stands there from a later time on, only until then.
    """
    from hilum.domain.model import Placement, Role

    if store.placements(sensor=name):
        return
    starts = [p.from_ms for p in store.placements(box=box) if p.role is Role.INSIDE]
    until = min((start for start in starts if start > first_ms), default=None)
    store.add_placement(Placement(0, name, box, Role.INSIDE, first_ms, until))


def _zone(named: str | None) -> ZoneInfo:
    if named is None and sys.stdin.isatty():
        named = typer.prompt("Time zone of these times (for example Europe/Brussels)", err=True)
    if named is None:
        raise InvalidInputError(
            "The times in this file are local and do not say where; give their time zone with "
            "--time-zone, for example --time-zone Europe/Brussels.",
            "time_zone",
        )
    try:
        return ZoneInfo(named)
    except (ValueError, OSError, KeyError) as error:
        raise InvalidInputError(
            f"“{named}” is no time zone; write it like Europe/Brussels.", "time_zone"
        ) from error


def _one_of(text: str | None, name: str, choices: dict[str, bool]) -> bool | None:
    if text is None:
        return None
    if text not in choices:
        raise InvalidInputError(f"--{name} is one of {', '.join(choices)}, not “{text}”.", name)
    return choices[text]


def _show_layout(layout: "Layout", name: str) -> None:
    print(f"Sensor {name}. Understood:")
    for line in layout.in_words():
        print(f"  {line}")


def _show_tally(tally: "Tally", name: str, *, as_json: bool) -> None:
    from hilum.ingest.files import iso_utc

    if as_json:
        print_json(
            {
                "sensor": name,
                "stored": tally.stored,
                "duplicates": tally.duplicates,
                "conflicts": tally.conflicts,
                "refused": dict(tally.reasons),
                "first": None if tally.first_ms is None else iso_utc(tally.first_ms),
                "last": None if tally.last_ms is None else iso_utc(tally.last_ms),
            }
        )
        return
    print(f"{tally.stored:,} readings kept, {tally.duplicates:,} were here already.")
    if tally.conflicts:
        print(f"{tally.conflicts:,} had another value than the one kept; the kept one stays.")
    if refused := sum(tally.reasons.values()):
        print(f"{refused:,} lines were not kept:")
        for problem in tally.problems:
            print(f"  {problem}")
        if refused > len(tally.problems):
            print(f"  … and {refused - len(tally.problems):,} more")


@readings.command("export")
def export_readings(
    sensor: Annotated[str, typer.Argument(help="Name of the sensor, as in hilum sensors list.")],
    file: Annotated[Path | None, typer.Option("--to", help="File; else it is printed.")] = None,
    start: Annotated[str | None, typer.Option("--from", help="From this date or time on.")] = None,
    until: Annotated[str | None, typer.Option(help="Before this date or time.")] = None,
    data_dir: DataDir = None,
) -> None:
    """Export readings as CSV.

    Example: hilum readings export home/tub-1 --to tub.csv
    """
    from hilum.bootstrap import open_store
    from hilum.config import load_settings
    from hilum.ingest.files import export_table

    settings = load_settings(data_dir)
    name = sensor if "/" in sensor else f"{settings.site}/{sensor}"
    zone = settings.time_zone
    begin = time_ms(start, zone, "from") if start else EVERYTHING[0]
    end = time_ms(until, zone, "until") if until else EVERYTHING[1]
    with open_store(settings) as store:
        if store.extent(name) is None:
            raise NotFoundError(f"There are no readings of a sensor called {name}.")
        if file is None:
            count = export_table(sys.stdout, store, name, begin, end)
        else:
            with file.open("w", encoding="utf-8", newline="") as target:
                count = export_table(target, store, name, begin, end)
    print(f"{count:,} readings of {name} written.", file=sys.stderr)


@readings.command("copy")
def copy(
    to: Annotated[str, typer.Option(help="influx or sqlite.")],
    data_dir: DataDir = None,
) -> None:
    """Copy all readings from SQLite to InfluxDB, or back.

    Example: hilum readings copy --to influx
    """
    from hilum.bootstrap import copy_readings
    from hilum.config import load_settings

    to_influx = _one_of(to, "to", {"influx": True, "sqlite": False})
    done = copy_readings(
        load_settings(data_dir),
        to_influx=bool(to_influx),
        progress=lambda name: print(f"Copying {name}", file=sys.stderr),
    )
    print(f"{done.stored:,} readings copied, {done.duplicates:,} were there already.")
    if done.conflicts:
        print(f"{len(done.conflicts):,} had another value than the one there; that one stays.")
