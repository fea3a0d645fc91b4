"""Desk calculators about drying: grams of desiccant for a box, and saturated salts for sensors."""

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hilum.cli.options import Json, print_json
from hilum.domain.errors import InvalidInputError

if TYPE_CHECKING:
    from hilum.science.desiccant import OvenAdvice
    from hilum.science.drying import DesiccantAdvice, SeedPortion
    from hilum.science.salts import Calibration, SaltPoint

DAYS_PER_MONTH = 30.44
AIR_DRY_RH_PCT = 50.0
BOXES = {"tub": "tub", "jar": "jar", "drawer": "unsealed", "cardboard": "unsealed"}

Temperature = Annotated[float, typer.Option(help="Temperature, °C.")]


def desiccant(
    seed_grams: Annotated[float, typer.Option(help="Seed, grams.")] = 0.0,
    kind: Annotated[str | None, typer.Option(help="What it is, for example onion.")] = None,
    oil: Annotated[float | None, typer.Option(help="Oil of the seed, % of dry weight.")] = None,
    from_rh: Annotated[float, typer.Option(help="Humidity the seed lived in, %.")] = AIR_DRY_RH_PCT,
    target_rh: Annotated[float, typer.Option(help="Humidity to hold, %.")] = 25.0,
    temp: Temperature = 20.0,
    months: Annotated[float, typer.Option(help="How long it should last.")] = 0.0,
    ingress: Annotated[
        float | None, typer.Option(help="Water that comes in, grams a day (else by the box).")
    ] = None,
    volume: Annotated[float, typer.Option(help="Free air in the box, litres.")] = 10.0,
    box_type: Annotated[str, typer.Option(help=f"One of {', '.join(BOXES)}.")] = "tub",
    room_rh: Annotated[float, typer.Option(help="Humidity of the room, %.")] = AIR_DRY_RH_PCT,
    use: Annotated[str, typer.Option(help="Desiccant.")] = "silica-gel",
    indicator: Annotated[str | None, typer.Option(help="Its dye: cobalt or orange.")] = None,
    as_json: Json = False,
) -> None:
    """Grams of desiccant a box of seed needs, and how to dry it again.

    Example: hilum desiccant --seed-grams 500 --kind onion --from-rh 50 --target-rh 25 --months 6
    """
    from hilum.science.desiccant import oven_advice
    from hilum.science.drying import grams_needed

    _finite(seed_grams=seed_grams, months=months, volume=volume, ingress=ingress, oil=oil)
    if min(seed_grams, months, ingress or 0.0) < 0.0:
        raise InvalidInputError("Grams, months and ingress must not be below 0.")
    seeds, took, caution = _portion(seed_grams, kind, oil)
    water, words = _ingress(
        ingress, months * DAYS_PER_MONTH, box_type, volume, (temp, room_rh, target_rh)
    )
    answer = grams_needed(
        seeds,
        from_rh_pct=from_rh,
        target_rh_pct=target_rh,
        temp_c=temp,
        desiccant=use,
        ingress_g=water,
    )
    answer = replace(answer, cautions=(*caution, *answer.cautions))
    oven = oven_advice(use, indicator)
    if as_json:
        print_json(_desiccant_json(answer, water, oven))
        return
    if took:
        print(took)
    if answer.high_grams:
        print(
            f"About {_grams(answer.grams)} g of dry {answer.desiccant.name} "
            f"({_grams(answer.low_grams)}–{_grams(answer.high_grams)} g)."
        )
        print(f"  Water out of the seed: {answer.seed_water_g:.1f} g.")
    else:
        print(f"None is needed: there is no water to take up to hold {target_rh:g} %.")
    if months:
        print(f"  Water that comes in: {water[1]:.1f} g ({water[0]:.1f}–{water[2]:.1f} g){words}.")
    if answer.settles_rh_pct is not None and answer.grams:
        print(f"  At first the seed settles at about {answer.settles_rh_pct:.0f} % humidity.")
    for note in (*answer.cautions, _source(answer), f"Oven: {oven.words}", *oven.cautions):
        print(f"  {note}")


def _portion(
    grams: float, kind: str | None, oil: float | None
) -> tuple[list["SeedPortion"], str | None, tuple[str, ...]]:
    """The seed with its isotherm, what the name of its kind was taken for, and a caution."""
    from hilum.science.drying import SeedPortion, drying_caution
    from hilum.science.errors import OutOfRangeError
    from hilum.science.isotherms import GeneralIsotherm
    from hilum.science.kinds import Behaviour, find_kind, own_isotherm

    if kind is not None and oil is not None:
        raise InvalidInputError("Give --kind or --oil, not both.", "kind")
    if grams == 0.0:
        return [], None, ()
    if kind is not None:
        took = find_kind(kind)
        words = drying_caution(took.kind)
        if words and took.kind.behaviour is not Behaviour.UNKNOWN:
            raise InvalidInputError(f"{took.kind.common}: {words}", "kind")
        portion = SeedPortion(grams, own_isotherm(took.kind))
        return [portion], took.took, (words,) if words else ()
    if oil is None:
        raise InvalidInputError("Give --kind or --oil, one of them is needed.", "kind")
    if not 0.0 <= oil <= 70.0:
        raise OutOfRangeError("oil content", oil, 0.0, 70.0, "%")
    return [SeedPortion(grams, GeneralIsotherm(oil / 100.0))], None, ()


