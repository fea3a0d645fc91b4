"""The kinds of seed a grower keeps, and what is published about each, with source and status.

The table ``kinds`` names the kinds; the figures stand in one table each (oil, longevity, minimum
germination, seed weight, test methods, hermetic limits) and are joined by name. Which constants
stand for a kind is not written anywhere: `hilum.science.surrogates` works it out.
"""

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from hilum.science import tables
from hilum.science._kindtable import LARGE_FROM_TSW_G, kind_of_row, row_of_taxon
from hilum.science.errors import UnknownNameError
from hilum.science.isotherms import GeneralIsotherm, Isotherm, d245
from hilum.science.kindmodel import (
    Behaviour,
    Fact,
    GerminationMethod,
    Kind,
    KindMatch,
    Longevity,
)
from hilum.science.names import NameIndex

__all__ = [
    "LARGE_FROM_TSW_G",
    "PELLETED_SEED",
    "PRIMED_SEED",
    "TREATED_SEED",
    "Behaviour",
    "Fact",
    "GerminationMethod",
    "Kind",
    "KindMatch",
    "Longevity",
    "find_kind",
    "kind",
    "kinds",
    "own_isotherm",
    "unlisted_kind",
]

TREATED_SEED = Fact(
    "Treated seed, often dyed, is never food or feed. Follow the label and local advice.",
    "usual seed-trade wording, recalled",
    "memory",
)
PRIMED_SEED = Fact(
    "Primed seed keeps less long than seed as it was harvested; by how much is not known well "
    "enough to be worked out. Sow it in its first season, and trust only a test of your own.",
    "Tarquis & Bradford 1992, J. Exp. Bot. 43 (lettuce); Argerich, Bradford & Tarquis 1989, "
    "J. Exp. Bot. 40 (tomato)",
    "memory",
)
PELLETED_SEED = Fact(
    "Seed in pellets is often primed too, and then keeps less long: read the packet.",
    "common practice, no source",
    "memory",
)


@cache
def kinds() -> Mapping[str, Kind]:
    """Every kind by key, in the order of the table.

    Returns
    -------
    mapping of str to Kind
        Read-only.

    Examples
    --------
    >>> kinds()["sweet-pea"].botanical
    'Lathyrus odoratus'

    References
    ----------
    Every fact of a kind names its own source.
    """
    return MappingProxyType({row["key"]: kind_of_row(row) for row in tables.rows("kinds")})


def kind(key: str) -> Kind:
    """Give one kind by its key.

    Parameters
    ----------
    key : str
        Key of the table ("sweet-pea").

    Returns
    -------
    Kind
        The kind.

    Raises
    ------
    UnknownNameError
        No kind has this key.

    Examples
    --------
    >>> kind("onion").minimum_pct.value
    70.0

    References
    ----------
    Every fact of a kind names its own source.
    """
    if key not in kinds():
        raise UnknownNameError("kind of seed", key)
    return kinds()[key]


def find_kind(name: str) -> KindMatch:
    """Find the kind a person means.

    Parameters
    ----------
    name : str
        Common or botanical name; case, plural, word order and small typing errors do not matter.

    Returns
    -------
    KindMatch
        The kind, and in words what the name was taken for.

    Raises
    ------
    AmbiguousNameError
        The name fits several kinds ("bean"); they are offered.
    UnknownNameError
        The name fits none; the nearest are offered.

    Examples
    --------
    >>> find_kind("letuce").took
    '“letuce” read as Lettuce: Lettuce (Lactuca sativa)'

    References
    ----------
    Names are recalled; no list was copied.
    """
    if name in kinds():
        found, written = kinds()[name], None
    else:
        hit = _index().find(name)
        found, written = kinds()[hit.key], hit.written
    title = f"{found.common} ({found.botanical})"
    if written is not None:
        return KindMatch(found, f"“{name}” read as {written}: {title}")
    return KindMatch(found, title)


def unlisted_kind(botanical: str, common: str, family: str) -> Kind:
    """Describe a species that is not in the table by what is known of its genus and family.

    Parameters
    ----------
    botanical, common : str
        Names.
    family : str
        Botanical family.

    Returns
    -------
    Kind
        A kind with the same facts; its behaviour is ``unknown`` and its size small.

    Examples
    --------
    >>> unlisted_kind("Gentiana verna", "spring gentian", "Gentianaceae").longevity_class.value
    <Longevity.VERY_SHORT: 'very short'>

    References
    ----------
    Every fact of a kind names its own source.
    """
    return kind_of_row(row_of_taxon(botanical, common, family))


def own_isotherm(kind: Kind) -> Isotherm:
    """Isotherm of the kind itself, to show its own moisture.

    Parameters
    ----------
    kind : Kind
        The kind.

    Returns
    -------
    Isotherm
        Its D245 isotherm where one exists, else the general one with its oil content.

    Examples
    --------
    >>> own_isotherm(kind("lettuce"))
    GeneralIsotherm(oil_fraction_dry=0.37)

    References
    ----------
    ASAE D245; Cromarty, Ellis & Roberts 1982, IBPGR.
    """
    material = kind.isotherm.value
    return d245(material).isotherm if material else GeneralIsotherm(kind.oil_pct.value / 100.0)


@cache
def _index() -> NameIndex:
    """Names in four tiers: common names, synonyms, species, genus; seed only in the last two."""
    every = kinds().values()
    titles = {each.key: each.common for each in every}
    common = ((each.common, each.key) for each in every)
    synonyms = [(name, each.key) for each in every for name in each.synonyms]
    synonyms += [(each.botanical, each.key) for each in every if each.botanical != each.species]
    not_seed = {Behaviour.STORAGE_ORGAN}
    seed = [each for each in every if each.behaviour not in not_seed and each.key != "other"]
    species = ((each.species, each.key) for each in seed)
    genera = ((each.genus, each.key) for each in seed)
    return NameIndex("kind of seed", titles, (common, synonyms, species, genera))
