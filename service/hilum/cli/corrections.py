"""Corrections of sensors from the command line."""

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from hilum.cli.keep import full_name, open_data, sensors
from hilum.cli.options import DataDir, Json, print_json, time_ms
from hilum.domain.errors import InvalidInputError

if TYPE_CHECKING:
    from hilum.domain.corrections import Correction
    from hilum.keeping.care.calibration import CorrectionDone
    from hilum.science.salts import Calibration, SaltPoint

__all__ = ["sensors"]


@sensors.command("correct")
def correct(
    sensor: Annotated[str, typer.Argument(help="Name of the sensor, as in hilum sensors list.")],
    since: Annotated[str, typer.Option(help="From when on, such as 2026-03-01.")],
    temp_offset: Annotated[
        float | None, typer.Option(help="What to add to its temperature, °C.")
    ] = None,
    rh_offset: Annotated[float | None, typer.Option(help="What to add to its humidity, %.")] = None,
    salt: Annotated[str | None, typer.Option(help="The one salt it stood over.")] = None,
    read: Annotated[float | None, typer.Option(help="What it read over that salt, %.")] = None,
    salt_low: Annotated[str | None, typer.Option(help="The drier of two salts.")] = None,
    read_low: Annotated[float | None, typer.Option(help="What it read over the drier, %.")] = None,
    salt_high: Annotated[str | None, typer.Option(help="The damper of two salts.")] = None,
    read_high: Annotated[
        float | None, typer.Option(help="What it read over the damper, %.")
    ] = None,
    temp: Annotated[float | None, typer.Option(help="How warm the salts were, °C.")] = None,
    note: Annotated[str, typer.Option(help="How you know, for the record.")] = "",
    data_dir: DataDir = None,
) -> None:
    """Correct a sensor from a date on: by an offset, or by what it read over one or two salts.

    Example: hilum sensors correct tub-1 --since 2026-03-01 --salt NaCl --read 78.1 --temp 20
    """
    from hilum.bootstrap import system_clock
    from hilum.config import load_settings
    from hilum.keeping.care.calibration import correct_sensor, over_salts

    settings = load_settings(data_dir)
    points = _points(
        [
            ("salt", salt, read),
            ("salt-low", salt_low, read_low),
            ("salt-high", salt_high, read_high),
        ],
        temp,
    )
    humidity = _humidity(points, rh_offset)
    stood = over_salts(points, temp) if temp is not None else ""
    how = "; ".join(filter(None, (stood, note)))
    with open_data(data_dir) as store:
        done = correct_sensor(
            store,
            full_name(sensor, settings.site),
            time_ms(since, settings.time_zone, "since"),
            temp_offset_c=temp_offset,
            humidity=humidity,
            how=how,
            now_ms=system_clock().now_ms(),
            local=_local(settings.time_zone),
        )
    _say(done, *(humidity.notes if humidity else ()), *_sources(points))


@sensors.command("corrections")
def list_corrections(as_json: Json = False, data_dir: DataDir = None) -> None:
    """List the corrections of all sensors.

    Example: hilum sensors corrections
    """
    from hilum.config import load_settings
    from hilum.keeping.care.calibration import words

    local = _local(load_settings(data_dir).time_zone)
    with open_data(data_dir) as store:
        found = store.corrections()
    if as_json:
        print_json({"corrections": [_json(each) for each in found]})
        return
    if not found:
        print("No sensor is corrected.")
    for each in found:
        print(f"{each.id}\t{each.sensor}\tsince {local(each.from_ms)}\t{words(each)}\t{each.how}")


@sensors.command("uncorrect")
def uncorrect(
    number: Annotated[int, typer.Argument(help="Its number in hilum sensors corrections.")],
    data_dir: DataDir = None,
) -> None:
    """Take a correction back; readings were kept as they came, so nothing is lost.

    Example: hilum sensors uncorrect 3
    """
    from hilum.bootstrap import system_clock
    from hilum.config import load_settings
    from hilum.keeping.care.calibration import uncorrect_sensor

    local = _local(load_settings(data_dir).time_zone)
    with open_data(data_dir) as store:
        done = uncorrect_sensor(store, number, now_ms=system_clock().now_ms(), local=local)
    _say(done)


def _points(
    given: list[tuple[str, str | None, float | None]], temp: float | None
) -> "list[tuple[SaltPoint, float]]":
    """Fixed points of the salts that were named, the driest first, each with what was read."""
    from hilum.science.salts import salt_point

    points = []
    for option, salt, read in given:
        if (salt is None) != (read is None):
            other = option.replace("salt", "read")
            raise InvalidInputError(f"Give --{option} and --{other} together.", option)
        if salt is not None and read is not None:
            if temp is None:
                raise InvalidInputError("Give --temp: how warm the salts were, in °C.", "temp")
            points.append((salt_point(salt, temp), read, option))
    if temp is not None and not points:
        raise InvalidInputError(
            "--temp belongs to salts; to correct temperature give --temp-offset.", "temp"
        )
    if [option for _, _, option in points] not in ([], ["salt"], ["salt-low", "salt-high"]):
        raise InvalidInputError(
            "Give one salt with --salt, or two with --salt-low and --salt-high.", "salt"
        )
    return sorted(((point, read) for point, read, _ in points), key=lambda each: each[0].rh_pct)


def _humidity(
    points: "list[tuple[SaltPoint, float]]", rh_offset: float | None
) -> "Calibration | None":
    from hilum.science.salts import Calibration, one_point, two_point

    if rh_offset is not None:
        if points:
            raise InvalidInputError("Give --rh-offset or salts, not both.", "rh-offset")
        return Calibration(1.0, rh_offset)
    if not points:
        return None
    return one_point(*points[0]) if len(points) == 1 else two_point(*points[0], *points[1])


def _sources(points: "list[tuple[SaltPoint, float]]") -> list[str]:
    return [f"Humidity over salts: {point.source} ({point.status})." for point, _ in points[:1]]


def _json(correction: "Correction") -> dict[str, float | str]:
    return {
        "id": correction.id,
        "sensor": correction.sensor,
        "from_ms": correction.from_ms,
        "temp_offset_c": correction.temp_offset_c,
        "rh_gain": correction.rh_gain,
        "rh_offset_pct": correction.rh_offset_pct,
        "how": correction.how,
    }


def _local(zone: str) -> Callable[[int], str]:
    known = ZoneInfo(zone)
    return lambda time_ms: f"{datetime.fromtimestamp(time_ms / 1000, known):%Y-%m-%d %H:%M}"


def _say(done: "CorrectionDone", *cautions: str) -> None:
    from hilum.keeping.care.calibration import COMPUTED_AGAIN

    print(done.event.text)
    for note in (*done.notes, *cautions, COMPUTED_AGAIN):
        print(f"  {note}")
