"""Care of boxes from the command line: fresh desiccant, archiving, taking back."""

from typing import Annotated

import typer

from hilum.cli.keep import boxes, open_data
from hilum.cli.options import DataDir, time_ms
from hilum.domain.errors import NotFoundError

__all__ = ["boxes"]


@boxes.command("swap")
def swap(
    box: Annotated[str, typer.Argument(help="The box, as in hilum boxes list.")],
    grams: Annotated[float, typer.Option(help="How much desiccant, dry, g.")],
    desiccant: Annotated[str, typer.Option(help="Which.")] = "silica-gel",
    load: Annotated[
        float | None,
        typer.Option(help="Water it held already, g per 100 g; by default fresh from the oven."),
    ] = None,
    dried: Annotated[
        str | None, typer.Option(help="When it was dried, such as 2026-02-14.")
    ] = None,
    on: Annotated[str | None, typer.Option("--on", help="When it went in; by default now.")] = None,
    note: Annotated[str, typer.Option(help="In your words.")] = "",
    data_dir: DataDir = None,
) -> None:
    """Note fresh desiccant in a box; when it is due again is reckoned from here.

    Example: hilum boxes swap blue-tub --grams 200 --load 4 --dried 2026-02-14
    """
    from hilum.bootstrap import system_clock
    from hilum.config import load_settings
    from hilum.keeping.care.boxcare import note_swap

    zone, now_ms = load_settings(data_dir).time_zone, system_clock().now_ms()
    at_ms = now_ms if on is None else time_ms(on, zone, "on")
    with open_data(data_dir) as store:
        event = note_swap(
            store, store.box(box).slug, desiccant, grams, note, load_pct=load,
            dried_ms=None if dried is None else time_ms(dried, zone, "dried"),
            at_ms=at_ms, now_ms=now_ms,
        )  # fmt: skip
    print(f"Noted: {event.text}")


@boxes.command("archive")
def archive(
    box: Annotated[str, typer.Argument(help="The box, as in hilum boxes list.")],
    on: Annotated[str | None, typer.Option("--on", help="When; by default now.")] = None,
    data_dir: DataDir = None,
) -> None:
    """Take an empty box off the lists; its history is kept.

    Example: hilum boxes archive blue-tub
    """
    from hilum.bootstrap import system_clock
    from hilum.config import load_settings
    from hilum.keeping.care.boxarchive import archive_box

    now_ms = system_clock().now_ms()
    at_ms = now_ms if on is None else time_ms(on, load_settings(data_dir).time_zone, "on")
    with open_data(data_dir) as store:
        done = archive_box(store, box, at_ms=at_ms, now_ms=now_ms)
    print(f"{done.box.name} is archived.")


@boxes.command("undo")
def undo(
    box: Annotated[str, typer.Argument(help="The box, as in hilum boxes list.")],
    data_dir: DataDir = None,
) -> None:
    """Take the last thing back that was done to a box: adding, correction, sensor, archiving.

    Example: hilum boxes undo blue-tub
    """
    from hilum.keeping.care.boxundo import undo_box
    from hilum.keeping.care.undo import can_undo

    with open_data(data_dir) as store:
        lines = [line for line in store.events(box=box) if line.lot is None and can_undo(line)]
        if not lines:
            raise NotFoundError(f"There is nothing to take back for box {box}.")
        last = max(lines, key=lambda line: line.id)
        undo_box(store, box, last.id)
    print(f"Taken back: {last.text}")
