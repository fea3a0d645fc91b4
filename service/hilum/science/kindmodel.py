"""What is kept about one kind of seed: facts, each with its source and status."""

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

from hilum.science.seedmodel import Size

T = TypeVar("T")


class Behaviour(StrEnum):
    """What drying and freezing do to seed; only orthodox seed can be dried and frozen."""

    ORTHODOX = "orthodox"
    INTERMEDIATE = "intermediate"
    RECALCITRANT = "recalcitrant"
    STORAGE_ORGAN = "storage-organ"
    UNKNOWN = "unknown"


class Longevity(StrEnum):
    """How long seed keeps in ordinary cool, dry storage, from shortest to longest."""

    VERY_SHORT = "very short"
    SHORT = "short"
    MEDIUM = "medium"
    LONG = "long"


@dataclass(frozen=True, slots=True)
class Fact(Generic[T]):
    """A value with where it comes from.

    ``status`` is ``read`` (seen in the source), ``memory`` (recalled), ``derived`` (concluded) or
    ``computed``; ``note`` says in words what limits it.
    """

    value: T
    source: str
    status: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class GerminationMethod:
    """How seed is tested: substrate in words, temperature as printed [°C], counts in days.

    ``rule`` is "laboratory rule", "sowing guide" (its counts are days to emergence) or "genebank
    method". A temperature such as "20-30" alternates between the two.
    """

    rule: str
    substrate: str
    temp_c: str
    first_count_days: int | None
    final_count_days: int | None
    advice: str


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of seed. Weight of 1,000 seeds and a caution are ``None`` where none is known."""

    key: str
    common: str
    botanical: str
    group: str
    synonyms: tuple[str, ...]
    family_fact: Fact[str]
    behaviour_fact: Fact[Behaviour]
    longevity_class: Fact[Longevity]
    oil_pct: Fact[float]
    isotherm: Fact[str]
    minimum_pct: Fact[float]
    tsw_g: Fact[float] | None
    size_fact: Fact[Size]
    hermetic_mc_wet_pct: Fact[float] | None
    methods: tuple[Fact[GerminationMethod], ...]
    caution: Fact[str] | None
    note: str = ""

    @property
    def family(self) -> str:
        """Botanical family."""
        return self.family_fact.value

    @property
    def behaviour(self) -> Behaviour:
        """What drying and freezing do to it."""
        return self.behaviour_fact.value

    @property
    def size(self) -> Size:
        """How fast it takes up water."""
        return self.size_fact.value

    @property
    def genus(self) -> str:
        """First word of the botanical name."""
        return genus_of(self.botanical)

    @property
    def species(self) -> str:
        """Botanical name without group, subspecies and variety."""
        return species_of(self.botanical)


@dataclass(frozen=True, slots=True)
class KindMatch:
    """A kind and, in words, how the name that was given was taken."""

    kind: Kind
    took: str


def species_of(botanical: str) -> str:
    """Botanical name without what follows the species: group, subspecies, variety.

    Parameters
    ----------
    botanical : str
        Botanical name ("Brassica oleracea (Italica group)").

    Returns
    -------
    str
        Genus and species ("Brassica oleracea").

    Examples
    --------
    >>> species_of("Brassica oleracea (Italica group)")
    'Brassica oleracea'

    References
    ----------
    Usage of the botanical codes of nomenclature.
    """
    return re.sub(r" \(.*\)| subsp\..*", "", botanical)


def genus_of(botanical: str) -> str:
    """First word of a botanical name, past the sign of a hybrid.

    Parameters
    ----------
    botanical : str
        Botanical name ("x Triticosecale").

    Returns
    -------
    str
        Genus ("Triticosecale").

    Examples
    --------
    >>> genus_of("x Triticosecale")
    'Triticosecale'

    References
    ----------
    Usage of the botanical codes of nomenclature.
    """
    return botanical.removeprefix("x ").split()[0]
