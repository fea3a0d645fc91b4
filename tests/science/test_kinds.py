"""The table of kinds: complete, consistent, and joined to the right rows of published tables."""

import re
from collections import defaultdict
from collections.abc import Callable, Iterator

import pytest

from hilum.science import tables
from hilum.science.basis import wet_from_dry_pct
from hilum.science.errors import UnknownNameError
from hilum.science.isotherms import GeneralIsotherm
from hilum.science.kinds import (
    LARGE_FROM_TSW_G,
    TREATED_SEED,
    Behaviour,
    Fact,
    Kind,
    Longevity,
    kind,
    kinds,
    own_isotherm,
    unlisted_kind,
)
from hilum.science.viability import all_constants

Rows = list[dict[str, str]]
KINDS = list(kinds().values())
SEED = [each for each in KINDS if each.behaviour in {Behaviour.ORTHODOX, Behaviour.UNKNOWN}]
STATUS = {"read", "memory", "derived", "computed"}
# Column of the table of kinds: the tables its cells name rows of, and the column with the names.
JOINS = {
    "longevity": (("longevity_classes",), "taxon"),
    "oil": (("oil_content",), "taxon"),
    "isotherm": (("isotherm_coefficients",), "material"),
    "standard": (("germination_standards", "flower_germination_standards"), "kind"),
    "weight": (("seed_weight",), "common_name"),
    "method": (("germination_test_methods",), "common_name"),
    "hermetic": (("hermetic_moisture_limits",), "kind"),
    "caution": (("cautions",), "key"),
}
# Rows that are no kind: families, catch-alls, and materials whose kind the general isotherm serves.
NO_KIND = re.compile(
    r"\((family|decorticated)|^All other|^any other|not listed$|^absolute floor|\(1976 set\)"
    r"|^peanut pod|^rapeseed \(Tobin\)|^wheat soft red|^sunflower$"
)


def cells(column: str) -> list[str]:
    """Every row name that stands in a column of the table of kinds."""
    return [name for row in tables.rows("kinds") for name in filter(None, row[column].split("+"))]


def names_of(column: str) -> list[str]:
    """Every row name that stands in the tables behind a column, second opinions left out."""
    sources, name = JOINS[column]
    every = [row for source in sources for row in tables.rows(source)]
    return [row[name] for row in every if row.get("preferred", "yes") != "no"]


def facts(each: Kind) -> Iterator[tuple[str, Fact[object]]]:
    """Every fact of a kind, by the name of its field."""
    for field in Kind.__slots__:
        value = getattr(each, field)
        for item in value if field == "methods" else (value,):
            if isinstance(item, Fact):
                yield field, item


def test_there_are_enough_kinds() -> None:
    """At least 200 kinds of seed stand in the table, 80 of them flowers."""
    assert len(SEED) >= 200
    assert sum(each.group == "flower" for each in SEED) >= 80


@pytest.mark.parametrize("column", JOINS)
def test_every_join_finds_its_row(column: str) -> None:
    """A cell that names a row of another table names one that exists."""
    assert set(cells(column)) <= set(names_of(column))


@pytest.mark.parametrize("column", JOINS)
def test_every_published_row_serves_a_kind(column: str) -> None:
    """What the published tables list is among the kinds, but for families and the like."""
    unused = {name for name in names_of(column) if not NO_KIND.search(name)} - set(cells(column))
    assert unused == set()


def test_every_fact_has_source_and_status() -> None:
    """No fact of any kind stands without a source and one of the four status words."""
    always = {"family_fact", "behaviour_fact", "longevity_class", "oil_pct", "isotherm"}
    always |= {"minimum_pct", "size_fact"}
    for each in KINDS:
        found = list(facts(each))
        names = {name for name, _ in found}
        assert always <= names, each.key
        assert ("hermetic_mc_wet_pct" in names) == (each in SEED), each.key
        assert all(fact.source for _, fact in found), each.key
        assert {fact.status for _, fact in found} <= STATUS, each.key


def test_figures_are_possible() -> None:
    """Percentages, weights and counts lie where such figures can lie."""
    for each in KINDS:
        assert 1.0 <= each.oil_pct.value <= 60.0
        assert 30.0 <= each.minimum_pct.value <= 80.0
        assert each.tsw_g is None or 0.01 <= each.tsw_g.value <= 2000.0
        assert each.hermetic_mc_wet_pct is None or 4.5 <= each.hermetic_mc_wet_pct.value <= 8.0
        for method in each.methods:
            first, final = method.value.first_count_days, method.value.final_count_days
            assert first is None or (final is not None and 3 <= first <= final <= 28)


