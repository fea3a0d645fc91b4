"""The posterior of a lot against exact distributions, another library and its own algebra."""

import warnings

import numpy as np
import numpy.typing as npt
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.special import log_ndtr, ndtr

from hilum.science.errors import OutOfRangeError
from hilum.science.germination import Count, Evidence
from hilum.science.posterior import Band, Posterior, bands, posterior, posteriors

Floats = npt.NDArray[np.float64]
SHARES = np.array([0.05, 0.5, 0.95])


def lot(*counts: tuple[float, float, float], factor: float = 4.0) -> Posterior:
    """Posterior of a lot with these counts (germinated, sown, loss)."""
    return posterior(Evidence(tuple(Count(*count) for count in counts), factor))


def as_array(band: Band) -> Floats:
    """Low, median and high of a band as one array, in per cent."""
    return np.array([band.low_pct, band.median_pct, band.high_pct])


@pytest.mark.parametrize(
    ("germinated", "sown"),
    [
        (0, 1),
        (1, 1),
        (8, 10),
        (10, 10),
        (0, 10),
        (45, 50),
        (360, 400),
        (400, 400),
        (99_000, 100_000),
    ],
)
def test_a_single_test_gives_the_beta_interval(germinated: int, sown: int) -> None:
    """One count at the start gives the Bayes-Laplace interval, scipy's beta(x + 1, n - x + 1).

    That interval and not Clopper-Pearson's, which is for the worst case and wider on average, nor
    Jeffreys', whose prior is not flat on germination.
    """
    expected = 100 * stats.beta(germinated + 1, sown - germinated + 1).ppf(SHARES)
    found = as_array(lot((germinated, sown, 0.0)).viability(0.0))
    assert found == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize(
    ("germinated", "sown", "low", "high"),
    [
        (8, 10, 49.0, 94.3),
        (18, 20, 69.9, 97.2),
        (22, 25, 70.0, 95.8),
        (45, 50, 78.6, 95.7),
        (90, 100, 82.6, 94.5),
        (340, 400, 81.2, 88.2),
        (360, 400, 86.7, 92.6),
    ],
)
def test_wilson_intervals_lie_near(germinated: int, sown: int, low: float, high: float) -> None:
    """Wilson 95 % intervals (computed figures) hold between 93.5 and 97 % of the posterior."""
    one = lot((germinated, sown, 0.0))
    inside = float(one.prob_below(high, 0.0)) - float(one.prob_below(low, 0.0))
    assert 0.935 < inside < 0.97


def brute_force(counts: list[tuple[float, float, float]], factor: float, loss: float) -> Floats:
    """Quantiles of viability [%] from a plain grid of 9 million cells, with scipy's functions."""
    y, v0 = np.linspace(-6, 6, 3000), np.linspace(-8, 8, 3000)
    k = np.exp(np.log(factor) / 1.96 * y)[:, None]
    density = -0.5 * v0**2 - 0.5 * y[:, None] ** 2
    for germinated, sown, at in counts:
        ned = v0 - k * at
        density = density + germinated * log_ndtr(ned) + (sown - germinated) * log_ndtr(-ned)
    weight = np.exp(density - density.max())
    share, edges = np.histogram(v0 - k * loss, 40_000, range=(-60.0, 8.0), weights=weight)
    return np.asarray(100 * ndtr(np.interp(SHARES, np.cumsum(share) / share.sum(), edges[1:])))


