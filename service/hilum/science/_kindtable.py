"""Joins the table of kinds with the tables that hold the figures."""

import re
from collections.abc import Mapping
from statistics import median
from typing import TypeVar

from hilum.science import tables
from hilum.science.kindmodel import (
    Behaviour,
    Fact,
    GerminationMethod,
    Kind,
    Longevity,
    genus_of,
    species_of,
)
from hilum.science.seedmodel import Size

T = TypeVar("T")
Row = Mapping[str, str]

# Seed of 2 mm weighs about 5 g a thousand, pea, maize and bean 125 g and more; the limit is the
# geometric middle. Our choice (derived): the published lags are for "under 2 mm" and for "bean,
# maize, pea" only.
LARGE_FROM_TSW_G = 25.0

_COMMON_MINIMUM_PCT = 60.0
_MEMORY = "general knowledge, recalled"
_OTHER_HERB = "any other vegetable or herb"
_OTHER_SEALED = {"farm": "All other agricultural"}
_OTHER_VEGETABLE = "All other vegetable"
_SEALABLE = {Behaviour.ORTHODOX, Behaviour.UNKNOWN}


def kind_of_row(row: Row) -> Kind:
    """Join one row of the table of kinds with the figures it names.

    Parameters
    ----------
    row : mapping of str to str
        A row of the table ``kinds``.

    Returns
    -------
    Kind
        The kind with all its facts.
    """
    behaviour = Behaviour(row["behaviour"])
    weight = _weight(row)
    return Kind(
        key=row["key"],
        common=row["common"],
        botanical=row["botanical"],
        group=row["group"],
        synonyms=tuple(filter(None, row["synonyms"].split(";"))),
        family_fact=Fact(row["family"], _MEMORY, "memory"),
        behaviour_fact=Fact(
            behaviour, row["behaviour_source"], row["behaviour_status"], row["behaviour_note"]
        ),
        longevity_class=_longevity(row),
        oil_pct=_oil(row),
        isotherm=_isotherm(row),
        minimum_pct=_minimum(row),
        tsw_g=weight,
        size_fact=_size(row, weight),
        hermetic_mc_wet_pct=_hermetic(row) if behaviour in _SEALABLE else None,
        methods=_methods(row),
        caution=_caution(row),
        note=row["note"],
    )


def row_of_taxon(botanical: str, common: str, family: str) -> Row:
    """Make a row for a species that is not in the table, joined by species, genus and family.

    Parameters
    ----------
    botanical, common, family : str
        Names.

    Returns
    -------
    mapping of str to str
        A row like those of the table ``kinds``.
    """
    row = dict.fromkeys(tables.rows("kinds")[0], "")
    row |= {"key": "unlisted", "botanical": botanical, "common": common, "family": family}
    row |= {"group": "other", "behaviour": "unknown", "size": "small"}
    row |= {"behaviour_source": "not in the table", "behaviour_status": "derived"}
    names = (botanical, species_of(botanical), f"{genus_of(botanical)} spp.")
    for column, table in (("oil", "oil_content"), ("longevity", "longevity_classes")):
        known = {each["taxon"] for each in tables.rows(table)}
        row[column] = next((name for name in names if name in known), "")
    return row


def _joined(table: str, column: str, names: str) -> list[Row]:
    """Rows of a table that a cell of the table of kinds names, in the order named."""
    wanted = names.split("+") if names else []
    return [row for name in wanted for row in tables.rows(table) if row[column] == name]


def _fact(row: Row, value: T, *notes: str) -> Fact[T]:
    """A fact with the source and status of its row."""
    return Fact(value, row["source"], row["status"], "; ".join(filter(None, notes)))


def _is_of(taxon: str, row: Row) -> bool:
    """Whether a row of a table is about this kind, its species or its genus as a whole."""
    if taxon in row["synonyms"].split(";"):
        return True
    words = set(re.findall(r"[A-Za-z-]+", taxon)) - {"genus"}
    epithet = species_of(row["botanical"]).split()[-1]
    of_genus = "spp" in words or all(word[0].isupper() for word in words)
    return genus_of(row["botanical"]) in words and (epithet in words or of_genus)


def _longevity(row: Row) -> Fact[Longevity]:
    """Class of the species, else of a relative or the family, else medium; it says which."""
    if Behaviour(row["behaviour"]) not in _SEALABLE:
        note = "It cannot be stored dry; in a seed box the class says nothing."
        return Fact(Longevity.VERY_SHORT, _MEMORY, "memory", note)
    for name in (row["longevity"], f"{row['family']} (family)"):
        for each in _joined("longevity_classes", "taxon", name):
            if each["preferred"] != "yes":
                continue
            value = Longevity(each["class"])
            if _is_of(each["taxon"], row):
                return _fact(each, value, each["note"])
            note = f"Assumed: the class of {each['taxon']}."
            return Fact(value, each["source"], "derived", f"{note} {each['note']}".strip())
    note = "Assumed medium: no figure is known to us of how long this kind keeps."
    return Fact(Longevity.MEDIUM, "assumption", "derived", note)


