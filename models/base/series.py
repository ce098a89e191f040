"""Plain helpers for autocorrelated series: block means, long-run variance, slow baselines.

A minute of plant data says almost nothing that the minute before did not say. What decides
whether a shift of the mean is real is therefore not the spread of single readings but the
long-run variance: the variance of a sum, per reading.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Fewer differences of block means than this tell no long-run variance.
LEAST_DIFFERENCES = 4
#: A running median needs this share of what lies on one side of it.
LEAST_OF_HALF = 1 / 8
_NORMAL_MAD = 1.4826
_NORMAL_10_90 = 2.5631


def block_means(values: Array, width: int, min_share: float = 0.5) -> Array:
    """Mean of consecutive blocks, missing where too little of the block was measured.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Series with NaN where missing.
    width : int
        Readings in a block; an incomplete last block is kept.
    min_share : float
        Share of a block that must be present.

    Returns
    -------
    ndarray, shape (ceil(n / width),)
    """
    if width < 1:
        raise ValueError(f"width must be at least 1, got {width}")
    padding = -len(values) % width
    padded = np.concatenate([values, np.full(padding, np.nan)]).reshape(-1, width)
    present = np.isfinite(padded)
    counts = present.sum(axis=1)
    sums = np.where(present, padded, 0.0).sum(axis=1)
    size = np.full(len(padded), width)
    if padding:
        size[-1] = width - padding
    enough = counts >= np.maximum(min_share * size, 1)
    return np.where(enough, sums / np.maximum(counts, 1), np.nan)


def middle_of(values: Array) -> float:
    """Median of readings of which none is missing, as `numpy.median` gives it.

    That one looks for missing ones and for axes first, which takes longer than the rest.
    """
    half, odd = divmod(len(values), 2)
    if odd:
        return float(np.partition(values, half)[half])
    parted = np.partition(values, (half - 1, half))
    return float((parted[half - 1] + parted[half]) / 2.0)


def robust_sd(values: Array) -> float:
    """Spread that a third of outliers does not move; never zero for a series that varies.

    The median absolute deviation collapses on quantised tags, so the larger of it and of the
    scaled 10-90 % range is taken.
    """
    clean = values[np.isfinite(values)]
    if len(clean) < 3:
        return float("nan")
    mad = _NORMAL_MAD * middle_of(np.abs(clean - middle_of(clean)))
    low, high = np.quantile(clean, [0.1, 0.9])
    return max(mad, 0.5 * float(high - low) / _NORMAL_10_90)


def robust_sds(rows: Array) -> Array:
    """`robust_sd` of each row, shape (k,), of readings of shape (k, m), NaN where missing."""
    rising = np.sort(rows, axis=1)  # what is missing comes last
    counts = np.isfinite(rows).sum(axis=1)
    away = np.sort(np.abs(rows - _in_order(rising, counts, 0.5)[:, None]), axis=1)
    mad = _NORMAL_MAD * _in_order(away, counts, 0.5)
    range_80 = _in_order(rising, counts, 0.9) - _in_order(rising, counts, 0.1)
    return np.where(counts < 3, np.nan, np.maximum(mad, 0.5 * range_80 / _NORMAL_10_90))


def _in_order(rising: Array, counts: NDArray[np.int64], share: float) -> Array:
    """Quantile of each row, straight between two readings; the first `counts` are known."""
    place = share * np.maximum(counts - 1, 0)
    under = place.astype(np.int64)
    over = np.minimum(under + 1, np.maximum(counts - 1, 0))
    rows = np.arange(len(rising))
    low, high = rising[rows, under], rising[rows, over]
    return np.asarray(low + (place - under) * (high - low))


def long_run_variance(values: Array, block: int = 16) -> float:
    """Variance of a sum per reading, from differences of adjacent block means.

    Differences cancel slow drift and single shifts; the robust spread ignores the few blocks in
    which something happened. Valid while the correlation time is shorter than a block.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Series with NaN where missing.
    block : int
        Readings in a block.

    Returns
    -------
    float
        Long-run variance [unit of values, squared]; NaN with fewer than four block differences.
    """
    means = block_means(values, block)
    steps = np.diff(means)
    steps = steps[np.isfinite(steps)]
    if len(steps) < LEAST_DIFFERENCES:
        return float("nan")
    return robust_sd(steps) ** 2 / 2.0 * block


def running_median(values: Array, keep: NDArray[np.bool_], half_width: int, step: int) -> Array:
    """Slow baseline: median of the kept readings within `half_width` on either side.

    Computed every `step` readings and joined by straight lines. Where a window holds no kept
    reading the overall median of the kept readings stands in (zero when nothing is kept).

    Parameters
    ----------
    values : ndarray, shape (n,)
        Series with NaN where missing.
    keep : ndarray of bool, shape (n,)
        False where something is known to have happened.
    half_width, step : int
        In readings.

    Returns
    -------
    ndarray, shape (n,)
    """
    usable = keep & np.isfinite(values)
    overall = middle_of(values[usable]) if usable.any() else 0.0
    centres = np.arange(0, len(values) + step, step)
    medians = np.full(len(centres), overall)
    for i, centre in enumerate(centres):
        window = slice(max(centre - half_width, 0), centre + half_width + 1)
        chosen = values[window][usable[window]]
        if len(chosen) >= max(int(half_width * LEAST_OF_HALF), 1):
            medians[i] = middle_of(chosen)
    return np.interp(np.arange(len(values)), centres, medians)


def runs_of(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Start (inclusive) and end (exclusive) of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def bridge_runs(runs: list[tuple[int, int]], gap: int) -> list[tuple[int, int]]:
    """Join runs that lie no further apart than `gap` readings."""
    joined: list[tuple[int, int]] = []
    for start, end in sorted(runs):
        if joined and start - joined[-1][1] <= gap:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return joined


def nan_sum(parts: Mapping[str, Array]) -> Array:
    """Sum of series, a missing entry counting as zero."""
    return np.asarray(np.nansum(np.stack(list(parts.values())), axis=0))