@pytest.mark.parametrize(
    ("counts", "factor", "loss"),
    [
        ([], 4.0, 1.0),
        ([(360, 400, 0)], 4.0, 0.5),
        ([(360, 400, 0)], 4.0, 3.0),
        ([(90, 100, 0), (30, 50, 1.0)], 4.0, 1.5),
        ([(9, 10, 0), (8, 10, 0.5)], 8.0, 0.7),
        ([(360, 400, 0), (10, 50, 5.0)], 8.0, 5.0),
        ([(8.75, 10, 0), (300, 400, 1.0)], 8.0, 2.0),
        ([(390, 400, 0), (0, 25, 0.1)], 8.0, 0.2),
    ],
)
def test_the_grid_agrees_with_a_plain_one(
    counts: list[tuple[float, float, float]], factor: float, loss: float
) -> None:
    """Median and band agree with brute force to 0.15 points, also on a ridge between v0 and k."""
    found = as_array(lot(*counts, factor=factor).viability(loss))
    assert found == pytest.approx(brute_force(counts, factor, loss), abs=0.15)


def test_large_tests_give_the_probit_regression() -> None:
    """With large tests and a wide prior the medians are statsmodels' probit GLM within 1 %."""
    losses = np.array([0.0, 0.5, 1.0, 1.5])
    sown = np.full(4, 50_000.0)
    germinated = np.round(sown * ndtr(1.6 - 1.4 * losses))
    family = sm.families.Binomial(link=sm.families.links.Probit())
    both = np.column_stack([germinated, sown - germinated])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        fit = sm.GLM(both, np.column_stack([np.ones(4), -losses]), family=family).fit()
    found = lot(*zip(germinated, sown, losses, strict=True), factor=100.0)
    assert found.v0().median == pytest.approx(fit.params[0], rel=0.01)
    assert found.k().median == pytest.approx(fit.params[1], rel=0.01)
    error = found.k().high - found.k().low
    assert error == pytest.approx(2 * 1.645 * fit.bse[1], rel=0.03)


def test_without_doubt_about_the_loss_the_beta_is_only_shifted() -> None:
    """A factor of 1 (k exactly 1) moves the beta's quantiles by the loss in probits."""
    expected = 100 * ndtr(stats.norm.ppf(stats.beta(361, 41).ppf(SHARES)) - 0.8)
    found = as_array(lot((360, 400, 0.0), factor=1.0).viability(0.8))
    assert found == pytest.approx(expected, abs=0.02)


def test_the_multiplier_is_its_prior_until_a_test_speaks() -> None:
    """With a label only, 5, 50 and 95 % of k are those of the log-normal (scipy)."""
    k = lot((360, 400, 0.0), factor=4.0).k()
    expected = stats.lognorm(s=np.log(4.0) / 1.96).ppf(SHARES)
    assert [k.low, k.median, k.high] == pytest.approx(expected, rel=0.01)


def test_fading_faster_than_expected_raises_the_multiplier() -> None:
    """A poor test well into storage says the loss was larger than the model's."""
    k = lot((380, 400, 0.0), (20, 50, 0.5), factor=4.0).k()
    assert k.low > 1.5


def test_shown_range_adds_up_to_five_points_at_the_start() -> None:
    """A 400-seed label of 90 % is shown as its median and five points each side."""
    shown = lot((360, 400, 0.0)).shown(0.0)
    assert as_array(shown) == pytest.approx([84.87, 89.87, 94.87], abs=0.02)


def test_shown_range_of_few_seeds_is_their_own() -> None:
    """Ten seeds have more than five points of counting error: nothing is added."""
    one = lot((7, 10, 0.0))
    assert as_array(one.shown(0.3)) == pytest.approx(as_array(one.viability(0.3)))


def test_ten_seeds_move_the_shown_range_as_far_as_ten_seeds_can() -> None:
    """Half a seed more or less hardly matters, and ten seeds leave more doubt than a hundred."""
    width = []
    for seeds in (0.001, 10, 100):
        shown = lot((360, 400, 0.0), (0.7 * seeds, seeds, 1.0)).shown(1.0)
        width.append(float(shown.high_pct) - float(shown.low_pct))
    none = lot((360, 400, 0.0)).shown(1.0)
    assert width[0] == pytest.approx(float(none.high_pct) - float(none.low_pct), abs=0.1)
    assert width[0] > width[1] + 20 > width[2] + 20


