from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.signal import lfilter

from features.flow.scan import linear_recurrence


@settings(max_examples=50, deadline=None)
@given(st.integers(1, 300), st.integers(1, 3), st.data())
def test_recurrence_matches_the_plain_loop(n, m, data):
    a = data.draw(hnp.arrays(float, n, elements=st.floats(0.0, 1.0)))
    b = data.draw(hnp.arrays(float, (n, m), elements=st.floats(-5.0, 5.0)))
    start = np.arange(m, dtype=float)
    expected, y = np.empty((n, m)), start
    for t in range(n):
        y = a[t] * y + b[t]
        expected[t] = y
    np.testing.assert_allclose(linear_recurrence(a, b, start), expected, rtol=1e-12, atol=1e-12)


def test_constant_multiplier_matches_scipy_lfilter():
    rng = np.random.default_rng(7)
    b = rng.normal(size=10_000)
    expected = lfilter([1.0], [1.0, -0.97], b)
    np.testing.assert_allclose(
        linear_recurrence(np.full(10_000, 0.97), b, 0.0), expected, rtol=1e-10, atol=1e-10
    )


def test_empty_series_and_uneven_lengths():
    assert linear_recurrence(np.empty(0), np.empty(0), 1.0).shape == (0,)
    with pytest.raises(ValueError, match="give both the same"):
        linear_recurrence(np.ones(3), np.ones(4), 0.0)
