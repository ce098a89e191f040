"""Unusual periods of a plant whose physics is not described: tags alone, no tonnes.

Each signal is compared with its own slow course and with what the other signals say of it. Their
squared surprises are summed, averaged over 15 minutes, and a period is reported where that mean
exceeds a limit set on a training part of the record to a stated rate of false periods.

No command asks for it, as every mill describes its train: the benchmark on a real plant's record
(``tests/benchmarks/real_plant.py``) does, where there is no train to describe.
"""

from __future__ import annotations

import math

import numpy as np
import polars as pl
from numpy.typing import NDArray
from sklearn.linear_model import Ridge

from models.base import Array, bridge_runs, robust_sd, runs_of

_WINDOW = 15
_CAP = 100.0
_TAIL_LEVEL = 0.95
SCHEMA = pl.Schema(
    {"started": pl.Datetime("us", "UTC"), "ended": pl.Datetime("us", "UTC"), "score": pl.Float64()}
)


def unusual_periods(grid: pl.DataFrame, train_rows: int, false_per_week: float) -> pl.DataFrame:
    """Periods in which the signals behave as they did not in the training part.

    Parameters
    ----------
    grid : DataFrame
        ``ts_utc`` every minute, one column a signal, null where missing.
    train_rows : int
        Minutes from the start taken as usual; they set scales and limit and are not reported.
    false_per_week : float
        Periods a week that the limit would have let through in the training part.

    Returns
    -------
    DataFrame
        Columns of ``SCHEMA``, in order of time.

    Raises
    ------
    ValueError
        If the training part is shorter than two days or longer than the record.
    """
    score = surprise(grid, train_rows)
    limit = limit_for(score[:train_rows], false_per_week)
    high = np.nan_to_num(score, nan=0.0) > limit
    high[:train_rows] = False
    times = grid["ts_utc"]
    rows = [
        {"started": times[a], "ended": times[b - 1], "score": float(np.nanmax(score[a:b]) / limit)}
        for a, b in bridge_runs(runs_of(high), 4 * _WINDOW)
    ]
    return pl.DataFrame(rows, schema=SCHEMA)


def surprise(grid: pl.DataFrame, train_rows: int) -> Array:
    """Mean squared surprise of all signals over 15 minutes, one value a minute.

    Raises
    ------
    ValueError
        If `train_rows` does not fit the record.
    """
    if not 2 * 1440 <= train_rows < len(grid):
        raise ValueError(
            f"train_rows must lie between 2880 (two days) and {len(grid) - 1}, got {train_rows}"
        )
    names = [c for c in grid.columns if c != "ts_utc"]
    raw = np.stack([grid[c].fill_null(float("nan")).to_numpy() for c in names], axis=1)
    slow = raw - _slow_course(grid, names)
    parts = [_standard(column, train_rows) for column in slow.T]
    parts += [_standard(column, train_rows) for column in _cross_residuals(slow, train_rows).T]
    stack = np.minimum(np.stack(parts) ** 2, _CAP)
    known = np.isfinite(stack).sum(axis=0)
    squares = np.where(known > 0, np.nansum(stack, axis=0) / np.maximum(known, 1), np.nan)
    return _trailing_mean(squares, _WINDOW)


def limit_for(training: Array, false_per_week: float) -> float:
    """Limit that an ordinary record of this kind exceeds in `false_per_week` runs a week.

    Peaks over threshold: the runs above the 95 % level of the training score have highest values
    whose excess is taken as exponential, which carries the limit beyond what so short a record
    has shown (A. C. Davison & R. L. Smith, J. R. Stat. Soc. B 52 (1990) 393-442; memory).

    Parameters
    ----------
    training : ndarray, shape (n,)
        Score of the training part, one value a minute, NaN where missing.
    false_per_week : float
        Runs a week.

    Raises
    ------
    ValueError
        If fewer than four runs rise above the level: the record is too short to learn from.
    """
    score = np.nan_to_num(training, nan=0.0)
    level = float(np.nanquantile(training, _TAIL_LEVEL))
    peaks = [score[a:b].max() for a, b in bridge_runs(runs_of(score > level), 4 * _WINDOW)]
    if len(peaks) < 4:
        raise ValueError(f"only {len(peaks)} runs to learn the tail from: train on more days")
    scale = float(np.mean(peaks)) - level
    runs_per_week = len(peaks) / (len(training) / 10_080.0)
    return level + scale * max(math.log(runs_per_week / false_per_week), 0.0)


def _slow_course(grid: pl.DataFrame, names: list[str]) -> Array:
    """Median of the four hours before: what the signal has been lately."""
    medians = grid.select(
        [pl.col(n).shift(1).rolling_median(window_size=241, min_samples=30) for n in names]
    )
    return np.stack([medians[n].fill_null(float("nan")).to_numpy() for n in names], axis=1)


def _cross_residuals(slow: Array, train_rows: int) -> Array:
    """Each signal less what the others' departures say of it (ridge, fitted on training rows)."""
    filled = np.nan_to_num(slow, nan=0.0)
    scale = np.array([max(robust_sd(c[:train_rows]), 1e-9) for c in filled.T])
    scaled = np.clip(filled / scale, -8.0, 8.0)
    rest = np.full(slow.shape, np.nan)
    for j in range(slow.shape[1]):
        others = np.delete(scaled, j, axis=1)
        model = Ridge(alpha=10.0).fit(others[:train_rows], scaled[:train_rows, j])
        rest[:, j] = np.where(
            np.isfinite(slow[:, j]), filled[:, j] / scale[j] - model.predict(others), np.nan
        )
    return rest


def _standard(column: Array, train_rows: int) -> Array:
    spread = robust_sd(column[:train_rows])
    return column / spread if spread > 0 else np.zeros(len(column))


def _trailing_mean(values: Array, width: int) -> Array:
    present: NDArray[np.bool_] = np.isfinite(values)
    sums = np.concatenate([[0.0], np.cumsum(np.where(present, values, 0.0))])
    counts = np.concatenate([[0], np.cumsum(present)])
    low = np.maximum(np.arange(len(values)) - width + 1, 0)
    high = np.arange(len(values)) + 1
    count = counts[high] - counts[low]
    return np.where(count > 0, (sums[high] - sums[low]) / np.maximum(count, 1), np.nan)
