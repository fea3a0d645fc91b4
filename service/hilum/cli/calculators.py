"""Desk calculators: seed moisture, and what becomes of a lot in constant conditions."""

import math
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hilum.cli.options import Json, print_json
from hilum.domain.errors import InvalidInputError

if TYPE_CHECKING:
    from hilum.science.advice import MoistureAnswer
    from hilum.science.ranges import PredictedRange

DAYS_PER_YEAR = 365.25

Kind = Annotated[str | None, typer.Option(help="What it is, for example onion.")]
Humidity = Annotated[float | None, typer.Option(help="Humidity of the air around it, %.")]
Moisture = Annotated[float | None, typer.Option(help="Moisture of the seed, % of fresh weight.")]
Temperature = Annotated[float, typer.Option(help="Temperature, °C.")]


def moisture(
    temp: Temperature,
    kind: Kind = None,
    oil: Annotated[float | None, typer.Option(help="Oil of the seed, % of dry weight.")] = None,
    rh: Humidity = None,
    mc: Moisture = None,
    as_json: Json = False,
) -> None:
    """Moisture inside seed from humidity, or back.

    Example: hilum moisture --kind onion --rh 30 --temp 20
    """
    from hilum.science.advice import moisture_answer
    from hilum.science.kinds import find_kind

    _one_of({"kind": kind, "oil": oil})
    _one_of({"rh": rh, "mc": mc})
    took = find_kind(kind) if kind else None
    answer = moisture_answer(
        took.kind if took else None, oil_pct=oil, rh_pct=rh, mc_wet_pct=mc, temp_c=temp
    )
    if as_json:
        print_json(_moisture_json(answer))
        return
    if took:
        print(took.took)
    print(
        f"At {answer.erh_pct:.0f} % humidity and {temp:g} °C: about {answer.mc_wet_pct:.1f} % "
        f"moisture (fresh weight), ±{answer.uncertainty_pct:g}."
    )
    _print_notes([answer.isotherm, f"Source: {answer.source} ({answer.status})", *answer.notes])


def _moisture_json(answer: "MoistureAnswer") -> dict[str, Any]:
    return {
        "mc_wet_pct": answer.mc_wet_pct,
        "mc_dry_pct": answer.mc_dry_pct,
        "erh_pct": answer.erh_pct,
        "uncertainty_pct": answer.uncertainty_pct,
        "isotherm": answer.isotherm,
        "source": answer.source,
        "status": answer.status,
        "notes": list(answer.notes),
    }


def loss(
    kind: Annotated[str, typer.Option(help="What it is, for example onion.")],
    temp: Temperature,
    start: Annotated[float, typer.Option("--from", help="Germination at the start, %.")],
    rh: Humidity = None,
    mc: Moisture = None,
    days: Annotated[float | None, typer.Option(help="Time in store, days.")] = None,
    years: Annotated[float | None, typer.Option(help="Time in store, years.")] = None,
    as_json: Json = False,
) -> None:
    """Germination left after a time in store.

    Example: hilum loss --kind onion --rh 30 --temp 20 --years 3 --from 92
    """
    from hilum.science.kinds import find_kind
    from hilum.science.ranges import predict_range

    _one_of({"rh": rh, "mc": mc})
    _one_of({"days": days, "years": years})
    time_days = days if days is not None else (years or 0.0) * DAYS_PER_YEAR
    took = find_kind(kind)
    after = predict_range(
        took.kind, start_pct=start, days=time_days, temp_c=temp, rh_pct=rh, mc_wet_pct=mc
    )
    if as_json:
        print_json(_loss_json(after, time_days, start))
        return
    print(took.took)
    print(
        f"After {time_days:,.0f} days: about {after.median_pct:.0f} % "
        f"({after.low_pct:.0f}–{after.high_pct:.0f} %)."
    )
    basis = after.basis
    _print_notes([f"{basis.words}. Source: {basis.source} ({basis.status})", *_notes(after)])


def _loss_json(after: "PredictedRange", days: float, start_pct: float) -> dict[str, Any]:
    from hilum.science.normal import ned

    inside = 0.0 < start_pct < 100.0
    p50 = max(ned(start_pct / 100.0), 0.0) * after.sigma_days if inside else None
    return {
        "sigma_days": after.sigma_days,
        "loss_probits": days / after.sigma_days,
        "viability_pct": after.median_pct,
        "viability_low_pct": after.low_pct,
        "viability_high_pct": after.high_pct,
        "p50_days": p50,
        "basis": f"{after.basis.level}: {after.basis.words}",
        "factor": after.factor,
        "source": after.basis.source,
        "status": after.basis.status,
        "notes": _notes(after),
    }


def _notes(after: "PredictedRange") -> list[str]:
    notes = list(after.basis.notes)
    if after.wet:
        notes.append("Too wet: the equation does not hold for seed this damp. Dry it now.")
    if after.very_dry:
        notes.append("Very dry: counted as at 15 % humidity; no further gain is claimed.")
    return notes


def _print_notes(notes: list[str]) -> None:
    for note in notes:
        print(f"  {note}")


def _one_of(given: dict[str, object]) -> None:
    names = " or ".join(f"--{name}" for name in given)
    count = sum(value is not None for value in given.values())
    if count != 1:
        both = "not both" if count else "one of them is needed"
        raise InvalidInputError(f"Give {names}, {both}.", next(iter(given)))
    for name, value in given.items():
        if isinstance(value, float) and not math.isfinite(value):
            raise InvalidInputError(f"--{name} must be a number.", name)
