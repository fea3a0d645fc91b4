"""Other ways of keeping: years until the minimum, what is ruled out, what is said."""

from itertools import pairwise

import numpy as np
import pytest

from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import Box, BoxType, Stay, Wrap
from hilum.keeping.lots.ahead import evidence_then, losses_ahead, storage_named
from hilum.keeping.lots.compare import compare_box, compare_lot
from hilum.keeping.lots.outlook import lot_case
from hilum.science.freezing import Freezing
from hilum.science.posterior import posterior
from hilum.stores.memory import MemoryStore
from keeping.shelves import NOW_MS, lot, shelf_of


def test_at_the_years_named_half_the_doubt_is_below_the_minimum() -> None:
    """The chance of being below is 5, 50 and 95 % at the earliest, the middle and the latest."""
    store = shelf_of(lot("A", age_days=100, pct=95.0))
    case = lot_case(store, store.lot("A"), NOW_MS)
    found = compare_lot(store, "A", NOW_MS)
    shelf = next(choice for choice in found.choices if choice.storage.key == "shelf")
    years = [shelf.years_earliest, shelf.years_left, shelf.years_latest]
    for year, share in zip(years, (0.05, 0.5, 0.95), strict=True):
        assert year is not None
        ahead = losses_ahead(case, Wrap.OPEN, shelf.storage, np.array([year * 365.25]))
        evidence, loss = evidence_then(case, ahead, 0)
        below = posterior(evidence).prob_below(found.minimum_pct, loss)
        assert below == pytest.approx(share, abs=0.02)


def test_colder_and_drier_lasts_longer() -> None:
    """Freezer, fridge, shelf and a damp attic follow each other in every band and every year."""
    store = shelf_of(lot("A", age_days=10, pct=95.0, prior_rh_pct=30.0))
    found = compare_lot(store, "A", NOW_MS, storage_named("given", 28.0, 70.0))
    by_key = {choice.storage.key: choice for choice in found.choices}
    order = [by_key[key].band for key in ("freezer", "fridge", "shelf", "given")]
    medians = [np.asarray(band.median_pct) for band in order if band is not None]
    assert len(medians) == 4
    for better, worse in pairwise(medians):
        assert (better >= worse - 1e-6).all()
        assert better[4] > worse[4] + 1e-3
    starts = {round(float(median[0]), 6) for median in medians}
    assert len(starts) == 1
    assert by_key["given"].storage.words == "at 28 °C and 70 % humidity"


def test_staying_at_room_conditions_is_the_shelf() -> None:
    """A lot that lives at 20 °C and 50 % loses as on the shelf of the same air."""
    found = compare_lot(shelf_of(lot("A", age_days=100, pct=95.0)), "A", NOW_MS)
    stays, shelf = found.choices[:2]
    assert stays.years_left == pytest.approx(shelf.years_left, rel=0.01)


@pytest.mark.parametrize("kind", ["oak", "potato", "other", "coffee"])
def test_freezer_is_ruled_out(kind: str) -> None:
    """Seed that bears no drying, tubers and unknown kinds get no freezer, and the reason."""
    found = compare_lot(shelf_of(lot("A", kind)), "A", NOW_MS)
    freezer = next(choice for choice in found.choices if choice.storage.key == "freezer")
    assert found.freezing.verdict is Freezing.NEVER
    assert freezer.band is None
    assert "Never freeze it" in freezer.ruled_out


def test_moist_seed_is_warned_of_the_freezer() -> None:
    """Seed at 50 % humidity: the verdict about it as it is now, with the cautions."""
    found = compare_lot(shelf_of(lot("A", prior_rh_pct=40.0)), "A", NOW_MS)
    freezer = next(choice for choice in found.choices if choice.storage.key == "freezer")
    assert found.freezing.verdict is Freezing.FRIDGE
    assert "dry it further before freezing" in freezer.notes[0]
    assert any("water condenses" in note for note in freezer.notes)


def boxed() -> MemoryStore:
    """A box with three lots, one of them sealed in foil, and one lot elsewhere."""
    store = shelf_of(*(lot(code, age_days=50, pct=95.0) for code in "ABCD"))
    for slug in ("tub", "jar"):
        store.save_box(Box(slug, slug, BoxType.TUB))
    for code, box, wrap in (("A", "tub", "open"), ("B", "tub", "foil"), ("D", "jar", "open")):
        store.add_stay(Stay(0, code, box, Wrap(wrap), NOW_MS - 86_400_000))
    store.add_stay(Stay(0, "C", "tub", Wrap.PAPER, NOW_MS - 86_400_000))
    return store


def test_box_is_the_sum_of_its_lots() -> None:
    """The table counts, by way and year, the lots of this box still above their minimum."""
    store = boxed()
    found = compare_box(store, "tub", NOW_MS)
    assert [each.lot.code for each in found.lots] == ["A", "B", "C"]
    for at, _ in enumerate(found.storages):
        lefts = [each.choices[at].years_left for each in found.lots]
        for year, count in zip(found.years, found.above[at], strict=True):
            assert count == sum(left is None or left > year for left in lefts)
    one = compare_lot(store, "A", NOW_MS)
    assert one.choices[1].years_left == found.lots[0].choices[1].years_left
    sealed = found.lots[1].choices[1]
    assert "keeps the moisture it has" in sealed.notes[0]
    gel = found.storages[4]
    assert "holds 25 % humidity" in gel.words
    with pytest.raises(NotFoundError):
        compare_box(store, "chest", NOW_MS)


@pytest.mark.parametrize(
    ("temp", "rh"), [(None, 40.0), (10.0, None), (80.0, 40.0), (10.0, 120.0), (float("nan"), 40.0)]
)
def test_own_way_needs_both_numbers_in_range(temp: float | None, rh: float | None) -> None:
    """A temperature without humidity, or a number that cannot be, is refused."""
    with pytest.raises(InvalidInputError):
        storage_named("given", temp, rh)
    with pytest.raises(InvalidInputError, match="either"):
        storage_named("fridge", 10.0, 40.0)
