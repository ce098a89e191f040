"""What chance can do: the curve learnt from quiet hours keeps the rate it is asked for."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from models.base.series import block_means, long_run_variance
from models.search.chance import FIRST_SEASON, block_length, calibrate, resample
from models.search.changepoint import segments

WEEK = 672


def ar1(rng, n, phi):
    start = [phi * rng.standard_normal()]
    return lfilter([math.sqrt(1 - phi**2)], [1, -phi], rng.standard_normal(n), zi=start)[0]


def quarter_hours(rng, weeks, phi):
    return block_means(ar1(rng, weeks * 10_080, phi), 15)


@pytest.mark.parametrize("phi", [0.8, 0.99])
def test_no_more_false_stretches_than_stated(phi):
    # Learnt on six weeks, judged on twenty others with the same long-run variance.
    stated = 0.2
    found = weeks = 0
    for seed in range(2):
        rng = np.random.default_rng(seed)
        learnt = quarter_hours(rng, 6, phi)
        lrv = max(long_run_variance(learnt, size) for size in (16, 48))
        chance = calibrate(learnt, np.ones(len(learnt), dtype=bool), lrv)
        fresh = quarter_hours(rng, 20, phi)
        parts = segments(fresh, chance.penalty(stated), lrv=lrv)
        found += sum(part.z >= chance.z_for(stated) for part in parts)
        weeks += 20
    assert found / weeks <= stated


def test_a_channel_moved_by_hand_must_show_more_than_noise_does():
    rng = np.random.default_rng(3)
    calm = quarter_hours(rng, 6, 0.95)
    moved = calm.copy()
    for at in range(100, len(calm), 150):
        moved[at : at + 12] += 1.5
    every = np.ones(len(calm), dtype=bool)
    lrv = long_run_variance(calm)
    quiet, unquiet = calibrate(calm, every, lrv), calibrate(moved, every, lrv)
    assert unquiet.z_for(0.05) > quiet.z_for(0.05) + 1.0
    assert unquiet.p_value(6.0) > 10 * quiet.p_value(6.0)
    assert unquiet.penalty(0.05) > quiet.penalty(0.05)


def test_a_first_season_uses_the_cautious_curve():
    rng = np.random.default_rng(4)
    short = quarter_hours(rng, 2, 0.9)
    assert calibrate(short, np.ones(len(short), dtype=bool), 1.0) is FIRST_SEASON
    series = quarter_hours(rng, 6, 0.9)
    nowhere = np.zeros(len(series), dtype=bool)
    assert calibrate(series, nowhere, 1.0) is FIRST_SEASON


def test_the_curve_is_its_own_inverse_and_falls():
    curve = FIRST_SEASON
    for rate in (0.001, 0.01, 0.04):
        assert curve.rate(curve.z_for(rate)) == pytest.approx(rate)
    assert curve.p_value(8) < curve.p_value(6) < curve.p_value(4)
    # A rate of r a week is a chance of 1 - exp(-r / 28) in six hours (Poisson, closed form).
    assert curve.p_value(4.0) == pytest.approx(1 - math.exp(-0.2 / 28))
    assert curve.p_value(50.0) == 1e-7
    with pytest.raises(ValueError, match="above 0"):
        curve.z_for(0.0)


def test_the_same_hours_teach_the_same_to_the_last_digit():
    series = quarter_hours(np.random.default_rng(5), 5, 0.95)
    every = np.ones(len(series), dtype=bool)
    assert calibrate(series, every, 0.3) == calibrate(series.copy(), every, 0.3)


def test_resampling_keeps_spread_and_wander_and_leaves_gaps_out():
    rng = np.random.default_rng(6)
    series = ar1(rng, 30 * WEEK, 0.9)
    series[5_000:6_000] = np.nan
    drawn = resample(series, 200_000, 60.0, rng)
    assert np.isfinite(drawn).all()
    assert drawn.std() == pytest.approx(np.nanstd(series), rel=0.05)
    # Long-run variance (1 + phi) / (1 - phi), less what cutting blocks of mean length b takes:
    # autocovariances shrink by (1 - 1/b)**k (D. N. Politis & J. P. Romano,
    # J. Am. Stat. Assoc. 89 (1994) 1303-1313, closed form; memory).
    phi = 0.9 * (1 - 1 / 60.0)
    assert long_run_variance(drawn, 240) == pytest.approx((1 + phi) / (1 - phi), rel=0.2)


@pytest.mark.parametrize(
    ("phi", "n", "seed", "expected"),
    [(0.0, 1000, 1, 1.114), (0.5, 1000, 2, 9.007), (0.9, 2000, 3, 40.98), (0.98, 4000, 4, 121.2)],
)
def test_block_length_agrees_with_a_reference_library(phi, n, seed, expected):
    # Expected: package arch 8.0.0, arch.bootstrap.optimal_block_length, column "stationary",
    # on the same series (computed).
    noise = np.random.default_rng(seed).standard_normal(n)
    series = lfilter([math.sqrt(1 - phi**2)], [1, -phi], noise)
    assert block_length(series) == pytest.approx(expected, rel=0.015)
