"""Names of seed as people type them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hilum.science.errors import AmbiguousNameError, UnknownNameError
from hilum.science.kinds import find_kind, kinds
from hilum.science.names import slip_count

# What is typed, and the key it stands for.
TYPED = {
    "onion": "onion",
    "Onions": "onion",
    " ONION  seed": "onion",
    "Allium cepa": "onion",
    "leeks": "leek",
    "Allium porrum": "leek",
    "beet": "beet",
    "beetroot": "beet",
    "Swiss chard": "swiss-chard",
    "silverbeet": "swiss-chard",
    "aubergine": "eggplant",
    "eggplants": "eggplant",
    "courgette": "summer-squash",
    "zucchini": "summer-squash",
    "rutabaga": "swede",
    "arugula": "rocket",
    "cilantro": "coriander",
    "scallions": "welsh-onion",
    "French beans": "garden-bean",
    "bean, garden": "garden-bean",
    "common bean": "garden-bean",
    "fava beans": "broad-bean",
    "faba bean": "broad-bean",
    "runner beans": "runner-bean",
    "soybean": "soybean",
    "edamame": "soybean",
    "sweetcorn": "sweet-corn",
    "sweet corn": "sweet-corn",
    "popcorn": "maize",
    "lamb's lettuce": "corn-salad",
    "lambs lettuce": "corn-salad",
    "brussel sprouts": "brussels-sprouts",
    "pak-choi": "pak-choi",
    "bok choy": "pak-choi",
    "tomatoes": "tomato",
    "Lycopersicon esculentum": "tomato",
    "peppers": "pepper",
    "chilli": "pepper",
    "cucumbers": "cucumber",
    "radishes": "radish",
    "peas": "pea",
    "sweet pea": "sweet-pea",
    "Sweetpeas": "sweet-pea",
    "Lathyrus odoratus": "sweet-pea",
    "antirrhinum": "snapdragon",
    "snap-dragons": "snapdragon",
    "larkspur": "larkspur",
    "Delphinium ajacis": "larkspur",
    "love in a mist": "love-in-a-mist",
    "nigella": "love-in-a-mist",
    "bluebottle": "cornflower",
    "lady’s fingers": "okra",
    "Centaurea cyanus": "cornflower",
    "helichrysum": "strawflower",
    "false Queen Anne's lace": "ammi-majus",
    "gladioli": "gladiolus-corm",
    "dahlia tubers": "dahlia-tuber",
    "Dahlia": "dahlia",
    "pansies": "pansy",
    "four o'clocks": "four-oclock",
    "Viola × wittrockiana": "pansy",
    "Brassica oleracea var. capitata": "cabbage",
    "marigolds": "marigold",
    "tagetes": "marigold",
    "pot marigold": "calendula",
    "geum": "geum",
    # Small slips.
    "letuce": "lettuce",
    "brocolli": "broccoli",
    "cauliflour": "cauliflower",
    "tomatoe": "tomato",
    "zinna": "zinnia",
    "snapdargon": "snapdragon",
    "calendular": "calendula",
    "delphinum": "delphinium",
    "scabiossa": "scabiosa",
    "celosa": "celosia",
    "larkspurr": "larkspur",
    "Latuca sativa": "lettuce",
    "strawflowr": "strawflower",
}
SLIPS = list(TYPED)[list(TYPED).index("letuce") :]

# What is typed, and some of the kinds that must be offered.
AMBIGUOUS = {
    "bean": {"Garden bean", "Broad bean", "Runner bean"},
    "cress": {"Garden cress", "Land cress", "Watercress"},
    "corn": {"Sweet corn", "Maize"},
    "squash": {"Summer squash", "Winter squash", "Butternut squash"},
    "aster": {"China aster", "Michaelmas daisy"},
    "daisy": {"Shasta daisy", "English daisy"},
    "poppy": {"California poppy", "Corn poppy", "Opium poppy"},
    "geranium": {"Zonal pelargonium", "Cranesbill"},
    "salvia": {"Scarlet sage", "Mealycup sage"},
    "phlox": {"Annual phlox", "Garden phlox"},
    "clover": {"Red clover", "White clover"},
    "fennel": {"Florence fennel", "Herb fennel"},
    "begonia": {"Wax begonia", "Tuberous begonia"},
    "Brassica oleracea": {"Cabbage", "Kale", "Broccoli"},
    "Dianthus": {"Carnation", "Sweet William"},
    "bachelor's buttons": {"Cornflower", "Globe amaranth"},
    "gherkin": {"Cucumber", "West India gherkin"},
}


@pytest.mark.parametrize(("typed", "key"), TYPED.items())
def test_names_are_understood(typed: str, key: str) -> None:
    """Case, plural, spelling on either side of the Atlantic and small slips do not matter."""
    match = find_kind(typed)
    assert match.kind.key == key
    assert match.kind.botanical in match.took


@pytest.mark.parametrize("typed", SLIPS)
def test_a_forgiven_slip_is_said(typed: str) -> None:
    """Who made a slip is told what it was read as."""
    assert find_kind(typed).took.startswith(f"“{typed}” read as ")


@pytest.mark.parametrize(("typed", "offered"), AMBIGUOUS.items())
def test_ambiguous_names_are_asked_back(typed: str, offered: set[str]) -> None:
    """A name that fits several kinds is never guessed; they are offered."""
    with pytest.raises(AmbiguousNameError) as caught:
        find_kind(typed)
    assert offered <= set(caught.value.candidates)
    assert f"“{typed}”" in str(caught.value)


@pytest.mark.parametrize(
    ("typed", "nearest"),
    [("leak", "Leek"), ("little gem lettuce", "Lettuce"), ("swet pee", "Sweet pea")],
)
def test_unknown_names_offer_the_nearest(typed: str, nearest: str) -> None:
    """A name too far from any other, or too short to be sure of, only brings up what is near."""
    with pytest.raises(UnknownNameError) as caught:
        find_kind(typed)
    assert nearest in caught.value.nearest


@pytest.mark.parametrize("typed", ["", "   ", "xyzzy plugh", "seed", "12345", "🌱"])
def test_nonsense_is_unknown(typed: str) -> None:
    """Empty and meaningless names are refused, not guessed."""
    with pytest.raises(UnknownNameError):
        find_kind(typed)


def candidates(name: str) -> tuple[str, ...]:
    """Common names of the kinds a name is taken for, one or several."""
    try:
        return (find_kind(name).kind.common,)
    except AmbiguousNameError as error:
        return error.candidates


def test_every_kind_is_found_by_its_key_and_common_name() -> None:
    """Key and common name lead to the kind itself, so that an export can be read again."""
    for key, each in kinds().items():
        assert find_kind(key).kind == each
        assert find_kind(each.common).kind == each


def test_synonyms_lead_to_their_kind() -> None:
    """A synonym finds its kind, or it and others, or a kind that has it as its common name."""
    commons = {each.common.casefold() for each in kinds().values()}
    lost = [
        (name, each.common)
        for each in kinds().values()
        for name in each.synonyms
        if each.common not in candidates(name) and name.casefold() not in commons
    ]
    assert lost == []


@pytest.mark.parametrize(
    ("one", "other", "slips"),
    [
        ("lettuce", "lettuce", 0),
        ("letuce", "lettuce", 1),
        ("lettcue", "lettuce", 1),
        ("lettice", "lettuce", 1),
        ("lettuces", "lettuce", 1),
        ("ca", "abc", 3),
    ],
)
def test_slips_are_counted(one: str, other: str, slips: int) -> None:
    """A letter missing, wrong, extra or swapped with its neighbour is one slip.

    “ca” to “abc” is 3 by optimal string alignment (2 only if a swapped pair may be edited again).
    """
    assert slip_count(one, other, limit=4) == slips


@given(st.text("abc", max_size=6), st.text("abc", max_size=6), st.integers(0, 3))
def test_counting_slips_is_symmetric_and_limited(one: str, other: str, limit: int) -> None:
    """The count does not depend on the order, is 0 for equal words only, and stops at its limit."""
    count = slip_count(one, other, limit)
    assert count == slip_count(other, one, limit) <= limit + 1
    assert (count == 0) == (one == other)