@given(st.floats(0, 5), st.integers(0, 400), st.floats(1, 10))
def test_shown_range_is_never_nearer_than_five_points(
    loss: float, germinated: int, factor: float
) -> None:
    """At any loss the shown range reaches five points from the median, or 0 or 100 %."""
    low, median, high = as_array(lot((germinated, 400, 0.0), factor=factor).shown(loss))
    assert low <= max(0.0, median - 5.0) + 1e-9
    assert high >= min(100.0, median + 5.0) - 1e-9
    assert 0.0 <= low <= median <= high <= 100.0


COUNTS = st.tuples(
    st.sampled_from([1, 10, 50, 400, 100_000]), st.floats(0, 1), st.floats(0, 60)
).map(lambda test: (float(round(test[0] * test[1])), float(test[0]), test[2]))


@settings(max_examples=150)
@given(st.lists(COUNTS, max_size=4), st.floats(1, 20), st.floats(0, 100))
def test_no_evidence_breaks_the_numbers(
    counts: list[tuple[float, float, float]], factor: float, loss: float
) -> None:
    """Up to 100,000 seeds, none or all germinated, contradicting one another: all is finite."""
    one = lot(*counts, factor=factor)
    low, median, high = as_array(one.viability(loss))
    assert 0.0 <= low <= median <= high <= 100.0
    assert 0.0 <= float(one.prob_below(60.0, loss)) <= 1.0
    assert one.one.grid.weight.sum() == pytest.approx(1.0)
    assert one.predictive(10, loss).sum() == pytest.approx(1.0)


@given(st.permutations([(360.0, 400.0, 0.0), (8.0, 10.0, 0.4), (30.0, 50.0, 1.0)]))
def test_order_of_tests_is_irrelevant(counts: list[tuple[float, float, float]]) -> None:
    """The same tests in any order give the same band."""
    expected = as_array(lot((360, 400, 0), (8, 10, 0.4), (30, 50, 1.0)).viability(1.2))
    assert as_array(lot(*counts).viability(1.2)) == pytest.approx(expected, abs=1e-6)


@given(st.integers(1, 20), st.floats(0.2, 2.0))
def test_an_expected_result_narrows_and_more_seeds_narrow_more(tens: int, loss: float) -> None:
    """A test that comes out as expected narrows the band, one of four times the seeds more so."""
    before = lot((360, 400, 0.0)).viability(loss)
    share = float(before.median_pct) / 100.0
    width = [float(before.high_pct) - float(before.low_pct)]
    for seeds in (10.0 * tens, 40.0 * tens):
        band = lot((360, 400, 0.0), (share * seeds, seeds, loss)).viability(loss)
        width.append(float(band.high_pct) - float(band.low_pct))
    assert width[0] > width[1] > width[2]


@given(st.integers(1, 1000), st.floats(0, 3), st.floats(0, 3))
def test_all_germinated_raises_and_none_lowers(seeds: int, at: float, loss: float) -> None:
    """After n of n the median is higher everywhere, after 0 of n lower."""
    before = float(lot((80, 100, 0.0)).viability(loss).median_pct)
    every = float(lot((80, 100, 0.0), (seeds, seeds, at)).viability(loss).median_pct)
    none = float(lot((80, 100, 0.0), (0, seeds, at)).viability(loss).median_pct)
    assert none < before < every


def test_share_below_is_the_other_side_of_the_band() -> None:
    """The chance of being below the low end of the band is 5 %, below the median 50 %."""
    one = lot((360, 400, 0.0), (30, 50, 1.0))
    band = as_array(one.viability(1.3))
    chances = [float(one.prob_below(float(limit), 1.3)) for limit in band]
    assert chances == pytest.approx(SHARES, abs=1e-6)
    assert float(one.prob_below(0.0, 1.3)) == 0.0
    assert float(one.prob_below(100.0, 1.3)) == pytest.approx(1.0)


