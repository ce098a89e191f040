"""Lowest and highest reading by pixel, from tiers kept in memory: no reading is thinned away."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.stages import COARSE_MIN, extremes_of

Lines = NDArray[np.float32]
#: A pixel holds so many coarse cells at least, or the fine ones are used.
_LEAST_CELLS: Final = 4


@dataclass(frozen=True)
class Tiers:
    """Extremes of several signals by quarter of an hour, and their readings by minute.

    Attributes
    ----------
    low, high : ndarray, shape (signals, minutes / 15)
        NaN where nothing was read.
    load : callable
        Gives the readings by minute, shape (signals, minutes), reading them where need be.
    """

    low: Lines
    high: Lines
    load: Callable[[], Lines]

    @property
    def fine(self) -> Lines:
        """Readings by minute."""
        return self.load()


def tiers_of(fine: Lines) -> Tiers:
    """Tiers of readings by minute; whole quarters of an hour."""
    return Tiers(*extremes_of(fine), lambda: fine)


def by_pixel(
    tiers: Tiers, rows: list[int], first: float, last: float, width: int
) -> tuple[Lines, Lines]:
    """Lowest and highest reading of each pixel column.

    Parameters
    ----------
    tiers : Tiers
    rows : list of int
        Signals wanted.
    first, last : float
        Window [min], from the first minute of the tiers; it may reach beyond them.
    width : int
        Pixels.

    Returns
    -------
    tuple of ndarray, shape (rows, width)
        Each reading of the window lies in one column at least; NaN where there is none.
    """
    coarse = (last - first) / width >= _LEAST_CELLS * COARSE_MIN
    cell = COARSE_MIN if coarse else 1
    low, high = (tiers.low, tiers.high) if coarse else (tiers.fine, tiers.fine)
    return (
        extremes(low[rows], first / cell, last / cell, width, np.fmin),
        extremes(high[rows], first / cell, last / cell, width, np.fmax),
    )


def extremes(
    cells: NDArray[np.floating], first: float, last: float, width: int, of: np.ufunc
) -> NDArray[np.floating]:
    """Extremes of cells by pixel column; a column narrower than a cell shows the cell it is in.

    Parameters
    ----------
    cells : ndarray, shape (signals, n)
    first, last : float
        Window in cells.
    width : int
    of : ufunc
        ``numpy.fmin`` or ``numpy.fmax``.
    """
    n = cells.shape[1]
    edges = first + (last - first) * np.arange(width + 1) / width
    begin = np.floor(edges[:-1] + 1e-9).astype(int)
    end = np.maximum(np.ceil(edges[1:] - 1e-9).astype(int), begin + 1)
    known = (end > 0) & (begin < n)
    out = np.full((cells.shape[0], width), np.nan, dtype=cells.dtype)
    if not known.any() or not n:
        return out
    begin, end = np.clip(begin[known], 0, n - 1), np.clip(end[known], 1, n)
    # Columns overlap where they share a cell, so that begin and end stand in turn.
    pairs = np.column_stack((begin, end)).ravel()
    if pairs[-1] == n:
        cells = np.pad(cells, ((0, 0), (0, 1)), constant_values=np.nan)
    out[:, known] = of.reduceat(cells, pairs, axis=1)[:, ::2]
    return out
