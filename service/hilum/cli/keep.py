"""Boxes, sensors and lots from the command line."""

from contextlib import AbstractContextManager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hilum.cli.options import DataDir, slug_of, time_ms
from hilum.domain.errors import ConflictError, InvalidInputError
from hilum.domain.model import Box, BoxType, Lot, Role, Wrap

if TYPE_CHECKING:
    from hilum.domain.model import Reading
    from hilum.domain.ports import Store

boxes = typer.Typer(help="Boxes: what holds the seed.", no_args_is_help=True)
sensors = typer.Typer(help="Sensors: which one stands in which box.", no_args_is_help=True)
lots = typer.Typer(help="Lots: what is in the boxes.", no_args_is_help=True)


def open_data(data_dir: Path | None) -> "AbstractContextManager[Store]":
    """Open the database of a data folder."""
    from hilum.bootstrap import open_store
    from hilum.config import load_settings

    return open_store(load_settings(data_dir))


@boxes.command("add")
def add_box(
    name: Annotated[str, typer.Argument(help="What you call it.")],
    box_type: Annotated[BoxType, typer.Option("--type", help="What it is.")] = BoxType.TUB,
    target_low: Annotated[float, typer.Option(help="Low end of the target band, % eRH.")] = 15.0,
    target_high: Annotated[float, typer.Option(help="High end of the target band, % eRH.")] = 35.0,
    data_dir: DataDir = None,
) -> None:
    """Add a box.

    Example: hilum boxes add "Blue tub" --type tub
    """
    if not 0 <= target_low < target_high <= 100:
        raise InvalidInputError("The target band must rise within 0 to 100 % eRH.", "target_low")
    box = Box(slug_of(name), name, box_type, target_low, target_high)
    with open_data(data_dir) as store:
        if any(known.slug == box.slug for known in store.boxes()):
            raise InvalidInputError(f"There is a box called {box.slug} already.", "name")
        store.save_box(box)
    print(f"Box {box.slug} added.")


@boxes.command("list")
def list_boxes(
    archived: Annotated[bool, typer.Option("--archived", help="Archived boxes too.")] = False,
    data_dir: DataDir = None,
) -> None:
    """List the boxes.

    Example: hilum boxes list
    """
    with open_data(data_dir) as store:
        for box in store.boxes():
            if box.archived and not archived:
                continue
            inside = sum(stay.to_ms is None for stay in store.stays(box=box.slug))
            band = f"{box.target_low_pct:g}–{box.target_high_pct:g} % eRH"
            print(f"{box.slug}\t{box.name}\t{box.type}\t{band}\t{inside} lots")


@sensors.command("list")
def list_sensors(data_dir: DataDir = None) -> None:
    """List the sensors that have spoken.

    Example: hilum sensors list
    """
    from hilum.keeping.reckoning import corrected

    with open_data(data_dir) as store:
        places = {p.sensor: p for p in store.placements() if p.to_ms is None}
        for sensor in store.sensors():
            place = places.get(sensor.name)
            where = f"{place.role} {place.box}" if place else "not claimed"
            value = _said(corrected.newest(store, sensor.name))
            sent = _said(store.newest(sensor.name))
            own = f" (itself it says {sent})" if sent != value else ""
            print(f"{sensor.name}\t{where}\t{value}{own}")


def _said(reading: "Reading | None") -> str:
    """Write what a sensor measured, no finer than it is known."""
    if reading is None:
        return "no reading"
    given = ((reading.temp_c, "°C"), (reading.rh_pct, "% RH"))
    return ", ".join(f"{value:.1f} {unit}" for value, unit in given if value is not None)


def full_name(sensor: str, site: str) -> str:
    """Give the whole name of a sensor; a short one belongs to this site."""
    return sensor if "/" in sensor else f"{site}/{sensor}"


@sensors.command("claim")
def claim_sensor(
    sensor: Annotated[str, typer.Argument(help="Name of the sensor, as in hilum sensors list.")],
    box: Annotated[str, typer.Option("--box", help="Box it stands in (or beside).")],
    role: Annotated[Role, typer.Option(help="Where it stands.")] = Role.INSIDE,
    since: Annotated[
        str | None, typer.Option(help="Since when; by default since its first reading.")
    ] = None,
    data_dir: DataDir = None,
) -> None:
    """Say which box a sensor stands in.

    Example: hilum sensors claim home/tub-1 --box blue-tub
    """
    from hilum.bootstrap import system_clock
    from hilum.config import load_settings
    from hilum.keeping.care import boxcare

    settings, now_ms = load_settings(data_dir), system_clock().now_ms()
    name = full_name(sensor, settings.site)
    with open_data(data_dir) as store:
        known = store.sensor(name)
        extent = store.extent(name)
        first = extent[1] if extent else known.first_seen_ms
        start = time_ms(since, settings.time_zone, "since") if since else first
        boxcare.claim_sensor(store, name, box, role, from_ms=start, now_ms=now_ms)
    print(f"{name} stands {role} {box}.")


