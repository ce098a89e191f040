"""Readings tag by tag: a long frame in order of tag and time, and the rows of each tag in it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from itertools import accumulate
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

_TIME: Final = pl.Datetime("us", "UTC")
#: Readings as one long frame (ts_utc, tag, value, bad, reason), or each tag's by its name.
Readings = pl.DataFrame | Mapping[str, pl.DataFrame]

#: Calls a function on each of several arguments, in order, as ``map`` does; that of a pool of
#: threads does it on several cores.
Each = Callable[[Callable[..., Any], Iterable[Any]], Iterable[Any]]


def by_tag(readings: Readings) -> Mapping[str, pl.DataFrame]:
    """Readings of each tag, in order of time; what is parted already is given back as it is."""
    if isinstance(readings, Mapping):
        return readings
    return rows_by_tag(in_order(readings))


def in_order(readings: pl.DataFrame) -> pl.DataFrame:
    """Sort readings by tag and time; those of one instant keep their order.

    Parameters
    ----------
    readings : polars.DataFrame
        ts_utc, tag and more, in any order.

    Notes
    -----
    Stored readings are in order already, and to look is far cheaper than to sort.
    """
    runs = readings["tag"].rle().struct
    tags = runs.field("value")
    if not (tags.null_count() == 0 and (tags.shift(1) < tags).all()):
        return readings.sort("tag", "ts_utc", maintain_order=True)
    back = np.flatnonzero(np.diff(times_us(readings)) < 0) + 1
    starts = runs.field("len").cum_sum().to_numpy()
    ordered = np.isin(back, starts).all()  # time may fall only where the next tag begins
    return readings if ordered else readings.sort("tag", "ts_utc", maintain_order=True)


def rows_by_tag(ordered: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """Rows of each tag in a frame sorted by tag, without looking any of them up."""
    lengths = ordered["tag"].rle().struct.field("len").to_list()
    starts = [0, *accumulate(lengths)]
    parts = [ordered.slice(start, rows) for start, rows in zip(starts, lengths, strict=False)]
    return {part["tag"][0]: part for part in parts}


def times_us(part: pl.DataFrame) -> NDArray[np.int64]:
    """Times of readings in microseconds since 1970."""
    times = part["ts_utc"]
    if times.dtype != _TIME:
        times = times.cast(_TIME)
    return times.to_numpy().view(np.int64)


def values(part: pl.DataFrame) -> NDArray[np.float64]:
    """Values of readings, NaN where there is none."""
    column = part["value"]
    return (column if column.dtype == pl.Float64 else column.cast(pl.Float64)).to_numpy()
