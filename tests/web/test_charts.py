"""Envelopes, scales and paths."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hilum.domain.model import Floats
from hilum.keeping.overview import History, Tier
from hilum.web.views.charts import area_path, bounds, decimate, line_path, scale


def raw_history(time_ms: Floats, erh_pct: Floats, step_ms: int = 1000) -> History:
    """A history of raw readings at one temperature."""
    same = np.full(len(time_ms), 20.0)
    return History(
        Tier.RAW,
        step_ms,
        time_ms.astype(np.int64),
        same,
        same,
        same,
        erh_pct,
        erh_pct,
        erh_pct,
        same,
        same,
    )


def test_the_envelope_keeps_a_single_spike() -> None:
    """One reading in ten thousand still shows as the highest value of its pixel."""
    erh = np.full(10_000, 30.0)
    erh[6543] = 88.0
    found = decimate(raw_history(np.arange(10_000.0), erh), 0, 10_000, 100)
    assert len(found) == 100
    assert found.erh_hi[65] == 88.0
    assert found.erh_lo[65] == 30.0
    assert found.erh_mid[65] == pytest.approx(30.58)  # (99 · 30 + 88) / 100


@given(
    st.lists(st.integers(0, 50_000), min_size=1, max_size=300, unique=True),
    st.integers(1, 80),
)
def test_the_envelope_loses_no_extreme(times: list[int], buckets: int) -> None:
    """Whatever the readings, lowest and highest stay, rows keep their order and are few."""
    time_ms = np.sort(np.array(times, float))
    erh = np.cos(time_ms) * 40 + 50
    found = decimate(raw_history(time_ms, erh), 0, 50_000, buckets)
    assert bounds(found.erh_lo, found.erh_hi) == (erh.min(), erh.max())
    assert (np.diff(found.time_ms) >= 0).all()
    assert np.count_nonzero(~np.isnan(found.erh_mid)) <= buckets


def test_a_gap_becomes_a_row_of_nothing() -> None:
    """Between two readings further apart than the limit stands a row without values."""
    found = decimate(raw_history(np.array([0.0, 500, 5000]), np.array([1.0, 2, 3])), 0, 5001, 5001)
    assert list(found.time_ms) == [0, 500, 2750, 5000]
    assert np.isnan(found.erh_mid).tolist() == [False, False, True, False]


def test_a_value_that_was_not_reported_hides_no_other() -> None:
    """A bucket is empty only where every reading in it is."""
    found = decimate(
        raw_history(np.array([0.0, 1, 2, 3]), np.array([np.nan, 5, np.nan, np.nan])), 0, 4, 2
    )
    assert (found.erh_lo[0], found.erh_mid[0], found.erh_hi[0]) == (5, 5, 5)
    assert np.isnan(found.erh_mid[1])


def test_an_empty_history_has_no_rows() -> None:
    """Nothing in, nothing out."""
    assert len(decimate(raw_history(np.empty(0), np.empty(0)), 0, 10, 5)) == 0


@given(st.floats(-60, 100), st.floats(0, 100))
def test_a_scale_holds_its_values_with_round_ticks(low: float, span: float) -> None:
    """Both values lie within, ticks are few and evenly apart by 1, 2 or 5."""
    found = scale(low, low + span)
    assert found.low <= low + 1e-9
    assert found.high >= low + span - 1e-9
    assert 2 <= len(found.ticks) <= 5
    step = found.ticks[1] - found.ticks[0]
    assert f"{step:e}"[0] in "125"
    assert np.allclose(np.diff(found.ticks), step)
    assert found.height(found.high) == 0
    assert found.height(found.low) == 100


def test_a_line_is_broken_where_nothing_is_known() -> None:
    """A lone point between gaps still shows, as a dash."""
    y = np.array([1.0, 2.0, np.nan, 3.0, np.nan])
    assert line_path(np.arange(5.0), y) == "M0.0 1.00L1.0 2.00M3.0 3.00h1"


def test_an_area_goes_forth_along_the_top_and_back_along_the_bottom() -> None:
    """Each unbroken run is one closed shape."""
    low, high = np.array([0.0, 0.0, np.nan]), np.array([1.0, 2.0, 3.0])
    assert area_path(np.arange(3.0), low, high) == "M0.0 1.00L1.0 2.00L1.0 0.00L0.0 0.00Z"
