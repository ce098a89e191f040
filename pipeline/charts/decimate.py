"""Fewer points for a chart, without losing what the eye must see.

`envelope` keeps the lowest and highest reading of every time bucket, so a short spike stays
visible. `bucket_means` keeps the mean, so the area under a rate, the tonnes, stays right.
Both break the line where readings are missing.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

Point = tuple[int, float | None]
Window = tuple[int, int]
_MINUTE_MS = 60_000


def _readings(frame: pl.DataFrame, column: str) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Epoch milliseconds and finite values of one column, in time order."""
    kept = (
        frame.select(
            pl.col("ts_utc").dt.epoch("ms").alias("ms"),
            pl.col(column).cast(pl.Float64, strict=False).alias("value"),
        )
        .filter(pl.col("value").is_finite())
        .sort("ms")
    )
    return kept["ms"].to_numpy(), kept["value"].to_numpy()


def _buckets(window: Window, wanted: int) -> tuple[int, int]:
    """Bucket width [ms] and number of buckets; never finer than a minute."""
    start, end = window
    width = max(_MINUTE_MS, -(-(end - start) // max(1, wanted)))
    return width, max(1, -(-(end - start) // width))


def _with_breaks(points: list[Point], filled: set[int], window: Window, width: int) -> list[Point]:
    """Add one empty point at the start of every run of empty buckets."""
    count = max(1, -(-(window[1] - window[0]) // width))
    breaks = [
        (window[0] + bucket * width + width // 2, None)
        for bucket in range(count)
        if bucket not in filled and (bucket == 0 or bucket - 1 in filled)
    ]
    return sorted([*points, *breaks], key=lambda point: point[0])


def envelope(frame: pl.DataFrame, column: str, window: Window, points: int) -> list[Point]:
    """Lowest and highest value of each bucket, in the order they came.

    Parameters
    ----------
    frame : polars.DataFrame
        With ``ts_utc`` and `column`.
    column : str
        Column to draw, any unit.
    window : tuple of int
        Start (inclusive) and end (exclusive), epoch milliseconds UTC.
    points : int
        About the largest number of points wanted.

    Returns
    -------
    list of (int, float or None)
        Epoch milliseconds and value; None breaks the line.
    """
    times, values = _readings(frame, column)
    inside = (times >= window[0]) & (times < window[1])
    times, values = times[inside], values[inside]
    width, _ = _buckets(window, points // 2)
    bucket = (times - window[0]) // width
    order = np.lexsort((values, bucket))
    ranked = bucket[order]
    changes = ranked[1:] != ranked[:-1]
    edge = np.ones(min(1, ranked.size), dtype=bool)
    ends = (order[np.concatenate((edge, changes))], order[np.concatenate((changes, edge))])
    kept = np.unique(np.concatenate(ends))
    drawn: list[Point] = [(int(times[i]), float(values[i])) for i in kept]
    return _with_breaks(drawn, set(bucket.tolist()), window, width)


def bucket_means(frame: pl.DataFrame, column: str, window: Window, points: int) -> list[Point]:
    """Mean of each bucket at its middle; parameters and result as in :func:`envelope`."""
    times, values = _readings(frame, column)
    inside = (times >= window[0]) & (times < window[1])
    width, count = _buckets(window, points)
    bucket = (times[inside] - window[0]) // width
    sums = np.bincount(bucket, weights=values[inside], minlength=count)
    rows = np.bincount(bucket, minlength=count)
    drawn: list[Point] = [
        (window[0] + i * width + width // 2, float(sums[i] / rows[i]))
        for i in np.flatnonzero(rows).tolist()
    ]
    return _with_breaks(drawn, set(bucket.tolist()), window, width)
