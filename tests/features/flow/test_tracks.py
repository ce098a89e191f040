"""Smoothing of levels: noise goes, kinks stay."""

from __future__ import annotations

import numpy as np
import pytest

from features.flow.tracks import running_mean, smooth


def _level(minutes=4000):
    """Swings, a stand-still with kinks at both ends [%]."""
    clock = np.arange(minutes, dtype=float)
    clock[1000:1100] = 1000.0
    clock[1100:] -= 100.0
    return 35.0 + 15.0 * np.sin(clock / 40.0)


def test_a_clean_level_is_left_alone_even_at_its_kinks():
    level = _level()
    np.testing.assert_allclose(smooth(level), level, atol=1e-3)
    assert np.abs(running_mean(level, 9) - level).max() > 0.3


@pytest.mark.parametrize("sd", [0.05, 0.3])
def test_noise_goes_and_the_kinks_are_kept_better_than_by_a_mean(sd):
    level = _level()
    read = level + np.random.default_rng(4).normal(0.0, sd, level.size)
    found = smooth(read)
    assert np.std(found - level) < 0.6 * sd
    # What counts is the flow it stands for: the change from minute to minute.
    change = np.diff(found) - np.diff(level)
    assert np.std(change) < 0.35 * np.std(np.diff(read) - np.diff(level))
    kinks = np.r_[995:1005, 1095:1105]
    rounded = np.abs(running_mean(read, 9) - level)[kinks].max()
    assert np.abs(found - level)[kinks].max() < max(rounded, 2.5 * sd)


def test_short_and_constant_series_pass_through():
    np.testing.assert_array_equal(smooth(np.array([1.0, 5.0, 2.0])), [1.0, 5.0, 2.0])
    np.testing.assert_allclose(smooth(np.full(50, 7.0)), 7.0)
