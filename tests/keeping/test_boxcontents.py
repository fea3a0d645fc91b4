"""What is counted as seed of a box, worked by hand."""

import pytest

from hilum.domain.model import Box, BoxType, Lot, Stay, Wrap
from hilum.keeping.desiccant.boxcontents import box_seed
from hilum.science.kinds import kind
from hilum.stores.memory import MemoryStore

DAY_MS = 86_400_000
NOW_MS = 100 * DAY_MS


def box_of(*lots: tuple[Lot, Wrap, int, int | None]) -> MemoryStore:
    """A tub with lots: wrap, day they came and day they left."""
    store = MemoryStore()
    store.save_box(Box("tub", "Tub", BoxType.TUB))
    store.save_lots([lot for lot, *_ in lots])
    for lot, wrap, came, left in lots:
        until = None if left is None else left * DAY_MS
        store.add_stay(Stay(0, lot.code, "tub", wrap, came * DAY_MS, until))
    return store


def test_seed_counts_as_oil_free_dry_matter_by_its_lag() -> None:
    """100 g of onion and 50 g of pea in paper: 92 % dry, 23.5 and 2 % oil, 4 and 16 days.

    Oil and lags are those of the tables (onion read; pea recalled; lags derived).
    """
    store = box_of(
        (Lot("A", "onion", grams=100.0), Wrap.PAPER, 1, None),
        (Lot("B", "pea", grams=50.0), Wrap.PAPER, 1, None),
    )
    seed = box_seed(store, "tub", NOW_MS, 50 * DAY_MS)
    shares = {share.tau_days: share.oil_free_g for share in seed.shares}
    assert shares == pytest.approx({4.0: 92.0 * 0.765, 16.0: 46.0 * 0.98})
    assert (seed.grams, seed.assumed_g, seed.changed_ms) == (150.0, 0.0, None)


def test_seeds_are_weighed_by_their_number_and_else_by_a_usual_packet() -> None:
    """1,000 onion seeds by the weight of a thousand; a packet of nothing noted weighs 2 g."""
    counted = kind("onion").tsw_g
    assert counted is not None
    store = box_of(
        (Lot("A", "onion", seeds=1000.0), Wrap.PAPER, 1, None),
        (Lot("B", "onion"), Wrap.PAPER, 1, None),
        (Lot("C", "pea"), Wrap.PAPER, 1, None),
    )
    seed = box_seed(store, "tub", NOW_MS, 50 * DAY_MS)
    assert seed.grams == pytest.approx(counted.value + 2.0 + 20.0)
    assert seed.assumed_g == pytest.approx(22.0)


def test_sealed_seed_and_seed_that_left_do_not_count() -> None:
    """Foil and jars exchange no water; what has gone holds none."""
    store = box_of(
        (Lot("A", "onion", grams=10.0), Wrap.FOIL, 1, None),
        (Lot("B", "onion", grams=10.0), Wrap.JAR, 1, None),
        (Lot("C", "onion", grams=10.0), Wrap.PAPER, 1, 5),
        (Lot("D", "onion", grams=10.0), Wrap.PAPER, 101, None),
        (Lot("E", "onion", grams=10.0), Wrap.OPEN, 1, None),
    )
    seed = box_seed(store, "tub", NOW_MS, 50 * DAY_MS)
    assert seed.grams == 10.0
    assert [share.tau_days for share in seed.shares] == [1.0]


@pytest.mark.parametrize(("grams", "great"), [(19.0, False), (26.0, True)])
def test_a_fifth_of_the_seed_is_a_great_change(grams: float, *, great: bool) -> None:
    """What comes on day 90 is great when it is more than a fifth of what then lies there."""
    store = box_of(
        (Lot("A", "onion", grams=100.0), Wrap.PAPER, 1, None),
        (Lot("B", "onion", grams=grams), Wrap.PAPER, 90, None),
    )
    seed = box_seed(store, "tub", NOW_MS, 50 * DAY_MS)
    assert seed.changed_ms == (91 * DAY_MS if great else None)
    assert box_seed(store, "tub", NOW_MS, 5 * DAY_MS).changed_ms is None


def test_a_kind_that_is_in_no_table_counts_like_any_other_seed() -> None:
    """A box from another version of the table: its seed is weighed, nothing fails."""
    store = box_of((Lot("A", "no-such-kind", grams=40.0), Wrap.PAPER, 1, None))
    seed = box_seed(store, "tub", NOW_MS, 50 * DAY_MS)
    oil = kind("other").oil_pct.value / 100.0
    assert seed.grams == 40.0
    assert seed.shares[0].oil_free_g == pytest.approx(40.0 * 0.92 * (1.0 - oil))
