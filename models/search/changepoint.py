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

from models.base import Array, long_run_variance, runs_of

#: Readings searched at once: two weeks of quarter-hours.
WINDOW = 1_344
#: Price inside a window: one that ends near an episode sees less of what it stands out from.
_CHEAPER = 0.7


@dataclass(frozen=True, slots=True)
class Segment:
    """A period of readings with one mean.

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


def default_penalty(n: int, z_min: float) -> float:
    """Price of a change point where no chance curve of the mill's own is known yet.

    Parameters
    ----------
    n : int
        Readings searched.
    z_min : float
        Standard errors a period must differ by to be worth its two change points, on top of the
        price ``2 log n`` of having searched everywhere.

    Returns
    -------
    float
        In units of the long-run variance; on AR(1) noise it lets through far fewer changes than
        `z_min` alone promises (``tests/models/test_changepoint.py``).
    """
    return math.log(max(n, 2)) + 0.5 * z_min**2


def change_points(values: Array, lrv: float, penalty: float, min_size: int = 2) -> list[int]:
    """Positions where the mean changes, without 0 and n.

    The least-squares optimum. A series longer than `WINDOW` is searched in windows that overlap by
    half, at a lower price and at the full one; the best choice among all their points is then made
    over the whole series, so that seams decide nothing (in forty drawn seasons every point was
    that of one search over the whole) and a season without any change costs seconds, not minutes.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Finite series, evenly spaced.
    lrv : float
        Long-run variance [unit squared].
    penalty : float
        Price of a change point [long-run variances]; see `default_penalty` and
        ``models.search.chance``.
    min_size : int
        Shortest period [readings].

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
    scaled = values / math.sqrt(lrv)
    if n <= WINDOW:
        return _search(scaled, penalty, min_size)
    points: set[int] = set()
    for start in range(0, n - WINDOW // 2, WINDOW // 2):
        part = scaled[start : start + WINDOW]
        if cheap := _search(part, _CHEAPER * penalty, min_size):
            points.update(start + i for i in (*cheap, *_search(part, penalty, min_size)))
    return _moved(scaled, _best_of(scaled, sorted(points), penalty, min_size), min_size)


def _search(scaled: Array, penalty: float, min_size: int) -> list[int]:
    """Exact search of one window."""
    signal: NDArray[np.float64] = scaled.reshape(-1, 1)
    found = ruptures.KernelCPD(kernel="linear", min_size=min_size).fit(signal).predict(pen=penalty)
    return [int(i) for i in found[:-1]]


def _best_of(scaled: Array, points: list[int], penalty: float, min_size: int) -> list[int]:
    """Exact choice among few points: optimal partitioning over them alone.

    Source: B. Jackson et al., IEEE Signal Process. Lett. 12 (2005) 105-108 (memory).
    """
    edges = np.array([0, *points, len(scaled)])
    sums = np.concatenate([[0.0], np.cumsum(scaled)])[edges]
    cost = np.full(len(edges), np.inf)
    cost[0] = -penalty
    before = np.zeros(len(edges), dtype=int)
    for j in range(1, len(edges)):
        length = edges[j] - edges[:j]
        # Squares summed over the whole series are the same for every choice and are left out.
        gain = (sums[j] - sums[:j]) ** 2 / length
        total = np.where(length >= min_size, cost[:j] - gain + penalty, np.inf)
        before[j] = int(np.argmin(total))
        cost[j] = total[before[j]]
    chosen, j = [], len(edges) - 1
    while before[j] > 0:
        j = int(before[j])
        chosen.append(int(edges[j]))
    return chosen[::-1]


def _moved(scaled: Array, points: list[int], min_size: int) -> list[int]:
    """Move each point to its best place between its neighbours, until none moves."""
    sums = np.concatenate([[0.0], np.cumsum(scaled)])
    edges = [0, *points, len(scaled)]
    for _ in range(4):
        before = list(edges)
        for k in range(1, len(edges) - 1):
            first, last = edges[k - 1], edges[k + 1]
            at = np.arange(first + min_size, last - min_size + 1)
            left, right = sums[at] - sums[first], sums[last] - sums[at]
            edges[k] = int(at[np.argmax(left**2 / (at - first) + right**2 / (last - at))])
        if edges == before:
            break
    return edges[1:-1]


def segments(
    values: Array, penalty: float, min_size: int = 2, lrv: float | None = None, bridge: int = 32
) -> list[Segment]:
    """Periods of constant mean of a series with gaps.

    A gap of up to `bridge` readings is bridged by a straight line, a longer one by zero, the value
    of a residual when nothing happens. Means and their errors use measured readings only.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Residual with NaN where missing.
    penalty, min_size
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
    bounds = [0, *change_points(filled, spread, penalty, min_size), len(values)]
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
