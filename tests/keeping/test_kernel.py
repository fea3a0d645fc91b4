"""The arithmetic of the ledger against plain loops, and what it rests on."""

import math
from dataclasses import replace

import numpy as np
import pytest

from hilum.domain.model import CurveKey, LedgerRows, Series, Wrap
from hilum.keeping.reckoning.chunk import chunk_of
from hilum.keeping.reckoning.ledger import Cursor, advance
from hilum.science.seedmodel import loss_rate_per_day, model_for
from keeping.plain import PlainRow, PlainSeed, plain_curve
from keeping.worlds import MAIZE, ONION, T0, Conditions, history

COLUMNS = {
    "mc_dry_pct": "mc",
    "loss_probit": "loss",
    "covered_s": "covered_s",
    "estimated_s": "estimated_s",
    "wet_s": "wet_s",
    "cold_probit": "cold",
    "dry_probit": "dry",
}


def series(readings: list[Conditions]) -> Series:
    """Readings as arrays."""
    time_ms, temp_c, rh_pct = zip(*readings, strict=True)
    return Series(np.array(time_ms, np.int64), np.array(temp_c), np.array(rh_pct))


def followed(key: CurveKey, readings: list[Conditions], gap_s: float) -> LedgerRows:
    """Rows of one curve that never joins another."""
    cursor = Cursor(key, None, gap_s / 86_400.0)
    advance(
        chunk_of([(series(readings), None)]),
        [[cursor]],
        lambda *_: (np.empty(0, np.int64), np.empty(0)),
    )
    change = cursor.take()
    assert change is not None
    return change[2]


def same(rows: LedgerRows, plain: list[PlainRow], tolerance: float) -> None:
    """Compare all columns."""
    assert rows.hour.tolist() == [row.hour for row in plain]
    for column, name in COLUMNS.items():
        expected = [getattr(row, name) for row in plain]
        np.testing.assert_allclose(
            getattr(rows, column), expected, rtol=tolerance, atol=1e-15, err_msg=column
        )


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    ("wrap", "tau_days"),
    # Time constants of the table of wraps, small seed.
    [(Wrap.OPEN, 1.0), (Wrap.PAPER, 4.0), (Wrap.POLY, 90.0)],
)
def test_shared_curve_matches_a_plain_loop(seed: int, wrap: Wrap, tau_days: float) -> None:
    """Every column agrees with loops over the published formulas, through gaps, frost and damp."""
    readings = history(seed, 3000)
    rows = followed(CurveKey("tub", ONION, wrap), readings, gap_s=6 * 3600)
    same(rows, plain_curve(PlainSeed(tau_days=tau_days), readings, 6 * 3600), 1e-9)
    assert rows.estimated_s[-1] > 0


def test_histories_reach_every_column() -> None:
    """The histories compared hold wet, cold and dry times, so that no column is idle."""
    keys = [
        CurveKey("tub", ONION, Wrap.OPEN),
        CurveKey("tub", ONION, Wrap.PAPER, T0, 3.0),
    ]
    rows = [followed(key, history(seed, 3000), 6 * 3600) for key in keys for seed in range(4)]
    for name in COLUMNS:
        assert max(getattr(each, name)[-1] for each in rows) > 0.0, name


@pytest.mark.parametrize("mc_dry_pct", [3.0, 9.0, 19.5])
def test_start_up_matches_a_plain_loop(mc_dry_pct: float) -> None:
    """Seed that arrives drier or wetter than the box starts from its own moisture."""
    readings = history(7, 2500)
    start_ms = readings[300][0] + 1234
    key = CurveKey("tub", ONION, Wrap.PAPER, start_ms, mc_dry_pct)
    plain = plain_curve(PlainSeed(), readings, 6 * 3600, (start_ms, mc_dry_pct))
    same(followed(key, readings, 6 * 3600), plain, 1e-9)


def test_sealed_seed_keeps_its_moisture() -> None:
    """In foil moisture never moves, while the loss follows the temperature of the box."""
    readings = [(T0 - T0 % 3_600_000, 20.0, 50.0), *history(3, 2500)]
    rows = followed(CurveKey("tub", ONION, Wrap.FOIL, None, 6.25), readings, 6 * 3600)
    assert set(rows.mc_dry_pct.tolist()) == {6.25}
    sealed = PlainSeed(tau_days=math.inf)
    same(rows, plain_curve(sealed, readings, 6 * 3600, (readings[0][0], 6.25)), 1e-9)