def _ingress(
    given: float | None,
    days: float,
    box_type: str,
    volume: float,
    air: tuple[float, float, float],
) -> tuple[tuple[float, float, float], str]:
    """Water over the wished time, low, middle, high; and what it rests on."""
    from hilum.science.ingress import enclosure, leak_g_per_day

    if given is not None:
        return (given * days, given * days, given * days), ""
    if box_type not in BOXES:
        raise InvalidInputError(f"--box-type must be one of {', '.join(BOXES)}.", "box-type")
    box = enclosure(BOXES[box_type])
    temp_c, room_rh_pct, inside_rh_pct = air
    low, middle, high = (
        days
        * max(
            leak_g_per_day(
                volume_l=volume,
                changes_per_day=changes,
                temp_c=temp_c,
                rh_out_pct=room_rh_pct,
                rh_in_pct=inside_rh_pct,
            ),
            0.0,
        )
        for changes in (box.low, box.middle, box.high)
    )
    words = f", by {box.low:g} to {box.high:g} air changes a day ({box.status}), walls left out"
    return (low, middle, high), words


def _desiccant_json(
    answer: "DesiccantAdvice", water: tuple[float, float, float], oven: "OvenAdvice"
) -> dict[str, Any]:
    return {
        "desiccant": answer.desiccant.key,
        "grams": answer.grams,
        "grams_low": answer.low_grams,
        "grams_high": answer.high_grams,
        "seed_water_g": answer.seed_water_g,
        "ingress_g": list(water),
        "settles_rh_pct": answer.settles_rh_pct,
        "cautions": list(answer.cautions),
        "source": answer.desiccant.source,
        "status": answer.desiccant.status,
        "oven": {
            "words": oven.words,
            "least_c": oven.least_c,
            "highest_c": oven.highest_c,
            "cautions": list(oven.cautions),
            "source": oven.source,
            "status": oven.status,
        },
    }


def _source(answer: "DesiccantAdvice") -> str:
    made = answer.desiccant
    return f"Isotherm: {made.source} ({made.status}); makes differ by ±{made.spread_pct:g} %."


def _grams(grams: float) -> str:
    """Grams no finer than they are known."""
    return f"{grams:.0f}" if grams < 100.0 else f"{round(grams, -1):.0f}"


def salts(
    salt: Annotated[
        list[str] | None,
        typer.Option(help="Salt, for example NaCl; twice for two, the drier first."),
    ] = None,
    temp: Temperature = 20.0,
    read: Annotated[float | None, typer.Option(help="What the sensor reads over it, %.")] = None,
    read_low: Annotated[float | None, typer.Option(help="Reading over the drier salt, %.")] = None,
    read_high: Annotated[
        float | None, typer.Option(help="Reading over the damper salt, %.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Humidity over saturated salts, and the correction of a sensor that stood over one or two.

    Example: hilum salts --salt LiCl --salt NaCl --temp 20 --read-low 13.1 --read-high 76.8
    """
    from hilum.science.salts import salt_point
    from hilum.science.salts import salts as all_salts

    _finite(read=read, read_low=read_low, read_high=read_high)
    points = [salt_point(name, temp) for name in salt or all_salts()]
    correction = _correction(points if salt else [], read, read_low, read_high)
    if as_json:
        print_json(_salts_json(points, correction))
        return
    for point in points:
        print(
            f"{point.salt.key:9} {point.rh_pct:5.1f} % (±{point.uncertainty_pct:.1f})  "
            f"{point.salt.name}"
        )
    if correction is None:
        print(f"  At {temp:g} °C. Source: {points[0].source} ({points[0].status})")
        for caution in (point.salt.caution for point in points if salt):
            if caution:
                print(f"  {caution}")
        return
    offset = f"{correction.offset_pct:+.2f}"
    print(f"True humidity = {correction.gain:.3f} × reading {offset}")
    for note in correction.notes:
        print(f"  {note}")


def _correction(
    points: list["SaltPoint"], read: float | None, low: float | None, high: float | None
) -> "Calibration | None":
    """Correction by one salt or by two, as far as readings are given."""
    from hilum.science.salts import one_point, two_point

    if (low is None) != (high is None):
        raise InvalidInputError("Give --read-low and --read-high together.", "read-low")
    if low is not None and high is not None:
        if read is not None or len(points) != 2:
            raise InvalidInputError(
                "--read-low and --read-high need two --salt, the drier first, and no --read.",
                "salt",
            )
        return two_point(points[0], low, points[1], high)
    if read is None:
        return None
    if len(points) != 1:
        raise InvalidInputError("--read needs one --salt.", "salt")
    return one_point(points[0], read)


def _salts_json(points: list["SaltPoint"], correction: "Calibration | None") -> dict[str, Any]:
    found: dict[str, Any] = {
        "salts": [
            {
                "salt": point.salt.key,
                "name": point.salt.name,
                "temp_c": point.temp_c,
                "rh_pct": point.rh_pct,
                "uncertainty_pct": point.uncertainty_pct,
                "caution": point.salt.caution,
                "source": point.source,
                "status": point.status,
            }
            for point in points
        ]
    }
    if correction is not None:
        found["correction"] = {
            "gain": correction.gain,
            "offset_pct": correction.offset_pct,
            "notes": list(correction.notes),
        }
    return found


def _finite(**given: float | None) -> None:
    for name, value in given.items():
        if value is not None and not math.isfinite(value):
            raise InvalidInputError(f"--{name.replace('_', '-')} must be a number.", name)