@pytest.mark.parametrize("loss", [0.0, 10.0, 1e4, 1e6])
def test_certainty_stays_certain(loss: float) -> None:
    """Seed that is surely good, or surely dead, is so to nine digits at any loss."""
    one = lot((90_000, 100_000, 0.0), factor=1.0)
    below = 1.0 if loss else 0.0
    assert float(one.prob_below(60.0, loss)) == pytest.approx(below, abs=1e-9)
    assert one.levels(loss).weight.sum() == pytest.approx(1.0)


def test_draws_have_the_posteriors_quantiles() -> None:
    """40,000 draws of v0 - k L (seed 11) have the band's shares below its ends, to 1 %."""
    one = lot((360, 400, 0.0), (30, 50, 1.0), factor=5.0)
    v0, k = one.sample(np.random.default_rng(11), 40_000)
    drawn = 100 * ndtr(v0 - k * 1.3)
    shares = [float((drawn < limit).mean()) for limit in as_array(one.viability(1.3))]
    assert shares == pytest.approx(SHARES, abs=0.01)
    assert float(np.median(k)) == pytest.approx(one.k().median, rel=0.02)
    assert float(np.median(v0)) == pytest.approx(one.v0().median, abs=0.01)


def test_prediction_is_the_beta_binomial() -> None:
    """At the start the germination of 50 further seeds is scipy's beta-binomial."""
    for germinated, sown in ((360, 400), (8, 10), (10, 10)):
        expected = stats.betabinom(50, germinated + 1, sown - germinated + 1).pmf(np.arange(51))
        found = lot((germinated, sown, 0.0)).predictive(50, 0.0)
        assert found == pytest.approx(expected, abs=2e-4)


def test_floats_and_arrays_agree() -> None:
    """A float gives floats, an array an array with the same numbers."""
    one = lot((360, 400, 0.0))
    many = one.shown(np.array([0.0, 0.7]))
    single = one.shown(0.7)
    assert isinstance(single.median_pct, float)
    assert as_array(many)[:, 1] == pytest.approx(as_array(single), abs=1e-6)


def test_many_lots_are_each_lot_alone() -> None:
    """300 lots with differing numbers of tests get in bulk what each gets alone."""
    rng = np.random.default_rng(5)
    evidences = []
    for _ in range(300):
        seeds = rng.integers(1, 400, rng.integers(0, 4))
        counts = [Count(int(rng.integers(0, n + 1)), int(n), rng.uniform(0, 2)) for n in seeds]
        evidences.append(Evidence(tuple(counts), rng.uniform(1.5, 8)))
    losses = rng.uniform(0, 3, (300, 2))
    bulk = bands(evidences, losses)
    for i in range(0, 300, 17):
        alone = posterior(evidences[i]).shown(losses[i])
        assert as_array(bulk)[:, i] == pytest.approx(as_array(alone), abs=1e-9)
    seen = np.concatenate([chunk.lots for chunk in posteriors(evidences)])
    assert sorted(seen) == list(range(300))


def test_a_loss_that_cannot_be_is_refused() -> None:
    """A negative loss is an error, not a gain."""
    with pytest.raises(OutOfRangeError, match="loss"):
        lot((9, 10, 0.0)).viability(-0.1)


def test_what_the_start_lacks_to_five_points_is_added_at_every_loss() -> None:
    """Outcomes rule 5 (set on published trials): five points of counting error, not less."""
    belief = posterior(Evidence((Count(360, 400),), factor=4.0))
    start, band, shown = belief.viability(0.0), belief.viability(0.8), belief.shown(0.8)
    lack = 5.0 - (float(start.median_pct) - float(start.low_pct))

    assert lack > 1.0
    assert float(shown.low_pct) == pytest.approx(float(band.low_pct) - lack, abs=1e-9)
