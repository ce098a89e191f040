"""A stop made shorter or longer: minutes taken out of it, or put into it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import BoolArray, FloatArray
from features.replay.change import Change
from features.replay.readings import Readings

#: Juice stands when less of it flows in than this share of the target, for as long as this [min].
_LEAST_MIN = 10
#: Time before the end of a stop over which its cooling is read [min], the fastest cooling that is
#: carried on [K/min], and where it ends [degC] (estimates).
_COOLING_MIN, _FASTEST_K_MIN, _COLDEST_DEGC = 120, 0.05, 40.0


def stops_in(stopped: BoolArray, inside: BoolArray) -> list[tuple[int, int]]:
    """First and last-plus-one row of each stop that lies in a period, or touches it."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], stopped.astype(np.int8), [0]))))
    runs = [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [(a, b) for a, b in runs if b - a >= _LEAST_MIN and inside[a:b].any()]


def rows_with_stop(
    stopped: BoolArray, inside: BoolArray, change: Change
) -> tuple[NDArray[np.intp], tuple[int, int], float]:
    """Recorded row behind each row of a season whose stop lasts otherwise.

    Parameters
    ----------
    stopped, inside : ndarray of bool, shape (n,)
        Minutes without feed, and of the period.
    change : Change
        ``stop_h`` [h].

    Returns
    -------
    source : ndarray of int, shape (m,)
        Rows of the record, in order; those put in repeat the last one of the stop.
    stop : tuple of int
        First and last-plus-one row of the stop in the record.
    hours : float
        How long it lasted [h].

    Raises
    ------
    ValueError
        There is no stop in the period, or less than nothing of it would be left.
    """
    found = stops_in(stopped, inside)
    if not found:
        raise ValueError("no stop of 10 minutes or more lies in this period")
    first, last = max(found, key=lambda run: run[1] - run[0])
    hours = (last - first) / 60.0
    wanted = float(change.on(np.array([hours]))[0])
    if wanted < 0.0:
        raise ValueError(f"the stop lasted {hours:.1f} h; it cannot be shorter than nothing")
    by = round(60.0 * (wanted - hours))
    rows = np.arange(stopped.shape[0])
    if by <= 0:
        # What stood, stood from the start; it flows again earlier.
        return np.concatenate((rows[: last + by], rows[last:])), (first, last), hours
    return np.insert(rows, last, np.full(by, last - 1)), (first, last), hours


def rearranged(readings: Readings, source: NDArray[np.intp]) -> Readings:
    """Readings in another order of rows; temperatures fall on through rows that were put in."""
    start = readings.times[0]
    times = pl.datetime_range(
        start,
        start + timedelta(minutes=len(source) - 1),
        "1m",
        eager=True,
        time_unit="us",
    )
    repeated = np.concatenate(([False], np.diff(source) == 0))
    warm = {s.name for s in readings.station.signals if s.quantity == "temperature"}
    columns = {}
    for name, values in readings.columns.items():
        moved = values[source]
        columns[name] = _cooling_on(moved, repeated) if name in warm else moved
    return replace(readings, times=times.alias("ts_utc"), columns=columns)


def _cooling_on(values: FloatArray, repeated: BoolArray) -> FloatArray:
    rows = np.flatnonzero(repeated)
    if not rows.size:
        return values
    end = rows[0] - 1
    begin = max(end - _COOLING_MIN, 0)
    pace = (values[end] - values[begin]) / max(end - begin, 1)
    if not np.isfinite(pace):
        return values
    fall = np.clip(pace, -_FASTEST_K_MIN, 0.0) * np.arange(1, rows.size + 1)
    out = values.copy()
    out[rows] = np.maximum(values[rows] + fall, np.minimum(values[end], _COLDEST_DEGC))
    return out