NO_OIL = "Assumed: nothing is known to us of the oil of this seed, so its moisture is uncertain."
"""Note of an oil content that is the middle of all."""

_FAMILY_SEED = ("(family)", "(family, whole seed)", "(family, pulse types)")


def _oil(row: Row) -> Fact[float]:
    """Oil of the species, else of its family, else the median of all seed in the table."""
    families = (f"{row['family']} {which}" for which in _FAMILY_SEED)
    for name in (row["oil"], *families):
        for each in _joined("oil_content", "taxon", name):
            value = float(each["oil_percent_dry_basis"])
            span = f"{each['low']}-{each['high']} %" if each["low"] else ""
            if _is_of(each["taxon"], row):
                return _fact(each, value, span, each["note"])
            note = f"Assumed: that of {each['taxon']}, {span}"
            return Fact(value, each["source"], "derived", note)
    every = [float(each["oil_percent_dry_basis"]) for each in tables.rows("oil_content")]
    return Fact(round(median(every)), "median of our table of oil contents", "derived", NO_OIL)


def _isotherm(row: Row) -> Fact[str]:
    """Material of the kind's own D245 isotherm; empty where the general one must do."""
    for each in _joined("isotherm_coefficients", "material", row["isotherm"]):
        if each["preferred"]:
            return _fact(each, each["material"], each["note"])
    note = "The general isotherm, from its oil content."
    return Fact("", "Cromarty, Ellis & Roberts 1982, IBPGR", "memory", note)


def _minimum(row: Row) -> Fact[float]:
    """Legal minimum germination where one is known, else a figure of common practice."""
    name = row["standard"]
    if not name and row["group"] in {"vegetable", "herb"}:
        name = _OTHER_HERB
    for table in ("germination_standards", "flower_germination_standards"):
        for each in _joined(table, "kind", name):
            listed = f"there: {each['kind']}"
            return _fact(each, float(each["min_germination_percent"]), listed, each.get("note", ""))
    note = "No rule for this kind is known to us; some US states set 50 % for flowers not listed."
    return Fact(_COMMON_MINIMUM_PCT, "common practice, no source", "memory", note)


def _weight(row: Row) -> Fact[float] | None:
    """Weight of 1,000 seeds [g]; further rows are named as second opinions."""
    found = _joined("seed_weight", "common_name", row["weight"])
    if not found:
        return None
    first, *others = found
    span = f"{first['low_tsw_g']}-{first['high_tsw_g']} g" if first["low_tsw_g"] else ""
    also = "; ".join(f"also {each['tsw_g']} g ({each['source']})" for each in others)
    return _fact(first, float(first["tsw_g"]), span, first["note"], also)


def _size(row: Row, weight: Fact[float] | None) -> Fact[Size]:
    """Large or small, from the weight where it is known."""
    if weight is None:
        size: Size = "large" if row["size"] == "large" else "small"
        return Fact(size, _MEMORY, "memory", "weight of 1,000 seeds not known to us")
    size = "large" if weight.value >= LARGE_FROM_TSW_G else "small"
    note = f"limit {LARGE_FROM_TSW_G:g} g a thousand seeds: our choice"
    return Fact(size, weight.source, "derived", note)


def _hermetic(row: Row) -> Fact[float]:
    """Highest moisture for sealing [% wet basis]."""
    fallback = _OTHER_SEALED.get(row["group"], _OTHER_VEGETABLE)
    each = _joined("hermetic_moisture_limits", "kind", row["hermetic"] or fallback)[0]
    value = float(each["max_mc_wet_basis_percent"])
    if row["hermetic"] or row["group"] in {"vegetable", "farm"}:
        return _fact(each, value, f"there: {each['kind']}")
    note = f"No limit for this kind is published; that of “{fallback.lower()}” stands in."
    return Fact(value, each["source"], "derived", note)


def _methods(row: Row) -> tuple[Fact[GerminationMethod], ...]:
    """Published ways to test this kind, laboratory rules first as in the table."""
    words = {each["code"]: each["words"] for each in tables.rows("substrates")}
    notes = {each["note"]: each["words"] for each in tables.rows("test_notes")}
    found = _joined("germination_test_methods", "common_name", row["method"])
    return tuple(_fact(each, _method(each, words, notes)) for each in found)


def _method(each: Row, words: Mapping[str, str], notes: Mapping[str, str]) -> GerminationMethod:
    """Make the method of one row, its substrate codes and its note written out."""
    substrate = each["substrate"]
    if each["group"] == "laboratory rule":
        substrate = ", or ".join(words[code] for code in substrate.split(","))
    first, final = each["first_count_days"], each["final_count_days"]
    return GerminationMethod(
        rule=each["group"],
        substrate=substrate,
        temp_c=each["temp_c"],
        first_count_days=int(first) if first else None,
        final_count_days=int(final) if final else None,
        advice=notes.get(each["note"], each["note"]),
    )


def _caution(row: Row) -> Fact[str] | None:
    """What to be careful with, deferring to labels and local advice."""
    for each in _joined("cautions", "key", row["caution"]):
        advice = "Not for food. Keep from children and animals; follow the label and local advice."
        return _fact(each, f"{each['words']} {advice}")
    return None
