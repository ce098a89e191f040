"""What is usual at this mill: slow medians of what was measured while the station ran."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.base import MINUTES_PER_BLOCK, Array, block_means, running_median

#: Half the width of the window, and how often the median is worked out [days].
HALF_DAYS, STEP_DAYS = 7, 1


def slow_baseline(values: Array, running: NDArray[np.bool_]) -> Array:
    """Running median over a week either side, of the minutes with feed.

    Parameters
    ----------
    values : ndarray, shape (n,)
        By minute, NaN where missing.
    running : ndarray of bool, shape (n,)
        Minutes with feed.

    Returns
    -------
    ndarray, shape (n,)
        In the unit of `values`; zero where nothing was measured in the whole series.
    """
    width = MINUTES_PER_BLOCK
    blocks = block_means(np.where(running, values, np.nan), width)
    day = 24 * 60 // width
    every = np.ones(len(blocks), dtype=bool)
    slow = running_median(blocks, every, HALF_DAYS * day, STEP_DAYS * day)
    centres = np.arange(len(blocks)) * width + width / 2
    return np.interp(np.arange(len(values)), centres, slow)


def season_where_missing(values: Array, otherwise: float = 1.0) -> Array:
    """Season median in place of what was not measured; `otherwise` where nothing was.

    One silent probe must not silence the drivers that were measured; its own share stays unknown.
    """
    known = np.isfinite(values)
    return np.where(known, values, np.median(values[known]) if known.any() else otherwise)