def test_isotherm_of_its_own_is_followed_too() -> None:
    """A model with a D245 isotherm starts in balance by that isotherm and loses at its own rate."""
    readings = [(T0 + 60_000 * i, 20.0, 50.0) for i in range(600)]
    rows = followed(CurveKey("box", MAIZE, Wrap.OPEN), readings, 6 * 3600)
    # Modified Oswin or Henderson, ASAE D245.5, maize at 20 °C and 50 %: 11.1 to 11.9 % wet basis.
    wet_basis = 100.0 * rows.mc_dry_pct / (100.0 + rows.mc_dry_pct)
    assert ((wet_basis > 11.0) & (wet_basis < 12.0)).all()
    days = rows.covered_s[-1] / 86_400.0
    rate = loss_rate_per_day(model_for(MAIZE), float(rows.mc_dry_pct[0]), 20.0)
    assert rows.loss_probit[-1] == pytest.approx(rate * days, rel=1e-9)


@pytest.mark.parametrize("worse_first", [True, False])
def test_gap_is_bridged_by_its_worse_end(worse_first: bool) -> None:
    """Over a long silence the worse of both ends is held, and the time counts as estimated."""
    ends = [(30.0, 70.0), (10.0, 30.0)]
    before, after = ends if worse_first else reversed(ends)
    hours = 12
    readings = [(T0, *before), (T0 + hours * 3_600_000, *after)]
    rows = followed(CurveKey("tub", ONION, Wrap.OPEN), readings, gap_s=6 * 3600)
    assert rows.estimated_s.tolist() == [0.0, hours * 3600.0]
    assert rows.covered_s[-1] == 0.0
    seed = PlainSeed(tau_days=1.0)
    start, target = seed.mc(before[1], before[0]), seed.mc(70.0, 30.0)
    share = math.exp(-hours / 24 / seed.tau(after[0]))
    end = target + (start - target) * share
    assert rows.mc_dry_pct[-1] == pytest.approx(end, rel=1e-12)
    loss = seed.rate(max(start, end), 30.0) * hours / 24
    assert rows.loss_probit[-1] == pytest.approx(loss, rel=1e-12)


def test_step_at_the_gap_limit_is_no_gap() -> None:
    """A step of exactly the limit is still backed by readings; a millisecond more is not."""
    for extra_ms, estimated_s in ((0, 0.0), (1, 21_600.001)):
        readings = [(T0, 20.0, 40.0), (T0 + 21_600_000 + extra_ms, 20.0, 40.0)]
        rows = followed(CurveKey("tub", ONION, Wrap.OPEN), readings, gap_s=21_600)
        assert rows.estimated_s[-1] == pytest.approx(estimated_s)


def test_wet_time_is_counted_apart() -> None:
    """Seed above the equation's upper limit counts as wet for half a step on each side."""
    readings = [(T0 + 600_000 * i, 20.0, 30.0 if i < 6 else 99.0) for i in range(12)]
    key = CurveKey("tub", ONION, Wrap.FOIL, None, 20.0)  # 16.7 % wet basis: above the 15 % limit
    rows = followed(key, readings, 6 * 3600)
    assert rows.wet_s[-1] == pytest.approx(11 * 600.0)
    dry = followed(replace(key, start_mc_dry_pct=8.0), readings, 6 * 3600)
    assert dry.wet_s[-1] == 0.0


@pytest.mark.parametrize(
    "function", [np.exp, np.expm1, np.log, np.log1p, np.sqrt, np.divide], ids=lambda f: f.__name__
)
def test_numpy_rounds_alike_at_every_position(function: np.ufunc) -> None:
    """A function of an element does not depend on where it stands, or rows would not repeat."""
    values = np.random.default_rng(1).uniform(0.01, 0.9, 4000)
    arguments = (values, values[::-1].copy()) if function.nin == 2 else (values,)
    whole = function(*arguments)
    for start in range(40):
        for length in (1, 2, 3, 7, 8, 9, 31, 64, 1000):
            part = slice(start, start + length)
            alone = function(*(argument[part] for argument in arguments))
            assert alone.tobytes() == whole[part].tobytes()


def test_numpy_sums_alike_at_every_position() -> None:
    """Sums over an hour and running sums do not depend on what stands around them."""
    values = np.random.default_rng(2).normal(size=2000)
    starts = np.array([0, 3, 4, 70, 500, 511, 1300])
    sums = np.add.reduceat(values, starts)
    for i, (start, end) in enumerate(zip(starts, [*starts[1:], len(values)], strict=True)):
        alone = np.add.reduceat(values[start:end].copy(), [0])
        assert alone[0] == sums[i]
    running = 0.0
    for value, total in zip(values.tolist(), np.cumsum(values).tolist(), strict=True):
        running += value
        assert running == total
