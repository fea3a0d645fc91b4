"""Whose constants stand for a kind: the rule case by case, and its factors."""

from collections.abc import Mapping

import pytest

from hilum.science.errors import NoLifeModelError
from hilum.science.kinds import Behaviour, Longevity, kind, kinds, unlisted_kind
from hilum.science.seedmodel import equilibrium_mc_dry_pct, loss_rate_per_day, model_for
from hilum.science.surrogates import (
    FACTORS,
    Level,
    basis_for,
    factor_at,
    model_on,
    seed_model_for,
)
from hilum.science.viability import all_constants

SEED = [
    each for each in kinds().values() if each.behaviour in {Behaviour.ORTHODOX, Behaviour.UNKNOWN}
]
DAYS_A_YEAR = 365.25

# Kind, level, constants, factor on sigma: the published rule, one line for each of its cases.
CASES = [
    # The species' own set.
    ("onion", Level.OWN, "allium-cepa", 1.0),
    ("lettuce", Level.OWN, "lactuca-sativa", 0.4),
    ("sweet-corn", Level.OWN, "zea-mays", 1.0),
    ("maize", Level.OWN, "zea-mays", 1.0),
    ("beet", Level.OWN, "beta-vulgaris", 1.0),
    ("swiss-chard", Level.OWN, "beta-vulgaris", 1.0),
    ("swede", Level.OWN, "brassica-napus", 1.0),
    ("pepper", Level.OWN, "capsicum-annuum", 1.0),
    ("rice", Level.OWN, "oryza-sativa", 1.0),
    ("sunflower", Level.OWN, "helianthus-annuus", 1.0),
    ("soybean", Level.OWN, "glycine-max", 1.0),
    ("asparagus-bean", Level.OWN, "vigna-unguiculata", 1.0),
    # A set of the genus.
    ("leek", Level.GENUS, "allium-cepa", 1.0),
    ("cabbage", Level.GENUS, "brassica-napus", 1.0),
    ("mung-bean", Level.GENUS, "vigna-unguiculata", 1.0),
    ("cleome", Level.GENUS, "cleome-gynandra", 1.0),
    ("habanero-pepper", Level.GENUS, "capsicum-annuum", 1.0),
    ("durum-wheat", Level.GENUS, "triticum-aestivum", 1.0),
    # A set the family allows.
    ("zinnia", Level.FAMILY, "lactuca-sativa", 1.0),
    ("endive", Level.FAMILY, "lactuca-sativa", 1.0),
    ("china-aster", Level.FAMILY, "helianthus-annuus", 1.0),
    ("strawflower", Level.FAMILY, "helianthus-annuus", 1.0),
    ("salsify", Level.FAMILY, "helianthus-annuus", 1.0),
    ("radish", Level.FAMILY, "brassica-napus", 1.0),
    ("stock", Level.FAMILY, "brassica-napus", 1.0),
    ("sweet-pea", Level.FAMILY, "pisum-sativum", 1.0),
    ("lentil", Level.FAMILY, "pisum-sativum", 1.0),
    ("garden-bean", Level.FAMILY, "vigna-unguiculata", 1.0),
    ("crimson-clover", Level.FAMILY, "cicer-arietinum", 1.0),
    ("celosia", Level.FAMILY, "beta-vulgaris", 1.0),
    ("spinach", Level.FAMILY, "beta-vulgaris", 0.5),
    ("globe-amaranth", Level.FAMILY, "beta-vulgaris", 0.5),
    ("hollyhock", Level.FAMILY, "gossypium-hirsutum", 1.0),
    ("oat", Level.GRASSES, "hordeum-vulgare", 1.0),
    ("rye", Level.GRASSES, "triticum-aestivum", 1.0),
    ("bunny-tails", Level.GRASSES, "triticum-aestivum", 1.0),
    ("carrot", Level.CARROT_FAMILY, "allium-cepa", 1.0),
    ("dill", Level.CARROT_FAMILY, "allium-cepa", 1.0),
    ("ammi-majus", Level.CARROT_FAMILY, "allium-cepa", 1.0),
    # The longevity class alone: no set in the family, or one that may not stand in.
    ("annual-candytuft", Level.CLASS, "allium-cepa", 1.0),
    ("tomato", Level.CLASS, "lactuca-sativa", 1.0),
    ("petunia", Level.CLASS, "lactuca-sativa", 1.0),
    ("tobacco", Level.CLASS, "lactuca-sativa", 1.0),
    ("eggplant", Level.CLASS, "lactuca-sativa", 1.0),
    ("cucumber", Level.CLASS, "gossypium-hirsutum", 1.0),
    ("okra", Level.CLASS, "gossypium-hirsutum", 1.0),
    ("quinoa", Level.CLASS, "lactuca-sativa", 1.0),
    ("snapdragon", Level.CLASS, "allium-cepa", 1.0),
    ("delphinium", Level.CLASS, "allium-cepa", 1.0),
    ("larkspur", Level.CLASS, "allium-cepa", 1.0),
    ("pansy", Level.CLASS, "allium-cepa", 1 / 3),
    ("impatiens", Level.CLASS, "allium-cepa", 1 / 3),
    ("lisianthus", Level.CLASS, "allium-cepa", 1 / 3),
    ("nasturtium", Level.CLASS, "gossypium-hirsutum", 1.0),
    ("borage", Level.CLASS, "lactuca-sativa", 1.0),
    ("black-cumin", Level.CLASS, "allium-cepa", 1.0),
    ("other", Level.CLASS, "lactuca-sativa", 1.0),
]


@pytest.mark.parametrize(("key", "level", "constants", "scale"), CASES)
def test_the_rule(key: str, level: Level, constants: str, scale: float) -> None:
    """Own species before genus before family before class, with the exceptions of the rule."""
    basis = basis_for(kind(key))
    assert (basis.level, basis.constants.key) == (level, constants)
    assert basis.sigma_scale == scale
    assert basis.factor == FACTORS[level]


