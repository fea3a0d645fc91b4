"""Desk questions about a kind of seed: what is known of it, may it be frozen, what a test says."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from hilum.cli.options import Json, print_json
from hilum.domain.errors import InvalidInputError

if TYPE_CHECKING:
    from hilum.science.kindmodel import Fact, Kind

SECOND_TESTS = (25, 50, 100, 200, 400)
"""Sizes of a second test that are looked at [seeds]; 400: the ISTA working sample."""

SETTLED_POINTS = 10.0
"""Width of a range that is called settled [points]; a choice of this program."""

BEHAVIOUR_WORDS = {
    "orthodox": "can be dried and frozen (orthodox seed)",
    "intermediate": "bears drying only in part (intermediate seed)",
    "recalcitrant": "dies when it dries (recalcitrant seed)",
    "storage-organ": "no seed but a storage organ",
    "unknown": "not known",
}

KindName = Annotated[str, typer.Option(help="What it is, for example onion.")]


def kinds(
    name: Annotated[
        str | None, typer.Argument(help="What it is; without it all are listed.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Show all that is known of a kind of seed, each figure with its source.

    Example: hilum kinds parsnip
    """
    from hilum.science.kinds import find_kind
    from hilum.science.kinds import kinds as every

    if name is None:
        _list(list(every().values()), as_json=as_json)
        return
    took = find_kind(name)
    facts, notes = _facts(took.kind), _cautions(took.kind)
    if as_json:
        print_json({"kind": took.kind.key, "facts": facts, "notes": notes})
        return
    print(took.took)
    for what, fact in facts.items():
        print(f"  {what}: {fact['value']}")
        print(f"    {fact['source']} ({fact['status']}){_tail(fact['note'])}")
    for note in notes:
        print(f"  {note}")


def _list(every: list["Kind"], *, as_json: bool) -> None:
    if as_json:
        print_json(
            {"kinds": [{"kind": k.key, "name": k.common, "botanical": k.botanical} for k in every]}
        )
        return
    for each in every:
        print(f"{each.common} ({each.botanical})")


def _facts(kind: "Kind") -> dict[str, dict[str, str]]:
    """Every fact of a kind in words, with source, status and note."""
    from hilum.science.errors import NoLifeModelError
    from hilum.science.kindmodel import Fact
    from hilum.science.surrogates import basis_for

    found = {
        "family": _told(kind.family_fact, kind.family),
        "drying and freezing": _told(kind.behaviour_fact, BEHAVIOUR_WORDS[kind.behaviour]),
        "how long it keeps": _told(kind.longevity_class, str(kind.longevity_class.value)),
        "oil": _told(kind.oil_pct, f"{kind.oil_pct.value:g} % of dry weight"),
        "isotherm": _told(kind.isotherm, kind.isotherm.value or "general"),
        "minimum germination": _told(kind.minimum_pct, f"{kind.minimum_pct.value:g} %"),
    }
    if kind.tsw_g is not None:
        found["1,000 seeds weigh"] = _told(kind.tsw_g, f"{kind.tsw_g.value:g} g")
    if kind.hermetic_mc_wet_pct is not None:
        most = kind.hermetic_mc_wet_pct
        found["most moisture to seal it"] = _told(most, f"{most.value:g} % of fresh weight")
    for place, method in enumerate(kind.methods, 1):
        found[f"test, way {place}"] = _told(method, _method_words(method.value))
    try:
        basis = basis_for(kind)
    except NoLifeModelError as error:
        why = Fact(str(error), kind.behaviour_fact.source, kind.behaviour_fact.status)
        return found | {"life": _told(why, why.value)}
    words = f"{basis.words}, ± a factor of {basis.factor:g}"
    made = Fact(words, basis.source, basis.status, " ".join(basis.notes))
    return found | {"life": _told(made, words)}


def _told(fact: "Fact[Any]", value: str) -> dict[str, str]:
    return {"value": value, "source": fact.source, "status": fact.status, "note": fact.note}


def _method_words(method: Any) -> str:  # noqa: ANN401 - a GerminationMethod, imported late
    days = [str(each) for each in (method.first_count_days, method.final_count_days) if each]
    counted = f", counted after {' and '.join(days)} days" if days else ""
    return f"{method.rule}: {method.substrate}, {method.temp_c} °C{counted}{_tail(method.advice)}"


