"""The fixed pattern of the level's equations against plain sparse matrices (scipy)."""

import numpy as np
import pytest
from scipy import sparse
from scipy.linalg import cholesky_banded, solveh_banded

from models.level.pattern import Pattern, added, banded


@pytest.fixture
def entries():
    rng = np.random.default_rng(5)
    rows = np.repeat(np.arange(40), 6)
    columns = np.clip(rows // 2 + rng.integers(-2, 3, len(rows)), 0, 19)
    return rows, columns, rng.normal(size=len(rows))


def test_entries_of_one_place_add_up(entries):
    rows, columns, values = entries
    matrix = Pattern.of(rows, columns, (40, 20)).matrix(values)
    plain = sparse.coo_array((values, (rows, columns)), shape=(40, 20)).toarray()
    assert matrix.toarray() == pytest.approx(plain, abs=1e-14)


def test_the_weighted_normal_matrix_is_that_of_the_whole(entries):
    rows, columns, values = entries
    pattern = Pattern.of(rows, columns, (40, 20))
    matrix = pattern.matrix(values)
    gain = np.linspace(0.5, 2.0, 40)
    dense = matrix.toarray()
    normal = dense.T @ np.diag(gain) @ dense
    band = pattern.normal_band(matrix.data, gain)
    assert band == pytest.approx(
        np.vstack([np.pad(np.diag(normal, k), (k, 0)) for k in range(len(band) - 1, -1, -1)]),
        abs=1e-12,
    )
    # Nothing of the normal matrix lies outside the band.
    assert np.triu(normal, len(band)) == pytest.approx(0.0, abs=1e-12)


def test_a_prior_is_added_along_the_diagonals(entries):
    rows, columns, values = entries
    pattern = Pattern.of(rows, columns, (40, 20))
    data = pattern.matrix(values).data
    prior = sparse.diags_array([[-1.0] * 19, [3.0] * 20, [-1.0] * 19], offsets=[-1, 0, 1])
    total = added(pattern.normal_band(data, np.ones(40)), banded(prior))
    dense = pattern.matrix(values).toarray()
    whole = dense.T @ dense + prior.toarray()
    asked = np.arange(20.0)
    assert solveh_banded(total, asked) == pytest.approx(np.linalg.solve(whole, asked), rel=1e-9)
    assert np.isfinite(cholesky_banded(total)).all()


def test_no_entries_at_all():
    pattern = Pattern.of(np.empty(0, np.int64), np.empty(0, np.int64), (0, 5))
    assert pattern.matrix(np.empty(0)).shape == (0, 5)
    assert pattern.normal_band(np.empty(0), np.empty(0)).shape == (2, 5)
