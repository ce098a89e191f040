"""Which knots of the feed's courses enter which sample: fixed, while the shares change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from models.base import Array

Ints = NDArray[np.int64]
Sparse = Any  # a sparse array; scipy gives them no types


@dataclass(frozen=True, eq=False)
class Pattern:
    """Places of a sparse matrix whose values are worked out again at each step of a solver.

    Attributes
    ----------
    rows, columns : ndarray of int, shape (e,)
        Where each entry belongs; several may belong to one place, and add up there.
    shape : (int, int)
    slot : ndarray of int, shape (e,)
        Which stored value of the matrix each entry adds to.
    indices, ends : ndarray of int
        Columns of the stored values, and where each row begins and ends among them.
    first, second : ndarray of int, shape (p,)
        All pairs of stored values of one row.
    """

    rows: Ints
    columns: Ints
    shape: tuple[int, int]
    slot: Ints
    indices: Ints
    ends: Ints
    first: Ints
    second: Ints

    @classmethod
    def of(cls, rows: Ints, columns: Ints, shape: tuple[int, int]) -> Pattern:
        """Pattern of entries."""
        place, slot = np.unique(rows * shape[1] + columns, return_inverse=True)
        row = place // shape[1]
        counts = np.bincount(row, minlength=shape[0])
        ends = np.concatenate([[0], np.cumsum(counts)])
        # Each stored value beside itself and all that follow it in its row.
        follow = ends[row + 1] - np.arange(len(place))
        first = np.repeat(np.arange(len(place)), follow)
        begun = np.concatenate([[0], np.cumsum(follow)])[:-1]
        second = first + np.arange(len(first)) - np.repeat(begun, follow)
        return cls(rows, columns, shape, slot, place % shape[1], ends, first, second)

    def matrix(self, entries: Array) -> Sparse:
        """The matrix with these entries, shape (e,)."""
        data = np.bincount(self.slot, entries, len(self.indices))
        return sparse.csr_array((data, self.indices, self.ends), shape=self.shape)

    def normal_band(self, data: Array, gain: Array) -> Array:
        """Normal matrix with rows weighted by `gain`, in upper banded form as LAPACK wants it.

        Parameters
        ----------
        data : ndarray
            Stored values, as `matrix` holds them.
        gain : ndarray, shape (m,)
        """
        low, high = self.indices[self.first], self.indices[self.second]
        width = max(int((high - low).max(initial=0)), 1)
        weight = np.repeat(gain, np.diff(self.ends))
        product = (data * weight)[self.first] * data[self.second]
        at = (width - (high - low)) * self.shape[1] + high
        flat = np.bincount(at, product, (width + 1) * self.shape[1])
        return np.asarray(flat, dtype=float).reshape(width + 1, self.shape[1])


def banded(matrix: Sparse) -> Array:
    """Upper banded form of a symmetric matrix, as LAPACK wants it."""
    held = matrix.tocoo()
    width = int((held.col - held.row).max(initial=0))
    upper = np.zeros((width + 1, matrix.shape[0]))
    above = held.col >= held.row
    row, col = held.row[above], held.col[above]
    np.add.at(upper, (width - (col - row), col), held.data[above])
    return upper


def added(one: Array, other: Array) -> Array:
    """Sum of two matrices in upper banded form; `one` is at least as wide as `other`."""
    total = one.copy()
    total[len(one) - len(other) :] += other
    return total
