"""Change points with a penalty scaled to the long-run variance.

The search is ruptures' exact kernel search with the linear kernel (least squares). The penalty is
what keeps it honest: on autocorrelated data the usual choices find dozens of changes where there
are none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import ruptures
from numpy.typing import NDArray
from scipy.stats import norm

from models.series import Array, long_run_variance, runs_of


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of readings with one mean.

    Attributes
    ----------
    start, end : int
        First reading and the one after the last.
    mean : float
        Mean of the measured readings [unit of the series].
    z : float
        Mean in standard errors, from the long-run variance.
    """

    start: int
    end: int
    mean: float
    z: float


def z_for_false_rate(false_per_week: float, series: int, window_h: float = 6.0) -> float:
    """Standard errors a shift must reach so that chance passes at most `false_per_week`.

    Counts a week as independent windows of `window_h` hours in each of `series` series
    (a normal tail; autocorrelation is already in the long-run variance).

    Raises
    ------
    ValueError
        If a rate or a count is not positive.
    """
    if false_per_week <= 0 or series < 1 or window_h <= 0:
        raise ValueError("false_per_week, series and window_h must be positive")
    tests = series * 168.0 / window_h
    return float(norm.isf(min(false_per_week / tests, 0.5)))


def change_points(values: Array, lrv: float, z_min: float, min_size: int = 2) -> list[int]:
    """Positions where the mean changes, without 0 and n.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Finite series, evenly spaced.
    lrv : float
        Long-run variance [unit squared].
    z_min : float
        Standard errors a stretch must differ by to be worth its two change points, on top of the
        price ``2 log n`` of having searched everywhere.
    min_size : int
        Shortest stretch [readings].

    Raises
    ------
    ValueError
        If a value is not finite (a single NaN makes the search return nonsense without a word).
    """
    if not np.isfinite(values).all():
        raise ValueError("values must be finite: fill or cut gaps before looking for changes")
    n = len(values)
    if n < 2 * min_size or not (lrv > 0 and math.isfinite(lrv)):
        return []
    scaled: NDArray[np.float64] = (values / math.sqrt(lrv)).reshape(-1, 1)
    penalty = math.log(n) + 0.5 * z_min**2
    found = ruptures.KernelCPD(kernel="linear", min_size=min_size).fit(scaled).predict(pen=penalty)
    return [int(i) for i in found[:-1]]


def segments(
    values: Array,
    z_min: float,
    min_size: int = 2,
    lrv: float | None = None,
    bridge: int = 32,
) -> list[Segment]:
    """Stretches of constant mean of a series with gaps.

    A gap of up to `bridge` readings is bridged by a straight line, a longer one by zero, the value
    of a residual when nothing happens. Means and their errors use measured readings only.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Residual with NaN where missing.
    z_min, min_size
        See `change_points`.
    lrv : float, optional
        Long-run variance; estimated from `values` when absent.
    bridge : int
        Longest gap bridged [readings].
    """
    measured = np.isfinite(values)
    spread = long_run_variance(values) if lrv is None else lrv
    if not measured.any() or not (spread > 0 and math.isfinite(spread)):
        return []
    filled = _bridged(values, measured, bridge)
    bounds = [0, *change_points(filled, spread, z_min, min_size), len(values)]
    result = []
    for start, end in pairwise(bounds):
        count = int(measured[start:end].sum())
        mean = float(values[start:end][measured[start:end]].mean()) if count else 0.0
        result.append(Segment(start, end, mean, mean * math.sqrt(count / spread)))
    return result


def _bridged(values: Array, measured: NDArray[np.bool_], bridge: int) -> Array:
    known = np.flatnonzero(measured)
    filled = np.interp(np.arange(len(values)), known, values[known])
    for start, end in runs_of(~measured):
        if end - start > bridge or start == 0 or end == len(values):
            filled[start:end] = 0.0
    return filled
