"""Curves and their rows: what every store must do with them."""

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np
import pytest

from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.domain.model import MS_PER_HOUR, Arrival, CurveKey, LedgerRows, Wrap
from hilum.domain.ports import Store

SHARED = CurveKey("tub", "zea-mays/oil5/large", Wrap.PAPER)
START_UP = CurveKey("tub", "zea-mays/oil5/large", Wrap.PAPER, 7, 8.25)
UNKNOWN = CurveKey("tub", "other", Wrap.PAPER)


def rows(hours: Sequence[int], scale: float = 1.0) -> LedgerRows:
    """Rows for these hours with numbers that tell every column and row apart."""
    hour = np.array(hours, dtype=np.int64)
    numbers = [hour * scale / 7 + column for column in range(9)]
    return LedgerRows(hour, hour * MS_PER_HOUR + 5, *numbers)


def same(found: LedgerRows, expected: LedgerRows) -> bool:
    """Tell whether two sets of rows agree in every bit and in the kinds of their columns."""
    pairs = [(getattr(found, f.name), getattr(expected, f.name)) for f in fields(LedgerRows)]
    return all(a.tobytes() == b.tobytes() and a.dtype == b.dtype for a, b in pairs)


def test_curves_are_known_once(furnished: Store) -> None:
    """Curves are listed as added, of one box or of all; adding again changes nothing."""
    jar = replace(SHARED, box="jar", wrap=Wrap.FOIL)
    furnished.add_curves([SHARED, START_UP, SHARED])
    furnished.replace_rows([(SHARED, 0, rows([1, 2]))])
    furnished.add_curves([jar, SHARED])
    assert furnished.curves() == [SHARED, START_UP, jar]
    assert furnished.curves("jar") == [jar]
    assert len(furnished.rows(SHARED)) == 2


def test_curve_needs_its_box(furnished: Store) -> None:
    """A curve of an unknown box is refused, and so is the list it came in."""
    with pytest.raises(NotFoundError, match="no box “attic”"):
        furnished.add_curves([SHARED, replace(SHARED, box="attic")])
    assert furnished.curves() == []


def test_rows_come_back_to_the_last_bit(furnished: Store) -> None:
    """Rows come back as handed in: NaN where nothing was reported, the sign of zero included."""
    odd = rows([1, 5, 6])
    odd.rh_pct[1] = np.nan
    odd.temp_c[0] = -0.0
    furnished.add_curves([SHARED])
    furnished.replace_rows([(SHARED, 0, odd)])
    assert same(furnished.rows(SHARED), odd)
    assert furnished.rows(SHARED, 2, 6).hour.tolist() == [5]
    assert furnished.rows(SHARED, 5).hour.tolist() == [5, 6]
    assert same(furnished.rows(UNKNOWN), rows([]))


def test_replace_rows_leaves_what_lies_before(furnished: Store) -> None:
    """New rows take the place of all from their hour on, each curve for itself."""
    furnished.add_curves([SHARED, START_UP])
    furnished.replace_rows([(SHARED, 0, rows([1, 2, 3, 4])), (START_UP, 0, rows([1, 2]))])
    furnished.replace_rows([(SHARED, 3, rows([5], scale=2.0)), (START_UP, 2, rows([]))])
    assert furnished.rows(SHARED).hour.tolist() == [1, 2, 5]
    assert same(furnished.rows(SHARED, 5), rows([5], scale=2.0))
    assert furnished.rows(START_UP).hour.tolist() == [1]


def test_replace_rows_changes_all_curves_or_none(furnished: Store) -> None:
    """When one curve is unknown or one set of rows out of order, nothing changes."""
    furnished.add_curves([SHARED])
    furnished.replace_rows([(SHARED, 0, rows([1, 2]))])
    with pytest.raises(NotFoundError, match="no curve “other in paper, box tub”"):
        furnished.replace_rows([(SHARED, 0, rows([9])), (UNKNOWN, 0, rows([1]))])
    for late in (rows([3, 3]), rows([4, 3]), rows([2, 3])):
        with pytest.raises(InvalidInputError, match="in order of time"):
            furnished.replace_rows([(SHARED, 0, rows([9])), (SHARED, 3, late)])
    assert furnished.rows(SHARED).hour.tolist() == [1, 2]


