"""How much desiccant a box of seed needs, and where desiccant and seed settle together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

from hilum.science._quantities import checked
from hilum.science.desiccant import (
    DEFAULT,
    FRESH_LOAD_PCT,
    Desiccant,
    find_desiccant,
    gel_load_pct,
)
from hilum.science.errors import OutOfRangeError
from hilum.science.isotherms import Isotherm
from hilum.science.kindmodel import Behaviour, Kind

FLOOR_RH_PCT = 10.0  # genebank floor (memory, high); drier is not better, and figures extrapolate
ZEOLITE_USABLE_PCT = (18.0, 20.0)  # uptake at which beads are dried again (UC Davis, read)

OVER_DRIES = (
    "As much {name} as seed would dry it to about {erh:.0f} % humidity: too far. Below 10 % seed "
    "gains nothing, and some is harmed."
)
RESERVE_DRIES = (
    "This much, put in at once, first dries the seed to about {erh:.0f} % humidity. Put in {part} "
    "and swap it more often."
)
NOT_MODELLED = (
    "How zeolite and seed share water is not modelled: in a published trial with rice, beads of "
    "equal weight did not dry it below 6.1 % moisture though on paper they should. Take the range "
    "as a start and go by the sensor."
)

NOT_DRIED: Mapping[Behaviour, str] = MappingProxyType(
    {
        Behaviour.RECALCITRANT: "Do not dry it: its seed dies when it dries. Sow it fresh.",
        Behaviour.INTERMEDIATE: "Its seed bears drying only in part: keep it away from desiccant.",
        Behaviour.STORAGE_ORGAN: "Do not dry it: it is a storage organ, not seed, and shrivels.",
        Behaviour.UNKNOWN: "Whether its seed bears drying is not known: dry none you cannot spare.",
    }
)
"""What is said of seed that is not, or perhaps not, to be dried; see each kind for its source."""


class SeedPortion(NamedTuple):
    """Seed that behaves alike: grams as weighed at the start, and its isotherm."""

    grams: float
    isotherm: Isotherm


@dataclass(frozen=True, slots=True)
class DesiccantAdvice:
    """Grams of dry desiccant a box needs, with range; water in grams.

    ``settles_rh_pct`` is where seed and this much desiccant meet before any water has come in;
    ``None`` where that is not modelled.
    """

    desiccant: Desiccant
    grams: float
    low_grams: float
    high_grams: float
    seed_water_g: float
    ingress_g: float
    seed_grams: float
    settles_rh_pct: float | None
    cautions: tuple[str, ...]


def drying_caution(kind: Kind) -> str | None:
    """Say that a kind must not be dried like other seed.

    Parameters
    ----------
    kind : Kind
        The kind.

    Returns
    -------
    str or None
        A sentence; ``None`` for kinds that are dried.

    Examples
    --------
    >>> from hilum.science.kinds import kind
    >>> drying_caution(kind("avocado"))
    'Do not dry it: its seed dies when it dries. Sow it fresh.'

    References
    ----------
    The table of kinds, which names a source for each kind's behaviour.
    """
    return NOT_DRIED.get(kind.behaviour)


def seed_water_g(
    seeds: Sequence[SeedPortion], from_rh_pct: float, to_rh_pct: float, temp_c: float
) -> float:
    """Water seed gives off between two humidities.

    Parameters
    ----------
    seeds : sequence of SeedPortion
        Grams as weighed at the first humidity.
    from_rh_pct, to_rh_pct : float
        Equilibrium humidity before and after [%], 0 to 99.9.
    temp_c : float
        Temperature [°C], 0 to 50.

    Returns
    -------
    float
        Water given off [g]; below 0 where seed takes water up.

    Raises
    ------
    OutOfRangeError
        A humidity or temperature lies outside its range.

    Notes
    -----
    Each isotherm is good to ±1 % moisture; the difference of two points to rather better.

    Examples
    --------
    >>> from hilum.science.isotherms import GeneralIsotherm
    >>> round(seed_water_g([SeedPortion(1000.0, GeneralIsotherm(0.02))], 60.0, 20.0, 20.0), 1)
    65.6

    References
    ----------
    Mass balance with the isotherms of ``hilum.science.isotherms``.
    """
    checked("temperature", temp_c, 0.0, 50.0, "°C")
    total = 0.0
    for grams, isotherm in seeds:
        before = isotherm.mc_dry_pct(from_rh_pct, temp_c)
        after = isotherm.mc_dry_pct(to_rh_pct, temp_c)
        total += grams * (before - after) / (100.0 + before)
    return total


def settled_rh_pct(
    seeds: Sequence[SeedPortion],
    grams: float,
    *,
    from_rh_pct: float,
    temp_c: float,
    desiccant: str = DEFAULT,
    initial_load_pct: float = FRESH_LOAD_PCT.value,
) -> float:
    """Humidity at which seed and desiccant in a tight box come to rest.

    Parameters
    ----------
    seeds : sequence of SeedPortion
        Grams as weighed at the start.
    grams : float
        Dry desiccant [g], 0 to 1000000.
    from_rh_pct : float
        Equilibrium humidity of the seed at the start [%], 0.1 to 99.9.
    temp_c : float
        Temperature [°C], 0 to 50.
    desiccant : str
        Key or name of the table; not zeolite, which seed does not follow.
    initial_load_pct : float
        Water in the desiccant at the start [g per 100 g], 0 to 50.

    Returns
    -------
    float
        Equilibrium humidity [%].

    Raises
    ------
    OutOfRangeError
        A value lies outside its range.

    Notes
    -----
    The air's own water is left out: a litre holds a hundredth of a gram. Below 10 % the figure is
    an extrapolation.

    Examples
    --------
    >>> from hilum.science.isotherms import GeneralIsotherm
    >>> wheat = [SeedPortion(1000.0, GeneralIsotherm(0.02))]
    >>> round(settled_rh_pct(wheat, 500.0, from_rh_pct=60.0, temp_c=20.0, initial_load_pct=0.0), 1)
    22.6

    References
    ----------
    Mass balance; isotherms of seed and desiccant as named there.
    """
    checked("desiccant", grams, 0.0, 1e6, "g")
    checked("humidity of the seed", from_rh_pct, 0.1, 99.9, "%")
    checked("initial load", initial_load_pct, 0.0, 50.0, "g per 100 g")
    low, high = 0.0, 99.9
    for _ in range(60):
        middle = (low + high) / 2.0
        taken = grams * (gel_load_pct(desiccant, middle, temp_c) - initial_load_pct) / 100.0
        if taken < seed_water_g(seeds, from_rh_pct, middle, temp_c):
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def grams_needed(
    seeds: Sequence[SeedPortion],
    *,
    from_rh_pct: float,
    target_rh_pct: float,
    temp_c: float,
    desiccant: str = DEFAULT,
    initial_load_pct: float = FRESH_LOAD_PCT.value,
    ingress_g: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> DesiccantAdvice:
    """Desiccant that brings seed to a humidity and holds it there while water comes in.

    ``grams = (water of the seed + ingress) / (load at the target - load at the start)``.

    Parameters
    ----------
    seeds : sequence of SeedPortion
        Grams as weighed at the start; may be empty.
    from_rh_pct : float
        Equilibrium humidity of the seed at the start [%], 0.1 to 99.9.
    target_rh_pct : float
        Humidity to hold [%], 5 to 75.
    temp_c : float
        Temperature [°C], 0 to 50.
    desiccant : str
        Key or name of the table.
    initial_load_pct : float
        Water in the fresh desiccant [g per 100 g], 0 to 30.
    ingress_g : tuple of float
        Water that comes in over the wished time [g], 0 or more: low, middle, high.

    Returns
    -------
    DesiccantAdvice
        Grams with range and cautions. The range covers the make of the desiccant and the ingress.

    Raises
    ------
    OutOfRangeError
        A value lies outside its range, or the desiccant holds no more at the target than at the
        start.
    UnknownNameError
        The table has no such desiccant.

    Notes
    -----
    Zeolite in contact with seed is not modelled: its range runs from what its reactivation point
    allows to equal weight, and the sensor decides.

    Examples
    --------
    >>> from hilum.science.isotherms import GeneralIsotherm
    >>> wheat = [SeedPortion(1000.0, GeneralIsotherm(0.02))]
    >>> round(grams_needed(wheat, from_rh_pct=60.0, target_rh_pct=20.0, temp_c=20.0).grams)
    742

    References
    ----------
    Mass balance; isotherms of seed and desiccant as named there. Spread between makes: derived
    from published gel isotherms.
    """
    checked("humidity of the seed", from_rh_pct, 0.1, 99.9, "%")
    checked("target humidity", target_rh_pct, 5.0, 75.0, "%")
    checked("initial load", initial_load_pct, 0.0, 30.0, "g per 100 g")
    kind = find_desiccant(desiccant)
    seed_grams = sum(portion.grams for portion in seeds)
    water = max(0.0, seed_water_g(seeds, from_rh_pct, target_rh_pct, temp_c))
    waters = tuple(water + more for more in ingress_g)
    if kind.family == "zeolite":
        return _zeolite(kind, seed_grams, water, ingress_g, initial_load_pct)
    load = gel_load_pct(kind.key, target_rh_pct, temp_c)
    spread = kind.spread_pct / 100.0
    least = load * (1.0 - spread) - initial_load_pct
    if least <= 0.0:
        raise OutOfRangeError(
            "initial load", initial_load_pct, 0.0, load * (1.0 - spread), "g per 100 g"
        )
    grams = 100.0 * waters[1] / (load - initial_load_pct)
    rest, cautions = None, []
    if seed_grams:
        start = {"from_rh_pct": from_rh_pct, "temp_c": temp_c, "desiccant": kind.key}
        start_load = {"initial_load_pct": initial_load_pct}
        rest = settled_rh_pct(seeds, grams, **start, **start_load)  # type: ignore[arg-type]
        equal = settled_rh_pct(seeds, seed_grams, **start, **start_load)  # type: ignore[arg-type]
        if rest < FLOOR_RH_PCT:
            cautions.append(RESERVE_DRIES.format(erh=rest, part="a part of it"))
        if equal < FLOOR_RH_PCT:
            cautions.append(OVER_DRIES.format(name=kind.name, erh=equal))
    return DesiccantAdvice(
        desiccant=kind,
        grams=grams,
        low_grams=100.0 * waters[0] / (load * (1.0 + spread) - initial_load_pct),
        high_grams=100.0 * waters[2] / least,
        seed_water_g=water,
        ingress_g=ingress_g[1],
        seed_grams=seed_grams,
        settles_rh_pct=rest,
        cautions=tuple(cautions),
    )


def _zeolite(
    kind: Desiccant,
    seed_grams: float,
    water: float,
    ingress_g: tuple[float, float, float],
    load_pct: float,
) -> DesiccantAdvice:
    """Grams by the uptake at which beads are dried again; up to equal weight beside seed."""
    low, high = ZEOLITE_USABLE_PCT
    if load_pct >= low:
        raise OutOfRangeError("initial load", load_pct, 0.0, low, "g per 100 g")
    usable = (high - load_pct, (low + high) / 2.0 - load_pct, low - load_pct)
    least, grams, most = (
        100.0 * (water + more) / each for more, each in zip(ingress_g, usable, strict=True)
    )
    return DesiccantAdvice(
        desiccant=kind,
        grams=grams,
        low_grams=least,
        high_grams=max(most, seed_grams),
        seed_water_g=water,
        ingress_g=ingress_g[1],
        seed_grams=seed_grams,
        settles_rh_pct=None,
        cautions=(NOT_MODELLED,) if seed_grams else (),
    )
