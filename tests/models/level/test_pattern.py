"""The fixed pattern of the level's equations against plain matrices, and scipy's solvers."""

import numpy as np
import pytest
from scipy import sparse

from models.level.pattern import Pattern, added, banded_times, factored, solved_band


@pytest.fixture
def entries():
    rng = np.random.default_rng(5)
    rows = np.repeat(np.arange(40), 6)
    columns = np.clip(rows // 2 + rng.integers(-2, 3, len(rows)), 0, 19)
    return rows, columns, rng.normal(size=len(rows))


def whole(entries):
    rows, columns, values = entries
    return sparse.coo_array((values, (rows, columns)), shape=(40, 20)).toarray()


def test_products_are_those_of_the_whole_where_entries_of_one_place_add_up(entries):
    rows, columns, values = entries
    pattern = Pattern.of(rows, columns, (40, 20))
    data, rng = pattern.stored(values), np.random.default_rng(6)
    knots, samples, several = rng.normal(size=20), rng.normal(size=40), rng.normal(size=(40, 3))
    assert pattern.times(data, knots) == pytest.approx(whole(entries) @ knots, abs=1e-13)
    for other in (samples, several):
        turned = pattern.turned_times(data, other)
        assert turned == pytest.approx(whole(entries).T @ other, abs=1e-13)


def test_a_column_without_entries_takes_nothing():
    pattern = Pattern.of(np.array([0, 1, 1]), np.array([3, 1, 3]), (2, 6))
    data = pattern.stored(np.array([2.0, 5.0, 7.0]))
    assert pattern.turned_times(data, np.array([1.0, 10.0])).tolist() == [0, 50, 0, 72, 0, 0]


def test_the_weighted_normal_matrix_is_that_of_the_whole(entries):
    rows, columns, values = entries
    pattern = Pattern.of(rows, columns, (40, 20))
    gain = np.linspace(0.5, 2.0, 40)
    dense = whole(entries)
    normal = dense.T @ np.diag(gain) @ dense
    band = pattern.normal_band(pattern.stored(values), gain)
    assert band == pytest.approx(
        np.vstack([np.pad(np.diag(normal, k), (k, 0)) for k in range(len(band) - 1, -1, -1)]),
        abs=1e-12,
    )
    # Nothing of the normal matrix lies outside the band.
    assert np.triu(normal, len(band)) == pytest.approx(0.0, abs=1e-12)


def test_a_prior_is_added_along_the_diagonals(entries):
    rows, columns, values = entries
    pattern = Pattern.of(rows, columns, (40, 20))
    band = np.array([[0.0] + [-1.0] * 19, [3.0] * 20])
    prior = 3.0 * np.eye(20) - np.eye(20, k=1) - np.eye(20, k=-1)
    total = added(pattern.normal_band(pattern.stored(values), np.ones(40)), band)
    dense, asked = whole(entries), np.stack([np.arange(20.0), np.ones(20)], axis=1)
    expected = np.linalg.solve(dense.T @ dense + prior, asked)
    assert solved_band(factored(total), asked) == pytest.approx(expected, rel=1e-9)
    assert solved_band(factored(total), asked[:, 0]) == pytest.approx(expected[:, 0], rel=1e-9)
    assert banded_times(band, asked[:, 0]) == pytest.approx(prior @ asked[:, 0], abs=1e-13)


def test_what_is_not_positive_definite_is_refused():
    with pytest.raises(np.linalg.LinAlgError, match="not positive definite"):
        factored(np.array([[0.0, 2.0, 2.0], [1.0, 1.0, 1.0]]))


def test_no_entries_at_all():
    pattern = Pattern.of(np.empty(0, np.int64), np.empty(0, np.int64), (0, 5))
    assert pattern.times(np.empty(0), np.ones(5)).shape == (0,)
    assert pattern.turned_times(np.empty(0), np.empty((0, 3))).tolist() == [[0.0] * 3] * 5
    assert pattern.normal_band(np.empty(0), np.empty(0)).shape == (2, 5)
