"""Unusual periods of a plant without a described train."""

from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest
from scipy.signal import lfilter
from scipy.stats import expon

from models.search.unusual import limit_for, unusual_periods

START = datetime(2016, 8, 1, tzinfo=UTC)


def grid_of(columns):
    n = len(next(iter(columns.values())))
    times = pl.Series("ts_utc", np.arange(n) * 60_000_000).cast(pl.Duration("us")) + START
    return pl.DataFrame([times.cast(pl.Datetime("us", "UTC"))]).with_columns(
        [pl.Series(k, v) for k, v in columns.items()]
    )


@pytest.fixture
def columns():
    rng = np.random.default_rng(3)
    n = 20 * 1440
    slow = lfilter([0.02], [1, -0.995], rng.standard_normal(n))
    return {"a": slow + rng.normal(0, 0.1, n), "b": 2 * slow + rng.normal(0, 0.1, n)}


def test_a_disturbed_half_hour_stands_out_and_quiet_days_are_left_alone(columns):
    rng = np.random.default_rng(5)
    columns["b"][20_000:20_030] += rng.normal(0, 1.5, 30)
    found = unusual_periods(grid_of(columns), 10 * 1440, 0.5)
    worst = found.filter(pl.col("score") == pl.col("score").max())
    at_min = (worst["started"][0] - START).total_seconds() / 60
    assert at_min == pytest.approx(20_000, abs=30)
    assert worst["score"][0] > 3
    flagged = (found["ended"] - found["started"]).dt.total_minutes().sum()
    assert flagged < 0.02 * 10 * 1440


def test_limit_follows_the_exponential_tail():
    # Peaks with exponential heights: the limit for r runs a week is scale x log(runs / r), the
    # return level of the peaks-over-threshold model (closed form).
    score = np.zeros(10_080 * 4)
    at = np.arange(500, len(score) - 500, 100)
    score[at] = expon.rvs(scale=2.0, size=len(at), random_state=np.random.default_rng(1))
    expected = 2.0 * np.log(len(at) / 4 / 1.0)
    assert limit_for(score, 1.0) == pytest.approx(expected, rel=0.1)


def test_missing_signals_do_not_stop_the_search(columns):
    columns["a"][5_000:9_000] = np.nan
    grid = grid_of(columns).with_columns(pl.col("a").fill_nan(None))
    assert unusual_periods(grid, 10 * 1440, 0.5).height <= 3


@pytest.mark.parametrize("train_rows", [100, 20 * 1440])
def test_a_training_part_that_does_not_fit_is_refused(columns, train_rows):
    with pytest.raises(ValueError, match="train_rows"):
        unusual_periods(grid_of(columns), train_rows, 0.5)
