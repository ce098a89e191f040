"""What a zone holds: the content of a stirred tank, or the parcels in a plug-flow pipe."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from features.base import FloatArray
from features.flow.transport import (
    LEAST_VOLUME_M3,
    cumulative_volume_m3,
    plug_flow_position_m3,
)

Kind = TypeVar("Kind", np.float64, np.bool_)

#: Most slices into which the content of a pipe is cut for its mean; where it holds fewer parcels
#: each of them counts.
MOST_SLICES = 64


@dataclass(frozen=True, slots=True, eq=False)
class Content:
    """Juice in one cell.

    Attributes
    ----------
    tracers : ndarray, shape (m, k)
        What the juice carries: a row a minute in a stirred tank, a row a slice in a pipe.
    minute : ndarray of int, shape (m,), or None
        Minute of each slice; None where rows are minutes.
    share : ndarray, shape (m,), or None
        Share of each slice in the content of its minute [-].
    """

    tracers: FloatArray
    minute: NDArray[np.intp] | None = None
    share: FloatArray | None = None

    def at(self, series: NDArray[Kind]) -> NDArray[Kind]:
        """Value of a series of minutes for every row."""
        return series if self.minute is None else series[self.minute]

    def mean(self, values: FloatArray, minutes: int) -> FloatArray:
        """Mean over the content of each minute, from a value per row."""
        if self.minute is None or self.share is None:
            return values
        return np.bincount(self.minute, values * self.share, minutes).astype(np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Slices:
    """Which parcels stand in a pipe in the middle of each minute.

    Attributes
    ----------
    parcel : ndarray of int, shape (m,)
        Minute in which the slice came in; -1 for the content at the start.
    minute : ndarray of int, shape (m,)
        Minute it is in the pipe.
    share : ndarray, shape (m,)
        Its share of the content [-].
    """

    parcel: NDArray[np.intp]
    minute: NDArray[np.intp]
    share: FloatArray


def slices_in_pipe(flow_in_m3_h: FloatArray, volume_edges_m3: FloatArray) -> Slices:
    """Cut the content of a first-in-first-out vessel by the minutes in which it came in.

    Parameters
    ----------
    flow_in_m3_h : ndarray, shape (n,)
        Inflow [m3/h], not negative.
    volume_edges_m3 : ndarray, shape (n + 1,)
        Volume at the edges of the minutes [m3].

    Returns
    -------
    Slices
        Every parcel where there are at most `MOST_SLICES`; else as many slices of equal volume,
        each known by the parcel in its middle.
    """
    n = flow_in_m3_h.shape[0]
    first = max(float(volume_edges_m3[0]), LEAST_VOLUME_M3)
    passed = np.concatenate(([-first], cumulative_volume_m3(flow_in_m3_h)))
    position = np.maximum(plug_flow_position_m3(flow_in_m3_h, volume_edges_m3), -first)
    head = 0.5 * (passed[1:-1] + passed[2:])
    tail = np.minimum(0.5 * (position[1:] + position[:-1]), head - LEAST_VOLUME_M3)
    oldest = np.searchsorted(passed, tail, side="right") - 1
    # Parcel j spans passed[j] to passed[j + 1]; the one coming in now is number t + 1.
    count = np.arange(1, n + 1) - np.maximum(oldest, 0) + 1
    pieces = np.minimum(count, MOST_SLICES)
    minute = np.repeat(np.arange(n), pieces)
    number = np.arange(minute.size) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    by_parcel = (count <= MOST_SLICES)[minute]
    start, width = tail[minute], ((head - tail) / pieces)[minute]
    parcel = np.where(
        by_parcel,
        np.maximum(oldest, 0)[minute] + number,
        np.searchsorted(passed, start + (number + 0.5) * width, side="right") - 1,
    )
    low, high = np.maximum(passed[parcel], start), np.minimum(passed[parcel + 1], head[minute])
    length = np.where(by_parcel, np.maximum(high - low, 0.0), width)
    whole = np.bincount(minute, length, n)
    return Slices(parcel - 1, minute, length / whole[minute])
