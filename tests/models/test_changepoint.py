"""Change points on autocorrelated noise: few false ones, real ones found."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from models.changepoint import change_points, segments, z_for_false_rate
from models.series import block_means, bridge_runs, long_run_variance, running_median, runs_of


def ar1(rng, n, phi):
    return lfilter([math.sqrt(1 - phi**2)], [1, -phi], rng.standard_normal(n))


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
        false += len(change_points(blocks, long_run_variance(blocks), 3.0))
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
    points = change_points(x, long_run_variance(x), 3.0)
    assert len(points) == 2
    assert abs(points[0] - 600) <= 4
    assert abs(points[1] - 660) <= 4


def test_a_missing_value_is_refused_not_searched():
    with pytest.raises(ValueError, match="finite"):
        change_points(np.array([1.0, np.nan, 2.0] * 10), 1.0, 3.0)


def test_gaps_make_no_segment():
    rng = np.random.default_rng(8)
    x = ar1(rng, 4_000, 0.5)
    x[1000:1200] = np.nan
    assert all(abs(s.z) < 4 for s in segments(x, 3.0))


def test_z_rises_with_series_and_falls_with_rate():
    assert z_for_false_rate(1, 20) > z_for_false_rate(1, 5)
    assert z_for_false_rate(2, 5) < z_for_false_rate(1, 5)
    with pytest.raises(ValueError, match="positive"):
        z_for_false_rate(0, 5)


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
