"""Which knots of the feed's courses enter which sample: fixed, while the shares change."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from features.base import dpbtrf, dpbtrs
from models.base import Array

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Pattern:
    """Places of a sparse matrix whose values are worked out again at each step of a solver.

    The values themselves are an array of their own, shape (s,), row after row (`stored`). What is
    done with them is too little to load a library of sparse matrices for.

    Attributes
    ----------
    rows, columns : ndarray of int, shape (e,)
        Where each entry belongs; several may belong to one place, and add up there.
    shape : (int, int)
    slot : ndarray of int, shape (e,)
        Which stored value of the matrix each entry adds to.
    row, column : ndarray of int, shape (s,)
        Place of each stored value.
    first, second : ndarray of int, shape (p,)
        All pairs of stored values of one row.
    down : ndarray of int, shape (s,)
        Order of the stored values column after column.
    filled, begun : ndarray of int
        Columns that hold anything, and where each begins in that order.
    """

    rows: Ints
    columns: Ints
    shape: tuple[int, int]
    slot: Ints
    row: Ints
    column: Ints
    first: Ints
    second: Ints
    down: Ints
    filled: Ints
    begun: Ints

    @classmethod
    def of(cls, rows: Ints, columns: Ints, shape: tuple[int, int]) -> Pattern:
        """Pattern of entries."""
        place, slot = np.unique(rows * shape[1] + columns, return_inverse=True)
        row, column = np.divmod(place, shape[1])
        ends = np.concatenate([[0], np.cumsum(np.bincount(row, minlength=shape[0]))])
        # Each stored value beside itself and all that follow it in its row.
        follow = ends[row + 1] - np.arange(len(place))
        first = np.repeat(np.arange(len(place)), follow)
        begun = np.concatenate([[0], np.cumsum(follow)])[:-1]
        second = first + np.arange(len(first)) - np.repeat(begun, follow)
        down = np.argsort(column, kind="stable")
        filled, at = np.unique(column[down], return_index=True)
        return cls(rows, columns, shape, slot, row, column, first, second, down, filled, at)

    def stored(self, entries: Array) -> Array:
        """Values of the matrix with these entries, shape (e,)."""
        return np.asarray(np.bincount(self.slot, entries, len(self.row)), dtype=float)

    def times(self, data: Array, vector: Array) -> Array:
        """Product of the matrix of these values and a vector."""
        found = np.bincount(self.row, data * vector[self.column], self.shape[0])
        return np.asarray(found, dtype=float)

    def turned_times(self, data: Array, other: Array) -> Array:
        """Product of the transposed matrix of these values and a vector, or a dense matrix."""
        found = np.zeros((self.shape[1], *other.shape[1:]))
        if len(self.down):
            weight = data[self.down].reshape(-1, *[1] * (other.ndim - 1))
            found[self.filled] = np.add.reduceat(weight * other[self.row[self.down]], self.begun)
        return found

    def normal_band(self, data: Array, gain: Array) -> Array:
        """Normal matrix with rows weighted by `gain`, in upper banded form as LAPACK wants it.

        Parameters
        ----------
        data : ndarray
            Stored values, as `stored` gives them.
        gain : ndarray, shape (m,)
        """
        low, high = self.column[self.first], self.column[self.second]
        width = max(int((high - low).max(initial=0)), 1)
        product = (data * gain[self.row])[self.first] * data[self.second]
        at = (width - (high - low)) * self.shape[1] + high
        flat = np.bincount(at, product, (width + 1) * self.shape[1])
        return np.asarray(flat, dtype=float).reshape(width + 1, self.shape[1])


def added(one: Array, other: Array) -> Array:
    """Sum of two matrices in upper banded form; `one` is at least as wide as `other`."""
    total = one.copy()
    total[len(one) - len(other) :] += other
    return total


def banded_times(band: Array, vector: Array) -> Array:
    """Product of a symmetric matrix of one diagonal beside its own, in that form, and a vector."""
    beside, found = band[0, 1:], band[1] * vector
    found[1:] += beside * vector[:-1]
    found[:-1] += beside * vector[1:]
    return found


def factored(band: Array) -> Array:
    """Cholesky factor of a matrix in upper banded form, in the same form.

    Raises
    ------
    numpy.linalg.LinAlgError
        It is not positive definite.
    """
    factor, fault = dpbtrf(band)
    if fault:
        raise np.linalg.LinAlgError(f"the leading minor {fault} is not positive definite")
    return np.asarray(factor)


def solved_band(factor: Array, asked: Array) -> Array:
    """Solve a banded system by its factor for a vector, or for each column."""
    found, _ = dpbtrs(factor, asked)
    return np.asarray(found)
