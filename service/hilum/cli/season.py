"""Before sowing and after a season: what to sow and order, what to use first, other storage."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from hilum.cli.options import DataDir, Json, print_json, time_ms, write_file
from hilum.domain.errors import InvalidInputError, NotFoundError

if TYPE_CHECKING:
    from hilum.domain.model import PlanLine, SeasonPlan
    from hilum.domain.ports import Store
    from hilum.keeping.lots.ahead import Storage
    from hilum.keeping.seasons.season import Season

StoreAs = Annotated[
    str,
    typer.Option("--store-as", help="Kept as: recent, as-is, shelf, fridge, freezer, gel."),
]
Temp = Annotated[float | None, typer.Option("--temp", help="Or kept at this temperature, °C …")]
Humidity = Annotated[float | None, typer.Option("--rh", help="… and this humidity, %.")]


@dataclass(frozen=True)
class _At:
    """The database, now, and the local time zone."""

    store: "Store"
    now_ms: int
    zone: str


@contextmanager
def _opened(data_dir: Path | None) -> Iterator[_At]:
    from hilum.bootstrap import open_store, system_clock
    from hilum.config import load_settings

    settings = load_settings(data_dir)
    with open_store(settings) as store:
        yield _At(store, system_clock().now_ms(), settings.time_zone)


def season(
    sow_on: Annotated[str, typer.Option("--sow", "--sow-on", help="Date, such as 2027-03-01.")],
    plan: Annotated[
        Path | None, typer.Argument(help="Table with the columns kind, variety, plants, …")
    ] = None,
    plan_file: Annotated[
        Path | None, typer.Option("--plan", help="The same; without one: each variety you have.")
    ] = None,
    store_as: StoreAs = "recent",
    temp: Temp = None,
    rh: Humidity = None,
    to: Annotated[
        Path | None, typer.Option("--to", help="Write what to order into this file, .xlsx or .csv.")
    ] = None,
    save: Annotated[
        str | None, typer.Option("--save", help="Keep the plan under this name.")
    ] = None,
    as_json: Json = False,
    data_dir: DataDir = None,
) -> None:
    """Say for each thing wanted what to sow, test and order.

    Without a plan every variety you have is gone through, for 50 plants each.

    Example: hilum season --sow 2027-03-01 --plan plan.csv --to order.xlsx
    """
    from hilum.domain.model import SeasonPlan
    from hilum.keeping.seasons.season import plan_season
    from hilum.keeping.seasons.seasonlots import lines_of_lots
    from hilum.sheets.order import FORMATS, order_file

    suffix = "" if to is None else to.suffix.lower()
    if to is not None and suffix not in FORMATS:
        raise InvalidInputError(f"An order is written as .csv or .xlsx, not as “{suffix}”.", "to")
    file = _one_file(plan, plan_file, save)
    wanted = SeasonPlan(
        0, save or (file.stem if file else "season"), _day(sow_on), store_as, temp, rh
    )
    with _opened(data_dir) as at:
        lines = lines_of_lots(at.store.lots()) if file is None else _read(file)
        found = plan_season(at.store, wanted, lines, at.now_ms)
        if save is not None:
            at.store.save_plan(_kept(at.store, wanted), lines)
    if to is not None:
        write_file(to, order_file(found, suffix))
    if as_json:
        from hilum.cli.seasonjson import season_json

        print_json(season_json(found))
    else:
        _print_season(found)
        if to is not None:
            print(f"\nOrder written to {to}.")


def _one_file(given: Path | None, named: Path | None, save: str | None) -> Path | None:
    """Give the file of the plan, however it was named."""
    if given is not None and named is not None:
        raise InvalidInputError("Name the file of the plan once.", "plan")
    if save is not None and given is None and named is None:
        raise InvalidInputError("There is no plan to keep: name its file with --plan.", "plan")
    return given or named


def _kept(store: "Store", wanted: "SeasonPlan") -> "SeasonPlan":
    """Give the plan the number of the one of the same name, if there is one."""
    from dataclasses import replace

    same = [each.id for each in store.season_plans() if each.name == wanted.name]
    return replace(wanted, id=same[0]) if same else wanted


def _read(path: Path) -> "list[PlanLine]":
    from hilum.keeping.seasons.planfile import read_plan

    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise NotFoundError(f"There is no file {path}.") from error
    except (OSError, UnicodeDecodeError) as error:
        raise InvalidInputError(f"The file {path} cannot be read as a table.", "plan") from error
    return read_plan(text)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InvalidInputError(
            f"“{text}” is no date; write it like 2027-03-01.", "sow_on"
        ) from error


def _print_season(found: "Season") -> None:
    for said in found.assumptions:
        print(said)
    for each in found.lines:
        name = f"{each.kind.common} {each.line.variety or '(any)'}"
        print(f"\n{name}, {each.line.plants:,} plants: {each.words}")
        for lot in each.lots:
            print(f"  {lot.lot.code} {lot.lot.variety} ({lot.hand.words}): {lot.words}")
        for note in filter(None, (each.duplicate, *each.notes)):
            print(f"  {note}")
    if found.tests:
        print("\nTests worth making this week:")
        for test in found.tests:
            print(f"  {test.words}")
    if found.order:
        print("\nTo order:")
        for each in found.order:
            packets = "no number of packets would do" if each.packets < 0 else f"{each.packets} x"
            size = f"{each.packet_seeds:,} seeds"
            what = f"{each.kind.common} {each.line.variety}".rstrip()
            print(f"  {packets} {what} ({size})")


def use_first(
    most: Annotated[int, typer.Option("--most", min=1, help="Show so many lots.")] = 40,
    as_json: Json = False,
    data_dir: DataDir = None,
) -> None:
    """List the lots in the order in which to use them.

    Example: hilum use-first
    """
    from hilum.keeping.lots.usefirst import use_first as in_order

    with _opened(data_dir) as at:
        found = in_order(at.store, at.now_ms)
    if as_json:
        from hilum.cli.seasonjson import use_first_json

        print_json(use_first_json(found))
        return
    if not found:
        print("There are no lots yet.")
    for each in found[:most]:
        lot = each.lot
        print(f"{lot.code}\t{lot.kind} {lot.variety}".rstrip() + f"\t{each.group}\t{each.words}")
    if len(found) > most:
        print(f"… and {len(found) - most:,} more; see --most.")


def compare(
    lot: Annotated[str | None, typer.Option("--lot", help="Code of a lot.")] = None,
    box: Annotated[str | None, typer.Option("--box", help="Short name of a box.")] = None,
    temp: Temp = None,
    rh: Humidity = None,
    as_json: Json = False,
    data_dir: DataDir = None,
) -> None:
    """Say how long seed would last on a shelf, in a fridge, in a freezer, with fresh gel.

    Example: hilum compare --lot L-0001
    """
    from hilum.cli import seasonjson
    from hilum.cli.seasonwords import print_box_comparison, print_lot_comparison
    from hilum.keeping.lots.compare import compare_box, compare_lot

    if (lot is None) == (box is None):
        raise InvalidInputError("Give a lot or a box: --lot CODE or --box NAME.", "lot")
    own = _own_way(temp, rh)
    with _opened(data_dir) as at:
        if lot is not None:
            one = compare_lot(at.store, lot, at.now_ms, own)
            if as_json:
                print_json(seasonjson.lot_comparison_json(one))
            else:
                print_lot_comparison(one)
            return
        many = compare_box(at.store, box or "", at.now_ms, own)
    if as_json:
        print_json(seasonjson.box_comparison_json(many))
    else:
        print_box_comparison(many)


def _own_way(temp: float | None, rh: float | None) -> "Storage | None":
    from hilum.keeping.lots.ahead import storage_named

    return None if temp is None and rh is None else storage_named("given", temp, rh)


def review(
    box: Annotated[str, typer.Option("--box", help="Short name of the box.")],
    start: Annotated[str, typer.Option("--from", help="First day, such as 2026-03-01.")],
    end: Annotated[str | None, typer.Option("--to", help="Day after the last; else now.")] = None,
    against_year: Annotated[
        bool, typer.Option("--against-year", help="Beside the same days a year before.")
    ] = False,
    as_json: Json = False,
    data_dir: DataDir = None,
) -> None:
    """Review how a box kept its seed over a season.

    Example: hilum review --box blue-tub --from 2026-03-01 --to 2026-09-01
    """
    from hilum.cli import seasonjson
    from hilum.cli.seasonwords import print_review
    from hilum.keeping.seasons.review import beside, review_box

    with _opened(data_dir) as at:
        span = (
            time_ms(start, at.zone, "from"),
            min(time_ms(end, at.zone, "to"), at.now_ms) if end else at.now_ms,
        )
        found = review_box(at.store, box, *span)
        before = None
        if against_year:
            before = review_box(at.store, box, *(_year_before(each) for each in span))
    changes = beside(found, before) if before is not None else ()
    if as_json:
        print_json(seasonjson.review_json(found, before, changes))
    else:
        print_review(found, changes, ZoneInfo(at.zone))


def _year_before(at_ms: int) -> int:
    """Give the same day and time a year before; 29 February becomes the 28th."""
    when = datetime.fromtimestamp(at_ms / 1000, UTC)
    leap_day = (when.month, when.day) == (2, 29)
    earlier = when.replace(year=when.year - 1, day=28 if leap_day else when.day)
    return round(earlier.timestamp() * 1000)
