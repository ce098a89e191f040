"""Signals are put on the time of the juice they saw."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import gamma, norm

from models.account.order import STEP_TIME_90, half_through_min, held_in_stops, on_parcel_time

N = 4 * 1440
AT = 2 * 1440


def test_the_time_of_a_step_has_the_published_distribution():
    # Distribution of the maximum of W(s) - |s|/2: Y.-C. Yao, Ann. Statist. 15 (1987) 1321 (closed
    # form, memory).
    def below(x):
        tail = 1.5 * math.exp(x) * norm.cdf(-1.5 * math.sqrt(x))
        bell = math.sqrt(x / (2 * math.pi)) * math.exp(-x / 8)
        return 1 + bell - 0.5 * (x + 5) * norm.cdf(-math.sqrt(x) / 2) + tail

    assert brentq(lambda x: below(x) - 0.95, 1, 40) == pytest.approx(STEP_TIME_90, abs=0.001)
    # And by drawing the walk itself (computed).
    rng = np.random.default_rng(1)
    steps = rng.normal(0, math.sqrt(0.05), (2, 2000, 1200))
    walk = np.cumsum(steps, axis=2) - 0.05 * np.arange(1, 1201) / 2
    best = walk.max(axis=2)
    where = walk.argmax(axis=2) * 0.05
    side = best.argmax(axis=0)
    at = np.where(best.max(axis=0) > 0, where[side, np.arange(2000)], 0.0)
    assert np.mean(at <= STEP_TIME_90) == pytest.approx(0.90, abs=0.025)


def test_half_of_a_parcel_is_through_at_the_gamma_median():
    for k in (1.0, 2.0, 3.0, 8.0):
        mean = 76.0
        ours = half_through_min(np.array([mean]), np.array([mean / math.sqrt(k)]))[0]
        # Reference library: scipy's gamma distribution.
        assert ours == pytest.approx(gamma.ppf(0.5, k, scale=mean / k), rel=0.02)
    assert half_through_min(np.array([0.0]), np.array([0.0]))[0] == 0.0


def test_juice_that_arrives_later_is_moved_back_to_when_it_entered():
    delay = np.full(N, 76.0)
    course = np.where(np.arange(N) >= AT + 76, 1.0, 0.0)
    moved = on_parcel_time(course, delay)
    assert moved[AT - 1] == pytest.approx(0, abs=1e-6)
    assert moved[AT + 1] == pytest.approx(1, abs=1e-6)
    assert np.isnan(moved[-70:]).all()


def test_a_gap_stays_a_gap_and_a_stop_keeps_its_travel_time():
    values = np.ones(N)
    values[1000:1100] = np.nan
    moved = on_parcel_time(values, np.full(N, 30.0))
    assert np.isnan(moved[972:1068]).all()
    assert np.isfinite(moved[1072:1200]).all()
    stopped = np.zeros(N, dtype=bool)
    stopped[2000:2300] = True
    aging = np.where(stopped, 30.0 + np.cumsum(stopped), 30.0)
    assert set(held_in_stops(aging, stopped)) == {30.0}
    assert set(held_in_stops(np.full(N, np.nan), stopped)) == {0.0}