def test_a_genus_has_one_family() -> None:
    """All kinds of a genus are put into the same family."""
    families = defaultdict(set)
    for each in KINDS:
        families[each.genus].add(each.family)
    assert {genus: found for genus, found in families.items() if len(found) > 1} == {}


def test_families_agree_with_publications(published: Callable[[str], Rows]) -> None:
    """Families agree with those given beside published trials and viability constants."""
    ours = {each.genus: each.family for each in KINDS}
    theirs = {row["species"].split()[0]: row["family"] for row in published("outcomes")}
    theirs |= {each.species.split()[0]: each.family for each in all_constants()}
    shared = ours.keys() & theirs.keys()
    assert len(shared) >= 30
    assert {g: (ours[g], theirs[g]) for g in shared if ours[g] != theirs[g]} == {}


def test_keys_are_stable_words() -> None:
    """Keys are lower-case words joined by hyphens, fit for addresses and files."""
    assert [key for key in kinds() if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", key)] == []


@pytest.mark.parametrize(
    ("key", "percent"),
    # US Federal Seed Act regulations, 7 CFR 201.31.
    [
        ("collards", 80),
        ("lettuce", 80),
        ("turnip", 80),
        ("tomato", 75),
        ("sweet-corn", 75),
        ("pumpkin", 75),
        ("onion", 70),
        ("garden-bean", 70),
        ("beet", 65),
        ("leek", 60),
        ("eggplant", 60),
        ("parsnip", 60),
        ("carrot", 55),
        ("pepper", 55),
        ("okra", 50),
        ("watercress", 40),
        # Seed rules of Ohio and Virginia, and of New Hampshire for herbs.
        ("calendula", 65),
        ("china-aster", 55),
        ("china-aster-pompon", 50),
        ("perennial-coreopsis", 40),
        ("dahlia", 55),
        ("basil", 70),
        ("rosemary", 30),
    ],
)
def test_minimum_germination(key: str, percent: float) -> None:
    """Minimum germination is that of the rule for the kind."""
    assert kind(key).minimum_pct.value == percent
    assert kind(key).minimum_pct.status == "read"


def test_minimum_without_a_rule_is_common_practice() -> None:
    """A flower no rule names gets 60 % and is told that this has no source."""
    fact = kind("snapdragon").minimum_pct
    assert (fact.value, fact.source) == (60.0, "common practice, no source")


def test_weight_of_seed() -> None:
    """Weight is 1000 over the printed seeds per gram (7 CFR 201.46), None where none is known."""
    lettuce, gerbera = kind("lettuce").tsw_g, kind("gerbera").tsw_g
    assert lettuce is not None
    assert lettuce.value == pytest.approx(1000 / 890, rel=0.01)
    assert gerbera is None


@pytest.mark.parametrize(
    ("key", "size"),
    [("onion", "small"), ("radish", "small"), ("wheat", "large"), ("pea", "large")],
)
def test_size(key: str, size: str) -> None:
    """Seed of 25 g a thousand and more is large; the limit is said to be our choice."""
    each = kind(key)
    assert each.size == size
    assert each.tsw_g is not None
    assert (each.tsw_g.value >= LARGE_FROM_TSW_G) == (size == "large")
    assert "our choice" in each.size_fact.note


@pytest.mark.parametrize(
    ("key", "percent", "status"),
    # 7 CFR 201.36c.
    [
        ("pepper", 4.5, "read"),
        ("radish", 5.0, "read"),
        ("lettuce", 5.5, "read"),
        ("onion", 6.5, "read"),
        ("sweet-corn", 8.0, "read"),
        ("okra", 6.0, "read"),
        ("zinnia", 6.0, "derived"),
    ],
)
def test_hermetic_limit(key: str, percent: float, status: str) -> None:
    """The moisture limit for sealing is the rule's, and a stand-in for flowers, which it omits."""
    fact = kind(key).hermetic_mc_wet_pct
    assert fact is not None
    assert (fact.value, fact.status) == (percent, status)


def test_germination_methods() -> None:
    """Methods are those of 7 CFR 201.58; a sowing guide is told apart from them."""
    (lettuce,) = (fact.value for fact in kind("lettuce").methods)
    assert (lettuce.temp_c, lettuce.first_count_days, lettuce.final_count_days) == ("20", None, 7)
    assert lettuce.substrate == "on paper in a covered dish"
    rules = [fact.value.rule for fact in kind("sunflower").methods]
    assert rules == ["laboratory rule", "sowing guide"]


def test_laboratory_notes_are_written_out() -> None:
    """Every note of the rule has words; no letters of a laboratory and no bare figures are left."""
    advice = {fact.value.advice for each in kinds().values() for fact in each.methods}
    assert "if dormant: with potassium nitrate solution" in advice
    short = re.compile(r"KNO3|prechill|\d ?(C|d|h)\b|/|>=|substrat")
    assert [words for words in advice if short.search(words.replace("mmol/l", ""))] == []


@pytest.mark.parametrize(
    ("key", "behaviour"),
    # Walters & Towill, USDA Agriculture Handbook 66, and general knowledge.
    [
        ("lettuce", Behaviour.ORTHODOX),
        ("oak", Behaviour.RECALCITRANT),
        ("avocado", Behaviour.RECALCITRANT),
        ("wild-rice", Behaviour.RECALCITRANT),
        ("coffee", Behaviour.INTERMEDIATE),
        ("dahlia-tuber", Behaviour.STORAGE_ORGAN),
        ("watercress", Behaviour.UNKNOWN),
        ("other", Behaviour.UNKNOWN),
    ],
)
def test_storage_behaviour(key: str, behaviour: Behaviour) -> None:
    """Seed that must not be dried or frozen is known as such; doubt counts as unknown."""
    assert kind(key).behaviour is behaviour


@pytest.mark.parametrize(
    ("key", "longevity"),
    [
        ("pansy", Longevity.VERY_SHORT),
        ("lisianthus", Longevity.VERY_SHORT),
        ("canterbury-bells", Longevity.VERY_SHORT),
        ("snapdragon", Longevity.SHORT),
        ("delphinium", Longevity.SHORT),
        ("sweet-corn", Longevity.SHORT),
        ("maize", Longevity.LONG),
        ("cosmos", Longevity.MEDIUM),
        ("sweet-pea", Longevity.LONG),
        ("lovage", Longevity.SHORT),
        ("gerbera", Longevity.MEDIUM),
    ],
)
def test_longevity_class(key: str, longevity: Longevity) -> None:
    """The class is the preferred one of the species, else of its family, else medium."""
    assert kind(key).longevity_class.value is longevity


def test_an_assumed_class_says_so() -> None:
    """Whoever has no row of its own is told in words that its class is assumed."""
    for each in SEED:
        row = next(row for row in tables.rows("kinds") if row["key"] == each.key)
        if not row["longevity"]:
            assert each.longevity_class.note.startswith("Assumed")
    assert kind("gerbera").longevity_class.note.startswith("Assumed medium")
    for key in ("onion", "leek", "dusty-miller", "strawflower", "cosmos"):
        assert not kind(key).longevity_class.note.startswith("Assumed")


def test_what_cannot_be_dried_has_no_class_to_rely_on() -> None:
    """Acorns and tubers are told that a longevity class says nothing of them in a box."""
    assert "cannot be stored dry" in kind("oak").longevity_class.note


def test_own_isotherm() -> None:
    """Maize has an isotherm of its own (8.47 % at 30 % and 25 °C); lettuce the general one."""
    moisture = own_isotherm(kind("sweet-corn")).mc_dry_pct(30.0, 25.0)
    assert wet_from_dry_pct(moisture) == pytest.approx(8.47, abs=0.005)
    assert own_isotherm(kind("lettuce")) == GeneralIsotherm(0.37)


@pytest.mark.parametrize(
    "key", ["foxglove", "castor-bean", "delphinium", "larkspur", "sweet-pea", "lupin", "monkshood"]
)
def test_poisonous_kinds_carry_a_caution(key: str) -> None:
    """Poisonous seed is named as such, not for food, with a pointer to label and local advice."""
    fact = kind(key).caution
    assert fact is not None
    assert "poisonous" in fact.value or "ricin" in fact.value
    assert "Not for food" in fact.value
    assert "label and local advice" in fact.value
    assert kind("lettuce").caution is None
    assert "label" in TREATED_SEED.value


def test_unlisted_species_stand_on_genus_and_family() -> None:
    """A species outside the table takes oil and class of its genus or family, else says medium."""
    gentian = unlisted_kind("Gentiana verna", "spring gentian", "Gentianaceae")
    assert gentian.longevity_class.value is Longevity.VERY_SHORT
    pink = unlisted_kind("Dianthus langeanus", "wild pink", "Caryophyllaceae")
    assert (pink.oil_pct.value, pink.longevity_class.value) == (7.0, Longevity.MEDIUM)
    assert pink.longevity_class.note.startswith("Assumed medium")


def test_an_unknown_key_is_an_error() -> None:
    """A key that is not in the table is refused."""
    with pytest.raises(UnknownNameError):
        kind("no-such-kind")
