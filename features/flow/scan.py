"""First-order linear recurrence over long series without a loop over all minutes."""

from __future__ import annotations

import numpy as np

from features.base import FloatArray, dtbtrs


def linear_recurrence(a: FloatArray, b: FloatArray, start: FloatArray | float) -> FloatArray:
    """Solve ``y[t] = a[t] * y[t-1] + b[t]`` with ``y[-1] = start``.

    Parameters
    ----------
    a : ndarray, shape (n,)
        Multiplier of each step [-], within [-1, 1] for a stable recurrence.
    b : ndarray, shape (n,) or (n, m)
        Input of each step [unit of the result]; one column per series.
    start : float or ndarray, shape (m,)
        Value before the first step [unit of the result].

    Returns
    -------
    ndarray, shape of `b`
        The series y.

    Raises
    ------
    ValueError
        If `a` and `b` differ in length.

    Notes
    -----
    The recurrence is a lower bidiagonal system with a unit diagonal; LAPACK's banded triangular
    solver runs through it once, with no division, so that multipliers of zero (a vessel flushed
    within a minute) do no harm.
    """
    if a.shape[0] != b.shape[0]:
        raise ValueError(
            f"linear_recurrence: a has {a.shape[0]} rows, b has {b.shape[0]}; give both the same"
        )
    if b.shape[0] == 0:
        return b.copy()
    rows = np.array(b.reshape(b.shape[0], -1), dtype=np.float64, order="F")
    rows[0] += a[0] * start
    return np.ascontiguousarray(solve_band(band_of(a), rows)).reshape(b.shape)


def band_of(a: FloatArray) -> FloatArray:
    """Bidiagonal system of a recurrence with these multipliers, as LAPACK stores it."""
    band = np.ones((2, a.shape[0]), order="F")
    band[1, :-1] = -a[1:]
    return band


def solve_band(band: FloatArray, rows: FloatArray) -> FloatArray:
    """Solve the system of `band_of` for columns in Fortran's order, which are overwritten.

    The first row already holds what the value before the first step adds to it.
    """
    solved, _ = dtbtrs(band, rows, uplo="L", diag="U", overwrite_b=True)
    return np.asarray(solved)
