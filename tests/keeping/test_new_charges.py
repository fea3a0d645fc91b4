"""Desiccant that just went in: judged by what it held and by how the box was before."""

import pytest

from hilum.keeping.care.boxcare import note_swap
from hilum.keeping.desiccant.desiccant_watch import WatchState, desiccant_outlook
from hilum.simulate.box import Swap
from keeping.random_boxes import since
from keeping.test_desiccant_watch import lived
from keeping.watched import day_ms, note_charge, put_lots, watched_box


@pytest.mark.parametrize("load_pct", [2.0, 12.0])
def test_a_new_charge_is_judged_by_what_it_held(load_pct: float) -> None:
    """Five days after a swap the date is told by the days before and the load that was noted.

    The simulated charge held as much; believed fresh, gel that is half used up is told far too
    late. What was noted is read from the journal as the form writes it.
    """
    swap = Swap(day_ms(100.5), load_pct / 100.0)
    truth, air = lived(days=500, seed=5, events=(swap,))
    passes = since(truth, day_ms(103)).passes_ms(35.0)
    assert passes is not None
    told = {}
    for noted in (load_pct, None):
        store = watched_box(truth, air)
        note_charge(store, day_ms(-40.0), 150.0)
        put_lots(store, (326.0,))
        note_swap(
            store, "tub", "silica-gel", 150.0, "", load_pct=noted,
            at_ms=day_ms(100.5), now_ms=day_ms(101),
        )  # fmt: skip
        told[noted] = desiccant_outlook(store, "tub", day_ms(105.5))
        assert told[noted].state is WatchState.SETTLING
    found = told[load_pct]
    assert found.due_ms is not None
    assert found.due_low_ms is not None
    assert found.due_low_ms <= passes
    assert found.due_high_ms is None or passes <= found.due_high_ms
    assert found.due_ms - day_ms(100) == pytest.approx(passes - day_ms(100), rel=0.35)
    assert "By how the box was before, fresh desiccant is due" in found.words
    assert any("it can take up about" in note for note in found.notes)
    if load_pct > 2.0:
        fresh = told[None].due_ms
        assert fresh is not None
        assert fresh - day_ms(100) > 1.25 * (passes - day_ms(100))


def test_a_charge_that_is_full_when_it_goes_in_is_due_at_once() -> None:
    """Gel with 25 g per 100 g holds more than it can at 35 %: it dries nothing, as is said."""
    truth, air = lived(days=120)
    store = watched_box(truth, air)
    note_charge(store, day_ms(-40.0), 150.0)
    put_lots(store, (326.0,))
    note_swap(
        store, "tub", "silica-gel", 150.0, "", load_pct=25.0, dried_ms=day_ms(10),
        at_ms=day_ms(100), now_ms=day_ms(100),
    )  # fmt: skip
    found = desiccant_outlook(store, "tub", day_ms(102))
    assert found.charge is not None
    assert (found.charge.initial_load_pct, found.charge.regenerated_ms) == (25.0, day_ms(10))
    assert any("it dries nothing" in note for note in found.notes)
    assert found.is_due()


def test_gel_dried_long_before_it_went_in_is_doubted() -> None:
    """Noted as fresh but dried three months ago: unless it stood airtight it held more."""
    truth, air = lived()
    store = watched_box(truth, air)
    note_swap(
        store, "tub", "silica-gel", 150.0, "", dried_ms=day_ms(10),
        at_ms=day_ms(100), now_ms=day_ms(100),
    )  # fmt: skip
    found = desiccant_outlook(store, "tub", day_ms(102))
    assert any(note.startswith("It was dried 3 months before it went in") for note in found.notes)
