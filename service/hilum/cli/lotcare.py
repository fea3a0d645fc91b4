"""Care of lots from the command line: move, use, split, test, archive, take back."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hilum.cli.keep import open_data
from hilum.cli.lots import lots
from hilum.cli.options import DataDir, time_ms
from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import Wrap

if TYPE_CHECKING:
    from hilum.domain.ports import Store
    from hilum.keeping.care.lotcare import Done

__all__ = ["lots"]

Code = Annotated[str, typer.Argument(help="Code of the lot.")]
On = Annotated[str | None, typer.Option("--on", help="When, such as 2026-03-01; by default now.")]
Seeds = Annotated[float | None, typer.Option("--seeds", help="How many seeds.")]
Grams = Annotated[float | None, typer.Option("--grams", help="How many grams.")]
NewWrap = Annotated[Wrap | None, typer.Option("--wrap", help="How it is packed from then on.")]


@dataclass(frozen=True)
class _At:
    """The database, and the times a command speaks of."""

    store: "Store"
    now_ms: int
    at_ms: int


@contextmanager
def _opened(data_dir: Path | None, on: str | None = None) -> Iterator[_At]:
    from hilum.bootstrap import system_clock
    from hilum.config import load_settings

    now_ms = system_clock().now_ms()
    at_ms = now_ms if on is None else time_ms(on, load_settings(data_dir).time_zone, "on")
    with open_data(data_dir) as store:
        yield _At(store, now_ms, at_ms)


def _say(done: "Done") -> None:
    print(done.words)
    if done.hint:
        print(done.hint)


def _box(store: "Store", name: str) -> str:
    """Give the short form of a box that was named either way."""
    known = {box.name.casefold(): box.slug for box in store.boxes()}
    return known.get(name.casefold(), name)


@lots.command("move")
def move(
    codes: Annotated[list[str], typer.Argument(help="Codes of the lots.")],
    to: Annotated[str, typer.Option("--to", help="Box they go into.")],
    on: On = None,
    wrap: NewWrap = None,
    data_dir: DataDir = None,
) -> None:
    """Move lots into another box, all or none.

    Example: hilum lots move L-0001 L-0002 --to fridge-jar --on 2026-03-01
    """
    from hilum.keeping.care.lotcare import move_lots

    with _opened(data_dir, on) as at:
        box = _box(at.store, to)
        _say(move_lots(at.store, codes, box, at_ms=at.at_ms, now_ms=at.now_ms, wrap=wrap))


@lots.command("out")
def out(
    codes: Annotated[list[str], typer.Argument(help="Codes of the lots.")],
    on: On = None,
    data_dir: DataDir = None,
) -> None:
    """Take lots out of their boxes; from then on nothing is measured for them.

    Example: hilum lots out L-0001
    """
    from hilum.keeping.care.lotcare import take_out

    with _opened(data_dir, on) as at:
        _say(take_out(at.store, codes, at_ms=at.at_ms, now_ms=at.now_ms))


@lots.command("use")
def use(
    code: Code, seeds: Seeds = None, grams: Grams = None, on: On = None, data_dir: DataDir = None
) -> None:
    """Write down seed that was used.

    Example: hilum lots use L-0001 --seeds 40
    """
    from hilum.keeping.care.lotcare import use_seed

    with _opened(data_dir, on) as at:
        _say(use_seed(at.store, code, seeds=seeds, grams=grams, at_ms=at.at_ms, now_ms=at.now_ms))


@lots.command("split")
def split(
    code: Code,
    seeds: Seeds = None,
    grams: Grams = None,
    new_code: Annotated[str | None, typer.Option("--code", help="Code of the new lot.")] = None,
    to: Annotated[str | None, typer.Option("--to", help="Box the new lot goes into.")] = None,
    wrap: NewWrap = None,
    on: On = None,
    data_dir: DataDir = None,
) -> None:
    """Make two lots of one; the new one has the same past.

    Example: hilum lots split L-0001 --seeds 100 --to freezer --wrap foil
    """
    from hilum.keeping.care.lotcare import split_lot

    with _opened(data_dir, on) as at:
        done = split_lot(
            at.store,
            code,
            seeds=seeds,
            grams=grams,
            new_code=new_code,
            box=None if to is None else _box(at.store, to),
            wrap=wrap,
            at_ms=at.at_ms,
            now_ms=at.now_ms,
        )
    _say(done)


@lots.command("test")
def germination_test(
    code: Code,
    sown: Annotated[int, typer.Option("--sown", help="Seeds sown in all.")],
    germinated: Annotated[
        int | None, typer.Option("--germinated", help="How many came up in all.")
    ] = None,
    on: Annotated[
        str | None, typer.Option("--on", help="Day of counting; by default today.")
    ] = None,
    method: Annotated[str, typer.Option(help="How it was done.")] = "",
    replicates: Annotated[
        str, typer.Option(help="How many came up in each equal part, such as 23,24,22,25.")
    ] = "",
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    data_dir: DataDir = None,
) -> None:
    """Note a germination test.

    Example: hilum lots test L-0001 --sown 50 --germinated 44 --on 2026-02-14
    """
    from hilum.keeping.care.lotcare import note_test

    counts = _counts(replicates)
    with _opened(data_dir) as at:
        day = _today(data_dir, at.now_ms) if on is None else _day(on)
        done = note_test(
            at.store,
            code,
            on=day,
            sown=sown,
            germinated=germinated,
            method=method,
            replicates=counts,
            note=note,
            now_ms=at.now_ms,
        )
    _say(done)


def _counts(text: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in text.replace(",", " ").split())
    except ValueError as error:
        raise InvalidInputError(
            f"“{text}” are no counts; write them like 23,24,22,25.", "replicates"
        ) from error


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InvalidInputError(f"“{text}” is no date; write it like 2026-01-15.", "on") from error


def _today(data_dir: Path | None, now_ms: int) -> date:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from hilum.config import load_settings

    return datetime.fromtimestamp(now_ms / 1000, ZoneInfo(load_settings(data_dir).time_zone)).date()


@lots.command("archive")
def archive(code: Code, on: On = None, data_dir: DataDir = None) -> None:
    """Take a lot off the lists; its history is kept.

    Example: hilum lots archive L-0001
    """
    from hilum.keeping.care.lotcare import archive_lot

    with _opened(data_dir, on) as at:
        _say(archive_lot(at.store, code, at_ms=at.at_ms, now_ms=at.now_ms))


@lots.command("correct")
def correct(
    code: Code,
    kind: Annotated[str | None, typer.Option(help="Kind of seed.")] = None,
    variety: Annotated[str | None, typer.Option(help="Variety.")] = None,
    source: Annotated[str | None, typer.Option(help="Where it came from.")] = None,
    year: Annotated[int | None, typer.Option(help="Year of harvest or packing.")] = None,
    germination: Annotated[float | None, typer.Option(help="On the packet, %.")] = None,
    tested: Annotated[str | None, typer.Option(help="Day of that test.")] = None,
    minimum: Annotated[float | None, typer.Option(help="Germination you need at least, %.")] = None,
    seeds: Seeds = None,
    grams: Grams = None,
    note: Annotated[str | None, typer.Option(help="Note; takes the place of the old one.")] = None,
    treated: Annotated[
        bool | None, typer.Option("--treated/--not-treated", help="Treated with a pesticide.")
    ] = None,
    pelleted: Annotated[
        bool | None, typer.Option("--pelleted/--not-pelleted", help="In pellets.")
    ] = None,
    primed: Annotated[
        bool | None, typer.Option("--primed/--not-primed", help="Primed to come up faster.")
    ] = None,
    data_dir: DataDir = None,
) -> None:
    """Correct what is written about a lot; what is not named stays.

    Example: hilum lots correct L-0001 --variety "Boatshed Red" --year 2024
    """
    from hilum.keeping.care.lotcare import correct_lot
    from hilum.science.kinds import find_kind

    given: dict[str, object] = {
        "kind": None if kind is None else find_kind(kind).kind.key,
        "variety": variety,
        "source": source,
        "year": year,
        "label_pct": germination,
        "label_date": None if tested is None else _day(tested),
        "minimum_pct": minimum,
        "seeds": seeds,
        "grams": grams,
        "note": note,
        "treated": treated,
        "pelleted": pelleted,
        "primed": primed,
    }
    values = {name: value for name, value in given.items() if value is not None}
    if not values:
        raise InvalidInputError("Say what to correct, such as --year 2024.", "values")
    with _opened(data_dir) as at:
        _say(correct_lot(at.store, code, values, now_ms=at.now_ms))


@lots.command("undo")
def undo(code: Code, data_dir: DataDir = None) -> None:
    """Take the last thing back that was done to a lot: entry, move, use, split, test, and so on.

    Example: hilum lots undo L-0001
    """
    from hilum.keeping.care.undo import can_undo
    from hilum.keeping.care.undo import undo as take_back

    with _opened(data_dir) as at:
        events = sorted(at.store.events(lot=code), key=lambda event: -event.id)
        last = next((event for event in events if can_undo(event)), None)
        if last is None:
            raise NotFoundError(f"There is nothing to take back for lot {code}.")
        _say(take_back(at.store, code, last.id))
