"""Treated, pelleted and primed lots: what is said, asked for and no longer worked out."""

from dataclasses import replace

from hilum.domain.model import GerminationTest, PlanLine
from hilum.keeping.desiccant.boxcontents import lot_grams
from hilum.keeping.lots.outlook import lot_outlook
from hilum.keeping.lots.usefirst import Group, use_first
from hilum.keeping.seasons.seasonlots import hand_of
from hilum.science.kinds import PELLETED_SEED, PRIMED_SEED, kind
from keeping.shelves import NOW_MS, TODAY, answered, lot, shelf_of


def test_primed_seed_is_to_be_tested_though_its_figure_is_good() -> None:
    """The equation speaks of seed as it was harvested (Tarquis & Bradford 1992, recalled)."""
    plain = lot("A", "tomato", pct=95.0, prior_temp_c=5.0, prior_rh_pct=25.0)
    primed = replace(plain, code="B", primed=True)
    by_code = {each.lot.code: each for each in use_first(shelf_of(plain, primed), NOW_MS)}
    assert by_code["A"].group is Group.KEEP
    assert by_code["B"].group is Group.TEST
    assert by_code["B"].now == by_code["A"].now
    assert "primed" in by_code["B"].words
    tested = shelf_of(primed, tests=(GerminationTest(0, "B", TODAY, 50, 47),))
    assert use_first(tested, NOW_MS)[0].group is Group.KEEP


def test_it_is_said_beside_every_figure() -> None:
    """Lot page, order of use and season carry it; a pellet alone says that it may be primed."""
    store = shelf_of(lot("A", primed=True, pelleted=True), lot("B", pelleted=True), lot("C"))
    assert PRIMED_SEED.value in lot_outlook(store, "A", NOW_MS).notes
    assert PELLETED_SEED.value not in lot_outlook(store, "A", NOW_MS).notes
    assert PELLETED_SEED.value in lot_outlook(store, "B", NOW_MS).notes
    assert not {PRIMED_SEED.value, PELLETED_SEED.value} & set(lot_outlook(store, "C", NOW_MS).notes)
    lots = {each.lot.code: each for each in answered(store, PlanLine("onion", 20)).lines[0].lots}
    assert lots["A"].words.endswith("test it before you rely on it.")
    assert "primed" not in lots["C"].words


def test_pellets_are_not_counted_by_the_weight_of_seed() -> None:
    """8 g of onion seed are thousands; of pellets nobody knows, unless they were counted."""
    onion = kind("onion")
    assert hand_of(lot("A", grams=8.0, pelleted=True), onion).seeds is None
    assert hand_of(lot("A", grams=8.0, seeds=100, pelleted=True), onion).seeds == 100
    assert (hand_of(lot("A", grams=8.0), onion).seeds or 0) > 1000
    assert lot_grams(lot("A", grams=80.0), onion) == (80.0, False)
    assert lot_grams(lot("A", grams=80.0, pelleted=True), onion)[1]
