"""How soon the search can tell, held against the functions that decide it."""

import math

import numpy as np
import pytest

from models.base.series import long_run_variance, running_median
from models.search.chance import COMMON, learn
from models.search.episodes import BASELINE_DAYS
from models.worth.soon import watch_needed

PER_HOUR = 4


def noise(hours):
    return np.random.default_rng(3).standard_normal(int(hours * PER_HOUR))


def has_own_usual(hours):
    """Whether the slow baseline follows the first hours rather than the whole of the readings."""
    half, first = BASELINE_DAYS * 24 * PER_HOUR, int(hours * PER_HOUR)
    values = np.concatenate([np.ones(first), np.full(4 * half, 9.0)])
    keep = np.ones(len(values), dtype=bool)
    keep[first : first + half + 1] = False
    return running_median(values, keep, half, half // 7)[0] == pytest.approx(1.0)


def ready(hours):
    """Whether scatter and usual can be told from so many hours."""
    return math.isfinite(long_run_variance(noise(hours), 16)) and has_own_usual(hours)


def test_the_first_losses_can_be_told_from_then_on_and_not_before():
    assert ready(watch_needed().first_h)
    assert not ready(watch_needed().first_h - 1.0)


def test_the_usual_looks_a_week_to_either_side():
    assert watch_needed().usual_days == 2 * BASELINE_DAYS


def test_after_so_many_weeks_the_mills_own_swings_weigh_as_much_as_what_is_common():
    weeks = watch_needed().own_weeks
    told = learn(np.empty(0), weeks, COMMON)
    assert told.per_week == pytest.approx(COMMON.per_week / 2.0)
