"""Windows of every length in their own standard errors."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from models.search.scan import (
    END,
    HOUR,
    LENGTHS,
    SCORE,
    START,
    WEEK,
    Wander,
    rise_of,
    score_of,
    strongest,
    wander_of,
    windows,
)


def ar1(rng, n, phi):
    return lfilter([math.sqrt(1 - phi**2)], [1, -phi], rng.standard_normal(n))


def everywhere(series):
    return np.ones(len(series), dtype=bool)


@pytest.mark.parametrize("phi", [0.0, 0.6, 0.9])
def test_the_wander_of_ar1_noise_is_its_closed_form(phi):
    # Variance of the mean of n readings of unit AR(1) noise times n:
    # 1 + 2 sum_k (1 - k/n) phi**k (Priestley, Spectral Analysis and Time Series, 1981, ch. 5;
    # memory).
    # One season of 60 weeks strays by a tenth at 45 h; the mean of six must not.
    draws = [ar1(np.random.default_rng(seed), 60 * WEEK, phi) for seed in range(3, 9)]
    told = [wander_of(series, everywhere(series), LENGTHS) for series in draws]
    for hours in (4, 16, 45):
        n = hours * HOUR
        k = np.arange(1, n)
        exact = 1 + 2 * float(((1 - k / n) * phi**k).sum())
        assert np.mean([wander.at(n) for wander in told]) == pytest.approx(exact, rel=0.1)
    assert np.mean([wander.slope for wander in told]) < 0.2


def test_levels_that_never_come_back_are_told_from_a_memory_of_a_day():
    rng = np.random.default_rng(4)
    walk, day = np.cumsum(rng.standard_normal(20 * WEEK)), ar1(rng, 20 * WEEK, 1 - 1 / 96)
    assert rise_of(walk, everywhere(walk)) > 0.8
    assert 0.1 < rise_of(day, everywhere(day)) < 0.6
    assert math.isnan(rise_of(walk[:200], everywhere(walk[:200])))  # two days tell nothing


def test_losses_do_not_widen_the_wander():
    series = ar1(np.random.default_rng(5), 8 * WEEK, 0.6)
    before = wander_of(series, everywhere(series), LENGTHS).at(8 * HOUR)
    for at in range(300, len(series), 600):
        series[at : at + 60] += 8.0  # a tenth of the time
    after = wander_of(series, everywhere(series), LENGTHS).at(8 * HOUR)
    assert after < 1.7 * before
    assert np.std(series) > 2.0


def test_a_level_of_its_own_is_no_wander():
    series = ar1(np.random.default_rng(5), 8 * WEEK, 0.6)
    low, high = (wander_of(series + by, everywhere(series), LENGTHS) for by in (0.0, 3.0))
    assert high.variance == pytest.approx(low.variance)


def test_losses_of_days_are_no_memory():
    """The good side alone tells how the wander grows from a day to four."""
    series = ar1(np.random.default_rng(7), 20 * WEEK, 0.6)
    before = rise_of(series, everywhere(series))
    for at in range(1_000, len(series) - 1_000, 2_000):
        series[at : at + 384] += 2.0  # four days in three weeks
    assert rise_of(series, everywhere(series)) < before + 0.3


def test_windows_that_nearly_touch_are_one():
    # Score, start, end, strength: a quarter of a hundred readings apart they are two.
    table = np.array([[9.0, 100, 200, 5], [8.0, 210, 222, 5], [7.0, 226, 240, 5], [6.0, 60, 76, 4]])
    assert strongest(table)[:, START].tolist() == [100, 226]


def test_one_limit_serves_windows_of_all_lengths_up_to_two_days():
    """Independent windows pass a score equally often at every length: 7 / 2 in the exponent."""
    z = 4.0
    short, long = score_of(np.array([z, z]), np.array([4.0 * HOUR, 32.0 * HOUR]))
    assert long - short == pytest.approx(math.log(8.0))
    assert score_of(np.array([z]), np.array([1024.0])) == score_of(np.array([z]), np.array([192.0]))


def test_windows_find_the_step_and_only_the_best_of_what_overlaps_is_kept():
    series = np.random.default_rng(6).standard_normal(2 * WEEK)
    series[400:432] += 2.0
    wander = Wander(LENGTHS, np.ones(len(LENGTHS)), 0.0)
    table = windows(series, wander, 3.0, 0, int(LENGTHS[-1]))
    best = strongest(table)
    assert (best[0][START], best[0][END]) == pytest.approx((400, 432), abs=6)
    overlapping = (table[:, START] < 432) & (table[:, END] > 400)
    assert overlapping.sum() > 10
    assert ((best[:, START] < 432) & (best[:, END] > 400)).sum() == 1
    assert (np.diff(best[:, SCORE]) <= 0).all()


def test_a_window_mostly_missing_says_nothing():
    series = np.full(WEEK, np.nan)
    series[100:112] = 50.0
    wander = Wander(LENGTHS, np.ones(len(LENGTHS)), 0.0)
    table = windows(series, wander, 0.0, 0, int(LENGTHS[-1]))
    assert len(table) > 0
    assert (table[:, END] - table[:, START]).max() <= 24
