"""Whose constants of the viability equation stand for a kind of seed, and how far they can be off.

The rule, in this order: the species' own set; a set of its genus; a set its family allows, if the
longevity class agrees; a set for its longevity class alone. Each step is less certain, and carries
a wider 95 % factor each way on the time seed lasts. A surrogate's constants travel with its own
isotherm and oil, because seed of different kinds compares at equal humidity, not equal moisture.

The factors were set on published storage trials and then checked on them:
``service/docs/how-sure.md``.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from types import MappingProxyType

from hilum.science import tables
from hilum.science.errors import NoLifeModelError
from hilum.science.kinds import Behaviour, Kind, kinds
from hilum.science.seedmodel import SeedModel, model_for
from hilum.science.viability import ViabilityConstants, all_constants, constants

COLD_BELOW_C = 5.0
COLD_FACTOR = 2.0  # data are thin below 5 °C
DRY_BELOW_RH_PCT = 20.0
DRY_FACTOR = 1.5  # and below 20 % humidity
LEAST_COUNTING_ERROR_POINTS = 5.0  # each side, of any range shown: the start test counts seeds too


class Level(StrEnum):
    """How near the constants are to the kind."""

    OWN = "own species"
    GENUS = "same genus"
    FAMILY = "same family"
    GRASSES = "grasses"
    CARROT_FAMILY = "carrot family"
    CLASS = "class only"


FACTORS: Mapping[Level, float] = MappingProxyType(
    {
        Level.OWN: 4.0,
        Level.GENUS: 4.0,
        Level.FAMILY: 5.0,
        Level.GRASSES: 4.0,
        Level.CARROT_FAMILY: 8.0,
        Level.CLASS: 6.0,
    }
)
_FACTOR_SOURCE = "set on published storage trials (service/docs/how-sure.md)"

# Canned in air lettuce died far sooner than its constants say (Justice & Bass 1978, Table 15);
# standing in for others the constants are used as they are.
OWN_SCALE: Mapping[str, float] = MappingProxyType({"lactuca-sativa": 0.4})

_OWN_NOTES: Mapping[str, str] = MappingProxyType(
    {
        "lactuca-sativa": "In sealed cans with air lettuce died far sooner than its constants say, "
        "so its time is multiplied by 0.4.",
        "arachis-hypogaea": "Rather too gloomy for dry peanuts.",
        "cicer-arietinum": "Rather too hopeful for dry seed kept warm.",
        "sesamum-indicum": "Recalled with little trust, and too hopeful for dry seed kept warm.",
        "zea-mays": "Field maize and sweet corn share one set.",
    }
)

_NO_MODEL = {
    Behaviour.RECALCITRANT: "its seed dies when it dries",
    Behaviour.INTERMEDIATE: "its seed bears drying only in part, and the equation is for seed that "
    "can be dried",
    Behaviour.STORAGE_ORGAN: "it is a storage organ, not seed",
}


@dataclass(frozen=True, slots=True)
class Basis:
    """The constants that stand for a kind.

    Parameters
    ----------
    level : Level
        How near they are to the kind.
    words : str
        Where they come from, for people.
    constants : ViabilityConstants
        The published set.
    isotherm_key : str
        Isotherm that belongs to the set, as in the key of a seed model.
    oil_fraction_dry : float or None
        Oil of that isotherm [1]; ``None`` with a D245 isotherm.
    sigma_scale : float
        Factor on sigma [1].
    factor : float
        95 % factor each way on the time [1], before `factor_at` widens it.
    source, status : str
        Of the constants.
    notes : tuple of str
        What else a person should know, one sentence each.
    """

    level: Level
    words: str
    constants: ViabilityConstants
    isotherm_key: str
    oil_fraction_dry: float | None
    sigma_scale: float
    factor: float
    source: str
    status: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Choice:
    """A set of constants, how it was come by, and what to say about it."""

    level: Level
    constants_key: str
    sigma_scale: float = 1.0
    note: str = ""


@cache
def basis_for(kind: Kind) -> Basis:
    """Choose the constants that stand for a kind, by the rule of this module.

    Parameters
    ----------
    kind : Kind
        The kind.

    Returns
    -------
    Basis
        The constants with their factor, and in words how near they are.

    Raises
    ------
    NoLifeModelError
        The kind is no seed that can be dried: recalcitrant, intermediate or a storage organ.

    Examples
    --------
    >>> from hilum.science.kinds import kind
    >>> basis_for(kind("leek")).words
    'constants of onion, same genus'

    References
    ----------
    Each set names its own source; the rule stands in the tables ``family_surrogates`` and
    ``class_surrogates``.
    """
    if kind.behaviour in _NO_MODEL:
        raise NoLifeModelError(kind.common, _NO_MODEL[kind.behaviour])
    choice = _own(kind) or _named_genus(kind) or _genus(kind) or _family(kind) or _class(kind)
    chosen = constants(choice.constants_key)
    isotherm_key, oil = _isotherm_of(chosen)
    return Basis(
        level=choice.level,
        words=_words(choice.level, chosen),
        constants=chosen,
        isotherm_key=isotherm_key,
        oil_fraction_dry=oil,
        sigma_scale=choice.sigma_scale,
        factor=FACTORS[choice.level],
        source=chosen.source,
        status=chosen.status,
        notes=_notes(kind, choice),
    )


def factor_at(basis: Basis, temp_c: float, rh_pct: float) -> float:
    """95 % factor each way on the time seed lasts, in these conditions.

    Parameters
    ----------
    basis : Basis
        The constants used.
    temp_c : float
        Temperature [°C], any.
    rh_pct : float
        Equilibrium relative humidity of the seed [%], any.

    Returns
    -------
    float
        Factor [1], above 1: the basis' own, doubled below 5 °C, and times 1.5 below 20 % humidity.

    Notes
    -----
    A range of viability made with it must still be widened by the counting error of the start
    test, by `LEAST_COUNTING_ERROR_POINTS` at least.

    Examples
    --------
    >>> from hilum.science.kinds import kind
    >>> factor_at(basis_for(kind("onion")), temp_c=-18.0, rh_pct=15.0)
    12.0

    References
    ----------
    Set on the published storage trials listed in ``service/docs/how-sure.md``.
    """
    cold = COLD_FACTOR if temp_c < COLD_BELOW_C else 1.0
    dry = DRY_FACTOR if rh_pct < DRY_BELOW_RH_PCT else 1.0
    return basis.factor * cold * dry


def seed_model_for(kind: Kind) -> SeedModel:
    """Seed model of a kind's basis: the surrogate's constants and isotherm, the kind's own size.

    Parameters
    ----------
    kind : Kind
        The kind.

    Returns
    -------
    SeedModel
        Shared by all kinds with the same basis and size.

    Raises
    ------
    NoLifeModelError
        As for `basis_for`.

    Examples
    --------
    >>> from hilum.science.kinds import kind
    >>> seed_model_for(kind("leek")).key
    'allium-cepa/oil23.5/small'

    References
    ----------
    Roberts & Ellis 1989, Annals of Botany 63:39 (why constants and isotherm travel together).
    """
    return model_on(basis_for(kind), kind)


def model_on(basis: Basis, kind: Kind) -> SeedModel:
    """Seed model of a kind on a basis already chosen.

    Parameters
    ----------
    basis : Basis
        The constants.
    kind : Kind
        The kind, for its size.

    Returns
    -------
    SeedModel
        As of `seed_model_for`.

    Examples
    --------
    >>> from hilum.science.kinds import kind
    >>> model_on(basis_for(kind("leek")), kind("pea")).key
    'allium-cepa/oil23.5/large'

    References
    ----------
    As for `seed_model_for`.
    """
    scale = "" if basis.sigma_scale == 1.0 else f"*{basis.sigma_scale!r}"
    return model_for(f"{basis.constants.key}{scale}/{basis.isotherm_key}/{kind.size}")


@cache
def _first_sets() -> dict[str, ViabilityConstants]:
    """The set to use for each species that has one worth using."""
    return {each.species: each for each in all_constants() if each.use == "first"}


def _own(kind: Kind) -> _Choice | None:
    """The set of the species itself."""
    found = _first_sets().get(kind.species)
    if found is None:
        return None
    scale, note = OWN_SCALE.get(found.key, 1.0), _OWN_NOTES.get(found.key, "")
    return _Choice(Level.OWN, found.key, scale, note)


def _named_genus(kind: Kind) -> _Choice | None:
    """What the table of families says of this genus by name."""
    return _listed(kind, named=True)


def _genus(kind: Kind) -> _Choice | None:
    """The first set of the same genus."""
    for species, each in _first_sets().items():
        if species.split()[0] == kind.genus:
            return _Choice(Level.GENUS, each.key)
    return None


def _family(kind: Kind) -> _Choice | None:
    """What the table of families says of the family."""
    return _listed(kind, named=False)


def _listed(kind: Kind, *, named: bool) -> _Choice | None:
    """First row of the table of families that fits genus, family and class."""
    for row in tables.rows("family_surrogates"):
        if row["family"] != kind.family or bool(row["genera"]) != named:
            continue
        if named and kind.genus not in row["genera"].split():
            continue
        if row["classes"] and kind.longevity_class.value not in row["classes"].split():
            continue
        if not row["constants"]:
            return _class(kind, row["note"])
        scale = float(row["sigma_scale"])
        return _Choice(Level(row["level"]), row["constants"], scale, row["note"])
    return None


def _class(kind: Kind, note: str = "") -> _Choice:
    """The set that stands for a longevity class."""
    by_class = {row["class"]: row for row in tables.rows("class_surrogates")}
    row = by_class[kind.longevity_class.value]
    return _Choice(Level.CLASS, row["constants"], float(row["sigma_scale"]), note)


@cache
def _isotherm_of(chosen: ViabilityConstants) -> tuple[str, float | None]:
    """Isotherm that travels with a set: that of its own species in the table of kinds."""
    home = next(each for each in kinds().values() if each.botanical == chosen.species)
    if home.isotherm.value:
        return f"d245-{'-'.join(home.isotherm.value.lower().replace('/', ' ').split())}", None
    return f"oil{home.oil_pct.value:g}", home.oil_pct.value / 100.0


def _words(level: Level, chosen: ViabilityConstants) -> str:
    """Where the constants come from, for people."""
    name = chosen.common_name.split(" / ")[0].split(" (")[0]
    if level is Level.OWN:
        how = "published" if chosen.status == "read" else "published, recalled here"
        return f"its own constants, {how}"
    nearness = {
        Level.GENUS: "same genus",
        Level.FAMILY: "same family",
        Level.GRASSES: "both are grasses",
        Level.CARROT_FAMILY: "used for the whole carrot family",
        Level.CLASS: "chosen only for how long it keeps",
    }
    return f"constants of {name}, {nearness[level]}"


def _notes(kind: Kind, choice: _Choice) -> tuple[str, ...]:
    """What a person should know about a choice, one sentence each."""
    notes = [choice.note]
    for each in all_constants():
        if each.species == kind.species and each.use == "list":
            why = f"{each.note[0].lower()}{each.note[1:]}"
            notes.append(f"Constants for it are published but not used: {why}.")
    if choice.level is Level.CLASS:
        notes.append("Not well known; a germination test of your own says more.")
        if choice.sigma_scale != 1.0:
            notes.append("Its time is taken as a third of that seed's.")
        if kind.longevity_class.note.startswith("Assumed"):
            notes.append(kind.longevity_class.note)
    if any(row["genus"] == kind.genus for row in tables.rows("untried_genera")):
        notes.append("No storage trial of it is known to us.")
    return tuple(filter(None, notes))