def test_rows_at_gives_the_rows_around_times(furnished: Store) -> None:
    """The last row up to a time and the next one; only one of them at either end."""
    furnished.add_curves([SHARED])
    furnished.replace_rows([(SHARED, 0, rows([1, 2, 5]))])
    at = {
        0: [1],
        MS_PER_HOUR + 4: [1],
        MS_PER_HOUR + 5: [1, 2],
        2 * MS_PER_HOUR + 4: [1, 2],
        2 * MS_PER_HOUR + 5: [2, 5],
        4 * MS_PER_HOUR: [2, 5],
        5 * MS_PER_HOUR + 4: [2, 5],
        5 * MS_PER_HOUR + 5: [5],
        99 * MS_PER_HOUR: [5],
    }
    place, found = furnished.rows_at([(SHARED, time_ms) for time_ms in at])
    assert {time: found.hour[place == i].tolist() for i, time in enumerate(at)} == at
    assert same(furnished.rows_at([(SHARED, MS_PER_HOUR + 5)])[1], rows([1, 2]))
    place, found = furnished.rows_at([(UNKNOWN, 0), (SHARED, 0), (UNKNOWN, 9)])
    assert (place.tolist(), found.hour.tolist()) == ([1], [1])
    assert [len(each) for each in furnished.rows_at([])] == [0, 0]


def test_drop_curves_forgets_their_rows(furnished: Store) -> None:
    """A dropped curve is gone with its rows; others and unknown ones are not touched."""
    furnished.add_curves([SHARED, START_UP])
    furnished.replace_rows([(SHARED, 0, rows([1])), (START_UP, 0, rows([1]))])
    furnished.drop_curves([SHARED, UNKNOWN])
    assert furnished.curves() == [START_UP]
    assert len(furnished.rows(SHARED)) == 0
    furnished.add_curves([SHARED])
    assert len(furnished.rows(SHARED)) == 0
    assert len(furnished.rows(START_UP)) == 1


def test_mark_dirty_needs_a_known_sensor(furnished: Store) -> None:
    """Asking to recompute a sensor nobody knows is an error in words."""
    with pytest.raises(NotFoundError, match="no sensor “home/none”"):
        furnished.mark_dirty("home/none", 0)


def test_arrivals_make_known_and_mark(furnished: Store) -> None:
    """What another process stored registers its sensors, says when they spoke, and marks them."""
    furnished.arrived([])
    assert furnished.dirty() == []
    furnished.arrived(
        [Arrival("home/new", 90, 100), Arrival("home/one", 50, 100), Arrival("home/new", 80, 200)]
    )
    assert {mark.sensor: mark.from_ms for mark in furnished.dirty()} == {
        "home/new": 80,
        "home/one": 50,
    }
    assert furnished.sensor("home/new").last_seen_ms == 200
    assert furnished.sensor("home/one").last_seen_ms == 100


def test_what_may_have_been_missed_marks_everything(furnished: Store) -> None:
    """Where arrivals may have gone unheard everything is computed anew, and only there."""
    furnished.hears("home")
    assert {mark.from_ms for mark in furnished.dirty()} == {0}
    assert len(furnished.dirty()) == 2
    furnished.clear_dirty(furnished.dirty())
    furnished.hears("home")
    assert furnished.dirty() == []
    furnished.may_miss()
    furnished.may_miss()
    assert furnished.dirty() == []
    furnished.hears("home")
    assert len(furnished.dirty()) == 2


def test_revision_goes_on_with_the_past_alone(furnished: Store) -> None:
    """New rows at the end of a curve are no new revision; rows of the past are one."""
    furnished.add_curves([SHARED])
    furnished.replace_rows([(SHARED, 0, rows([1, 2]))])
    before = furnished.revision()
    furnished.replace_rows([(SHARED, 2, rows([2, 3], 2.0))])
    assert furnished.revision() == before
    furnished.replace_rows([(SHARED, 1, rows([1, 2], 3.0))])
    late = furnished.revision()
    assert late != before
    furnished.replace_rows([(SHARED, 4, rows([4, 5, 6]))])
    assert furnished.revision() != late
