"""Spreads of many rows at once are those of each row."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import median_abs_deviation

from models.base import middle_of, robust_sd, robust_sds, running_median


def test_rows_have_the_spread_that_each_has_alone():
    rng = np.random.default_rng(11)
    rows = rng.standard_t(3, size=(200, 41))
    rows[rng.random(rows.shape) < 0.3] = np.nan
    rows[3] = np.nan  # nothing known
    rows[4, 2:] = np.nan  # too little
    rows[5] = np.round(rows[5])  # a quantised tag
    alone = np.array([robust_sd(row) for row in rows])
    assert np.isnan(alone[[3, 4]]).all()
    assert robust_sds(rows) == pytest.approx(alone, rel=1e-12, nan_ok=True)


def test_spread_of_normal_noise_is_that_of_a_reference_library():
    """scipy.stats.median_abs_deviation, scaled to a normal distribution."""
    rows = np.random.default_rng(5).normal(0.0, 2.0, size=(3, 20_001))
    reference = median_abs_deviation(rows, axis=1, scale="normal")
    assert robust_sds(rows) == pytest.approx(reference, rel=0.03)
    assert np.all(robust_sds(rows) >= reference * (1.0 - 1e-4))


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40))
def test_the_middle_is_the_median_to_the_last_bit(values):
    values = np.array(values)
    assert middle_of(values) == np.median(values)


def test_a_slow_baseline_needs_no_median_that_looks_for_missing_readings(monkeypatch):
    values = np.random.default_rng(4).normal(size=500)
    values[100:150] = np.nan
    keep = np.ones(500, dtype=bool)
    monkeypatch.setattr(np, "median", lambda *_: pytest.fail("looks for missing readings"))
    assert np.isfinite(running_median(values, keep, 50, 10)).all()