def _cautions(kind: "Kind") -> list[str]:
    from hilum.science.drying import drying_caution
    from hilum.science.kinds import TREATED_SEED

    own = kind.caution.value if kind.caution is not None else None
    return [each for each in (kind.note, drying_caution(kind), own, TREATED_SEED.value) if each]


def _tail(words: str) -> str:
    return f"; {words}" if words else ""


def freeze(
    kind: KindName,
    temp: Annotated[float, typer.Option(help="Temperature the humidity was read at, °C.")] = 20.0,
    rh: Annotated[float | None, typer.Option(help="Humidity around the seed, %.")] = None,
    mc: Annotated[
        float | None, typer.Option(help="Moisture of the seed, % of fresh weight.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Say whether seed may be frozen, and sealed, and what to mind.

    Example: hilum freeze --kind lettuce --rh 28 --temp 20
    """
    from hilum.science.advice import moisture_answer
    from hilum.science.freezing import freezing_advice
    from hilum.science.kinds import find_kind
    from hilum.science.sealing import sealing_advice

    if (rh is None) == (mc is None):
        raise InvalidInputError("Give --rh or --mc, one of them.", "rh")
    took = find_kind(kind)
    moist = moisture_answer(took.kind, rh_pct=rh, mc_wet_pct=mc, temp_c=temp)
    frozen = freezing_advice(took.kind, moist.mc_wet_pct)
    sealed = sealing_advice(took.kind, moist.mc_wet_pct)
    if as_json:
        print_json(
            {
                "verdict": str(frozen.verdict),
                "words": frozen.words,
                "mc_wet_pct": moist.mc_wet_pct,
                "erh_pct": frozen.erh_pct,
                "limit_pct": frozen.limit_pct,
                "cautions": list(frozen.cautions),
                "source": frozen.source,
                "may_seal": sealed.may_seal,
                "sealing_words": sealed.words,
                "sealing_limit_pct": sealed.limit_pct,
                "sealing_source": sealed.source,
                "sealing_status": sealed.status,
            }
        )
        return
    print(took.took)
    print(frozen.words)
    print(f"  {sealed.words}")
    for caution in frozen.cautions:
        print(f"  {caution}")
    print(f"  Freezing: {frozen.source}. Sealing: {sealed.source} ({sealed.status}).")


def germination(
    sown: Annotated[int, typer.Option(help="Seeds in the test.")],
    up: Annotated[int, typer.Option(help="Seeds that came up.")],
    as_json: Json = False,
) -> None:
    """Say what a germination test tells, and what a second one would settle.

    Example: hilum germination --sown 20 --up 17
    """
    from hilum.science.germination import CANNOT_TELL
    from hilum.science.kinds import TREATED_SEED

    low, middle, high = _range_pct(up, sown)
    second = {size: _range_pct(up * (1.0 + size / sown), sown + size) for size in SECOND_TESTS}
    narrow = (size for size, (least, _, most) in second.items() if most - least <= SETTLED_POINTS)
    enough = next(narrow, None)
    notes = [CANNOT_TELL, TREATED_SEED.value]
    if as_json:
        print_json(
            {
                "germination_pct": {"median": middle, "low": low, "high": high},
                "second_test": [
                    {"seeds": size, "low": least, "high": most}
                    for size, (least, _, most) in second.items()
                ],
                "settled_by_seeds": enough,
                "notes": notes,
            }
        )
        return
    print(f"{up} of {sown} came up: about {middle:.0f} % ({low:.0f}–{high:.0f} %).")
    for size, (least, _, most) in second.items():
        print(f"  If {size} more do as well: {least:.0f}–{most:.0f} %.")
    settles = f"{enough} more seeds" if enough else f"more than {SECOND_TESTS[-1]} more seeds"
    print(f"  To know it to {SETTLED_POINTS:g} points from end to end takes {settles}.")
    for note in notes:
        print(f"  {note}")


def _range_pct(up: float, sown: float) -> tuple[float, float, float]:
    """Median and 90 % range of a count's germination, any germination as likely before."""
    from hilum.science.germination import Count, Evidence
    from hilum.science.posterior import posterior

    band = posterior(Evidence((Count(up, sown),), 1.0)).viability(0.0)
    return float(band.low_pct), float(band.median_pct), float(band.high_pct)
