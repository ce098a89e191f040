"""Change points on autocorrelated noise: few false ones, real ones found."""

import math
from itertools import pairwise

import numpy as np
import pytest
import ruptures
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter
from scipy.stats import norm
from slow_case import slow

from models.base.series import block_means, bridge_runs, long_run_variance, running_median, runs_of
from models.search.changepoint import change_points, segments


def ar1(rng, n, phi):
    return lfilter([math.sqrt(1 - phi**2)], [1, -phi], rng.standard_normal(n))


def penalty_for(n, z=3.0):
    """Schwarz's price of having searched everywhere, and half the square of `z` on top."""
    return math.log(n) + 0.5 * z**2


def found_in(blocks):
    return change_points(blocks, long_run_variance(blocks), penalty_for(len(blocks)))


@pytest.mark.parametrize("phi", [0.8, 0.95, 0.99])
@pytest.mark.parametrize("step", [0.0, 0.5])
def test_few_false_points_on_noise_without_change(phi, step):
    # Reference: marginal-variance BIC finds about 111 false points per 10,000 samples at phi 0.95.
    rng = np.random.default_rng(17)
    false = samples = 0
    for _ in range(6):
        x = ar1(rng, 20_000, phi)
        if step:
            x = np.round(x / step) * step
        blocks = block_means(x, 15)
        false += len(found_in(blocks))
        samples += len(x)
    assert false / samples * 10_000 <= 0.5


def test_long_run_variance_of_ar1_has_its_closed_form():
    # For AR(1) with unit variance the long-run variance is (1 + phi) / (1 - phi)
    # (Priestley, Spectral Analysis and Time Series, 1981: spectrum at zero frequency; memory).
    rng = np.random.default_rng(3)
    phi = 0.9
    estimates = [long_run_variance(ar1(rng, 60_000, phi), 240) for _ in range(10)]
    assert np.mean(estimates) == pytest.approx((1 + phi) / (1 - phi), rel=0.15)


def test_a_real_shift_is_found_where_it_is():
    rng = np.random.default_rng(5)
    x = block_means(ar1(rng, 20_000, 0.95), 15)
    x[600:660] += 6 * math.sqrt(long_run_variance(x)) / math.sqrt(60) * 1.6
    points = found_in(x)
    assert len(points) == 2
    assert abs(points[0] - 600) <= 4
    assert abs(points[1] - 660) <= 4


def test_a_missing_value_is_refused_not_searched():
    with pytest.raises(ValueError, match="finite"):
        change_points(np.array([1.0, np.nan, 2.0] * 10), 1.0, 8.0)


def test_gaps_make_no_segment():
    rng = np.random.default_rng(8)
    x = ar1(rng, 4_000, 0.5)
    x[1000:1200] = np.nan
    assert all(abs(s.z) < 4 for s in segments(x, penalty_for(len(x))))


@given(st.lists(st.booleans(), max_size=60))
def test_runs_cover_exactly_the_true_entries(mask):
    values = np.array(mask, dtype=bool)
    back = np.zeros(len(values), dtype=bool)
    for a, b in runs_of(values):
        back[a:b] = True
    assert (back == values).all()


def test_bridge_joins_only_close_runs():
    assert bridge_runs([(0, 3), (5, 7), (20, 22)], 2) == [(0, 7), (20, 22)]


def test_running_median_ignores_marked_readings():
    values = np.ones(1000)
    values[400:500] = 50.0
    keep = values < 10
    assert np.allclose(running_median(values, keep, 100, 20), 1.0)


def test_the_optimum_is_the_least_squares_one():
    # Against every placement of two points, by hand: squares left plus the price of the points.
    rng = np.random.default_rng(2)
    x = rng.standard_normal(60)
    x[20:37] += 3.0

    def cost(points):
        parts = pairwise([0, *points, 60])
        return sum(((x[a:b] - x[a:b].mean()) ** 2).sum() for a, b in parts) + 6.0 * len(points)

    places = [(a, b) for a in range(2, 57) for b in range(a + 2, 59)]
    assert change_points(x, 1.0, 6.0) == list(min(places, key=cost))


def mean_variance(phi, n):
    """Variance of the mean of n readings of unit AR(1) noise.

    Closed form: (1 + 2 sum_k (1 - k/n) phi**k) / n, from the variance of a sum of correlated
    readings (Priestley, Spectral Analysis and Time Series, 1981, ch. 5; memory).
    """
    k = np.arange(1, n)
    return (1 + 2 * float(((1 - k / n) * phi**k).sum())) / n


def overlap(a, b):
    shared = max(0, min(a[1], b[1]) - max(a[0], b[0]))
    return shared / (a[1] - a[0] + b[1] - b[0] - shared)


@pytest.mark.parametrize(
    ("phi", "step"), [slow(0.8, 0.0), slow(0.95, 0.0), slow(0.99, 0.0), (0.95, 0.5)]
)
def test_power_reaches_the_closed_form_limit(phi, step):
    # A stretch of height d and length L pays for two change points where its mean, in standard
    # errors, exceeds the root of twice the penalty. Known in place and without a search, a normal
    # mean does so with probability Phi((d - limit) / sd(mean)), limit = sqrt(2 penalty LRV / L):
    # the power of the known-position test with the true long-run variance (1 + phi) / (1 - phi).
    n_minutes, length = 21 * 1440, 8 * 60
    event = (n_minutes // 2, n_minutes // 2 + length)
    penalty = penalty_for(n_minutes // 15)
    limit = math.sqrt(2 * penalty * (1 + phi) / (1 - phi) / length)
    rng = np.random.default_rng(29)
    draws = [ar1(rng, n_minutes, phi) for _ in range(40)]
    for share in (1.0, 1.25):
        found = 0
        for noise in draws:
            x = noise.copy()
            x[slice(*event)] += share * limit
            if step:
                x = np.round(x / step) * step
            blocks = block_means(x, 15)
            bounds = [0, *(15 * p for p in found_in(blocks)), n_minutes]
            found += any(overlap(part, event) >= 0.5 for part in pairwise(bounds))
        ideal = norm.cdf((share - 1) * limit / math.sqrt(mean_variance(phi, length)))
        assert found / len(draws) >= ideal - 0.10


@given(
    st.lists(st.floats(-9.0, 9.0, width=16), min_size=4, max_size=120),
    st.integers(1, 4),
    st.sampled_from([0.5, 4.0, 9.0, 25.0]),
)
def test_changes_are_those_of_the_library_itself(values, min_size, penalty):
    # Reference library: ruptures, by its own public way in.
    series = np.array(values)
    if len(series) < 2 * min_size:
        assert change_points(series, 1.0, penalty, min_size) == []
        return
    own = ruptures.KernelCPD(kernel="linear", min_size=min_size).fit(series.reshape(-1, 1))
    assert change_points(series, 1.0, penalty, min_size) == own.predict(pen=penalty)[:-1]