def test_the_factors_are_the_published_rule() -> None:
    """95 % factors each way as the rule prints them."""
    expected: Mapping[Level, float] = {
        Level.OWN: 4,
        Level.GENUS: 4,
        Level.FAMILY: 5,
        Level.GRASSES: 4,
        Level.CARROT_FAMILY: 8,
        Level.CLASS: 6,
    }
    assert expected == FACTORS


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "times"),
    [
        (5.0, 20.0, 1.0),
        (20.0, 50.0, 1.0),
        (4.9, 30.0, 2.0),
        (-18.0, 30.0, 2.0),
        (20.0, 19.9, 1.5),
        (-18.0, 15.0, 3.0),
    ],
)
def test_factors_widen_in_cold_and_dry(temp_c: float, rh_pct: float, times: float) -> None:
    """The factor doubles below 5 °C and grows by half below 20 % humidity, not at the limits."""
    assert factor_at(basis_for(kind("onion")), temp_c, rh_pct) == pytest.approx(4.0 * times)


def test_constants_travel_with_their_own_isotherm() -> None:
    """A bean on cowpea's constants takes cowpea's oil, an oat on barley's barley's isotherm."""
    assert seed_model_for(kind("garden-bean")).key == "vigna-unguiculata/oil2/large"
    assert seed_model_for(kind("oat")).key == "hordeum-vulgare/d245-barley/small"
    basis = basis_for(kind("garden-bean"))
    assert basis.oil_fraction_dry == 0.02
    assert basis_for(kind("oat")).oil_fraction_dry is None


def test_every_seed_has_a_basis_whose_model_comes_back() -> None:
    """Each kind of seed gets usable constants, and a model that its key makes again."""
    first = {each.key for each in all_constants() if each.use == "first"}
    for each in SEED:
        basis = basis_for(each)
        assert basis.constants.key in first, each.key
        assert basis.source
        assert basis.status in {"read", "memory"}
        assert model_for(model_on(basis, each).key) == seed_model_for(each)


def test_what_is_no_dry_seed_has_none() -> None:
    """Recalcitrant and intermediate seed and storage organs are refused, with the reason."""
    for each in kinds().values():
        if each not in SEED:
            with pytest.raises(NoLifeModelError, match=each.common):
                basis_for(each)


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("borage", "published but not used"),
        ("black-cumin", "published but not used"),
        ("lettuce", "multiplied by 0.4"),
        ("carrot", "low side"),
        ("quinoa", "must not stand in"),
        ("snapdragon", "test of your own"),
        ("heliotrope", "Assumed medium"),
        ("larkspur", "No storage trial"),
        ("cosmos", "No storage trial"),
    ],
)
def test_notes_say_what_is_doubtful(key: str, words: str) -> None:
    """Doubts about a choice stand in its notes."""
    assert words in " ".join(basis_for(kind(key)).notes)


def test_words_say_whose_constants() -> None:
    """The words name the seed whose constants are used, and how near it is."""
    assert basis_for(kind("leek")).words == "constants of onion, same genus"
    assert basis_for(kind("sweet-corn")).words == "its own constants, published"
    assert basis_for(kind("onion")).words == "its own constants, published, recalled here"
    assert "how long it keeps" in basis_for(kind("pansy")).words


CLASS_EXAMPLES = {
    Longevity.VERY_SHORT: "pansy",
    Longevity.SHORT: "snapdragon",
    Longevity.MEDIUM: "tomato",
    Longevity.LONG: "nasturtium",
}


def years_a_probit(key: str, rh_pct: float, temp_c: float) -> float:
    """Time a kind takes to lose one probit [years]."""
    model = seed_model_for(kind(key))
    moisture = equilibrium_mc_dry_pct(model, rh_pct, temp_c)
    return 1.0 / loss_rate_per_day(model, moisture, temp_c) / DAYS_A_YEAR


@pytest.mark.parametrize("temp_c", [0.0, 5.0, 15.0, 25.0])
@pytest.mark.parametrize("rh_pct", [15.0, 25.0, 35.0, 50.0, 65.0])
def test_classes_are_in_order_at_equal_humidity(rh_pct: float, temp_c: float) -> None:
    """At equal humidity longer classes live longer, in every climate of a seed box."""
    years = [years_a_probit(key, rh_pct, temp_c) for key in CLASS_EXAMPLES.values()]
    assert years == sorted(set(years))


@pytest.mark.parametrize(
    ("longevity", "half_life"),
    # Half-life of a 98 % lot at 50 % humidity and 20 °C, years, computed apart from the project.
    [(Longevity.SHORT, 2.5), (Longevity.MEDIUM, 3.9), (Longevity.LONG, 9.2)],
)
def test_classes_match_packet_years(longevity: Longevity, half_life: float) -> None:
    """Half-lives of the class surrogates are near the years on packet tables (1-2, 3-4, 5+)."""
    years = 2.054 * years_a_probit(CLASS_EXAMPLES[longevity], 50.0, 20.0)
    assert years == pytest.approx(half_life, abs=0.15)


def test_relatives_outside_the_table_follow_the_same_rule() -> None:
    """Alpine species of the published trials stand on family and class like any kind."""
    rampion = basis_for(unlisted_kind("Phyteuma orbiculare", "rampion", "Campanulaceae"))
    assert (rampion.level, rampion.sigma_scale) == (Level.CLASS, 1 / 3)
    fescue = basis_for(unlisted_kind("Festuca glacialis", "fescue", "Poaceae"))
    assert (fescue.level, fescue.constants.key) == (Level.GRASSES, "triticum-aestivum")
