"""The one-minute grid: time-weighted means of unevenly spaced historian readings.

A historian stores a value when it changes, so the plain mean of the stored readings weights
busy moments too heavily. Here every reading counts for as long as it held. Each tag is read as
a function of time (a step, or a straight line between readings), integrated once, and the
running integral is read off at the minute edges.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Each, Readings, Signal, by_tag, times_us, values

#: Width of one grid cell [s].
MINUTE_S = 60
#: Share of a minute that readings must cover before its mean is given; common practice.
COVERED_SHARE = 0.5
#: A straight line that is not bridged holds its last reading for this many sampling intervals.
HOLD_INTERVALS = 2.0

#: Values whose median is taken for a middle: any will do, and a season has millions.
_FOR_MIDDLE = 1000

_US = 1_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def to_grid(
    readings: Readings,
    signals: Sequence[Signal],
    start_utc: datetime,
    end_utc: datetime,
    each: Each = map,
) -> pl.DataFrame:
    """Time-weighted mean of every signal in each minute of ``[start_utc, end_utc)``.

    Parameters
    ----------
    readings : polars.DataFrame or mapping
        Columns ts_utc, tag, value, bad (others are ignored), in any order; or as
        `features.base.readings.by_tag` parts them. Values in each signal's inside unit. Rows before
        `start_utc` carry the last value in, rows after `end_utc` close the last straight line;
        both are welcome and neither is required.
    signals : sequence of Signal
        What to put on the grid; one column each, called ``Signal.name``.
    start_utc, end_utc : datetime
        Whole minutes with a time zone; the end is left out.
    each : callable
        Goes through the tags, as ``map`` does.

    Returns
    -------
    polars.DataFrame
        ts_utc (left edge of the minute, UTC, every minute present) and one Float64 column per
        signal. Null where readings cover less than half of the minute.

    Raises
    ------
    ValueError
        Window not whole minutes, without time zone or empty; two signals of one name.

    Notes
    -----
    Bad, null and non-finite readings are left out; the good ones on either side are joined
    across them as long as they lie within ``Signal.longest_gap_min``. Across a longer silence a
    step holds for ``longest_gap_min`` and a straight line for two sampling intervals; what
    follows is null until the next good reading.
    """
    edges_us = _minute_edges(start_utc, end_utc)
    _require_unique_names(signals)
    parts = by_tag(readings)
    columns = {
        "ts_utc": pl.Series(edges_us[:-1]).cast(pl.Datetime("us")).dt.replace_time_zone("UTC")
    }
    series = each(lambda signal: _grid_tag(parts.get(signal.tag), signal, edges_us), signals)
    return pl.DataFrame(columns | dict(zip((s.name for s in signals), series, strict=True)))


def minute_means(
    at_us: Ints, value: Floats, covered_until_us: Ints, end_value: Floats, edges_us: Ints
) -> tuple[Floats, Floats]:
    """Mean and covered share of a piecewise straight function between consecutive edges.

    Parameters
    ----------
    at_us, covered_until_us : numpy.ndarray
        Start and end of each piece [us], starts strictly rising, no piece past the next start.
    value, end_value : numpy.ndarray
        Value at the start and at the end of each piece.
    edges_us : numpy.ndarray
        Rising edges [us]; n + 1 edges give n cells.

    Returns
    -------
    mean, share : numpy.ndarray
        Mean over the covered part (NaN where nothing is covered) and covered share, 0 to 1.
    """
    # Integrating the distance to a middle value keeps the running sum small: a constant signal
    # then comes back exactly, and a season loses no digits.
    middle = float(np.median(value[:: 1 + value.size // _FOR_MIDDLE]))
    length_us = covered_until_us - at_us
    start, end = value - middle, end_value - middle
    area, covered = np.zeros(value.size + 1), np.zeros(value.size + 1, dtype=np.int64)
    np.cumsum(0.5 * (start + end) * length_us, out=area[1:])
    np.cumsum(length_us, out=covered[1:])

    piece = np.searchsorted(at_us, edges_us, side="right") - 1
    inside = piece >= 0
    piece = np.maximum(piece, 0)
    start, end, length = start[piece], end[piece], length_us[piece]
    slope = np.divide(end - start, length, out=np.zeros_like(start), where=length > 0)
    into_us = np.where(inside, np.clip(edges_us - at_us[piece], 0, length), 0)
    area_at = area[piece] + (start + 0.5 * slope * into_us) * into_us
    covered_us = np.diff(covered[piece] + into_us)
    mean = np.full(len(covered_us), np.nan)
    np.divide(np.diff(area_at), covered_us, out=mean, where=covered_us > 0)
    return mean + middle, covered_us / np.diff(edges_us)


def _grid_tag(part: pl.DataFrame | None, signal: Signal, edges_us: Ints) -> pl.Series:
    """One grid column from the readings of its tag."""
    if part is None:
        return _null_series(len(edges_us) - 1)
    at_us, value = _good_within(part, edges_us)
    if at_us.size == 0:
        return _null_series(len(edges_us) - 1)
    until_us, end_value = _pieces(at_us, value, signal)
    mean, share = minute_means(at_us, value, until_us, end_value, edges_us)
    mean[share < COVERED_SHARE] = np.nan
    return pl.Series(mean, dtype=pl.Float64).fill_nan(None)


def _good_within(part: pl.DataFrame, edges_us: Ints) -> tuple[Ints, Floats]:
    """Times [us] and values of the good readings of a window, one of each instant.

    The last one before the window and the first one after it come along.
    """
    at_us, value = times_us(part), values(part)
    good = np.isfinite(value)
    good &= ~part["bad"].to_numpy()
    if not good.all():
        at_us, value = at_us[good], value[good]
    new = at_us[1:] > at_us[:-1]
    if not new.all():
        new = np.append(True, new)
        at_us, value = at_us[new], value[new]
    begin = max(int(np.searchsorted(at_us, edges_us[0], "right")) - 1, 0)
    end = int(np.searchsorted(at_us, edges_us[-1], "left")) + 1
    return at_us[begin:end], value[begin:end]


def _pieces(at_us: Ints, value: Floats, signal: Signal) -> tuple[Ints, Floats]:
    """How far each reading reaches [us] and the value at that end."""
    gap_us = round(signal.longest_gap_min * 60 * _US)
    after_us = np.append(at_us[1:], np.iinfo(np.int64).max)
    silence_us = after_us - at_us
    if signal.interpolation == "step":
        return np.minimum(at_us + gap_us, after_us), value
    hold_us = min(gap_us, round(HOLD_INTERVALS * signal.every_s * _US))
    bridged = silence_us <= gap_us
    until_us = np.where(bridged, after_us, np.minimum(at_us + hold_us, after_us))
    return until_us, np.where(bridged, np.append(value[1:], value[-1]), value)


def _minute_edges(start_utc: datetime, end_utc: datetime) -> Ints:
    """Edges of the minutes of the window, in microseconds since 1970."""
    for name, moment in (("start_utc", start_utc), ("end_utc", end_utc)):
        if moment.tzinfo is None:
            raise ValueError(f"{name} needs a time zone: got {moment.isoformat()} without one")
        if moment.second or moment.microsecond:
            raise ValueError(f"{name} must be a whole minute: got {moment.isoformat()}")
    if end_utc <= start_utc:
        raise ValueError(f"the window is empty: {start_utc.isoformat()} to {end_utc.isoformat()}")
    first = (start_utc - _EPOCH) // timedelta(microseconds=1)
    last = (end_utc - _EPOCH) // timedelta(microseconds=1)
    return np.arange(first, last + 1, MINUTE_S * _US, dtype=np.int64)


def _require_unique_names(signals: Sequence[Signal]) -> None:
    """Refuse two signals that would share a column."""
    twice = [name for name, count in Counter(s.name for s in signals).items() if count > 1]
    if twice:
        raise ValueError(f"two signals share a name, give each its own place: {', '.join(twice)}")


def _null_series(length: int) -> pl.Series:
    """Give a column of nulls, for a signal without a single good reading."""
    return pl.Series([None] * length, dtype=pl.Float64)