@sensors.command("end")
def end_claim(
    sensor: Annotated[str, typer.Argument(help="Name of the sensor, as in hilum sensors list.")],
    at: Annotated[
        str | None, typer.Option(help="Until when; by default until its last reading.")
    ] = None,
    data_dir: DataDir = None,
) -> None:
    """Say that a sensor stands in its box no longer; what it measured there stays.

    Example: hilum sensors end home/tub-1
    """
    from hilum.bootstrap import system_clock
    from hilum.config import load_settings
    from hilum.keeping.care import boxcare

    settings, now_ms = load_settings(data_dir), system_clock().now_ms()
    name = full_name(sensor, settings.site)
    with open_data(data_dir) as store:
        store.sensor(name)
        standing = [p for p in store.placements(sensor=name) if p.to_ms is None]
        if not standing:
            raise ConflictError(f"Sensor {name} stands in no box.")
        placed, newest = standing[-1], store.newest(name)
        last = now_ms if newest is None else max(placed.from_ms, newest.time_ms + 1)
        end = time_ms(at, settings.time_zone, "at") if at else min(last, now_ms)
        boxcare.end_claim(store, placed.id, at_ms=end, now_ms=now_ms)
    print(f"{name} stands in {placed.box} no longer.")


@lots.command("add")
def add_lot(
    kind: Annotated[str, typer.Argument(help="What it is, for example onion.")],
    box: Annotated[str, typer.Option("--box", help="Box it lies in.")],
    variety: Annotated[str, typer.Option(help="Name of the variety.")] = "",
    source: Annotated[str, typer.Option(help="Where it came from.")] = "",
    year: Annotated[int | None, typer.Option(help="Year of harvest or packing.")] = None,
    germination: Annotated[
        float | None, typer.Option(min=0, max=100, help="Germination on the packet, %.")
    ] = None,
    tested: Annotated[str | None, typer.Option(help="Date of that test, for 2026-01-15.")] = None,
    seeds: Annotated[float | None, typer.Option(min=0, help="How many seeds there are.")] = None,
    wrap: Annotated[Wrap, typer.Option(help="How it is packed in the box.")] = Wrap.PAPER,
    since: Annotated[str | None, typer.Option(help="In the box since; by default now.")] = None,
    code: Annotated[str | None, typer.Option(help="Your own code; else one is made.")] = None,
    treated: Annotated[bool, typer.Option("--treated", help="Treated with a pesticide.")] = False,
    pelleted: Annotated[bool, typer.Option("--pelleted", help="In pellets.")] = False,
    primed: Annotated[bool, typer.Option("--primed", help="Primed to come up faster.")] = False,
    data_dir: DataDir = None,
) -> None:
    """Add a lot.

    Example: hilum lots add onion --box blue-tub --germination 92
    """
    from hilum.bootstrap import system_clock
    from hilum.config import load_settings
    from hilum.keeping.care.lotentry import enter_lot
    from hilum.science.kinds import find_kind

    settings = load_settings(data_dir)
    match, tested_on = find_kind(kind), _date(tested)
    with open_data(data_dir) as store:
        now = system_clock().now_ms()
        start = time_ms(since, settings.time_zone, "since") if since else now
        place = store.box(box).slug
        lot = Lot(
            code or "",
            match.kind.key,
            variety=variety,
            source=source,
            year=year,
            label_pct=germination,
            label_date=tested_on,
            seeds=seeds,
            treated=treated,
            pelleted=pelleted,
            primed=primed,
        )
        done = enter_lot(
            store, lot, box=place, wrap=wrap, from_ms=start, now_ms=now, took=match.took
        )
    print(f"Lot {done.lots[0].code} added: {match.took}, in {place}.")


def _date(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InvalidInputError(f"“{text}” is no date; write it like 2026-01-15.") from error


@lots.command("list")
def list_lots(
    archived: Annotated[bool, typer.Option("--archived", help="Archived lots too.")] = False,
    data_dir: DataDir = None,
) -> None:
    """List the lots.

    Example: hilum lots list
    """
    with open_data(data_dir) as store:
        places = {stay.lot: stay.box for stay in store.stays() if stay.to_ms is None}
        for lot in store.lots():
            if lot.archived and not archived:
                continue
            label = f"{lot.label_pct:g} %" if lot.label_pct is not None else "no label"
            where = places.get(lot.code, "in no box")
            print(f"{lot.code}\t{lot.kind}\t{lot.variety}\t{label}\t{where}")
