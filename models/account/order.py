"""Signals put on the time of the parcel they saw, and what a clear change is.

A parcel of juice passes the liming tank now and the settler's outlet more than an hour later.
Every reading is therefore moved back by the time the juice took to reach it: what one parcel did
then lies at one moment, and what moved *before* its own juice could carry the news stands out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.base import Array

#: Readings are averaged over so many minutes before a change is looked for.
BLOCK_MIN = 5
#: A change smaller than so many standard errors is not told from everyday noise (estimate).
LEAST_Z = 4.0
#: Nor is one under so many times the spread of the days before: the mill swings (estimate).
LEAST_SWINGS = 2.0
#: 95 % point of argmax(W(s) - |s|/2), so a two-sided 90 % interval in units of LRV / step^2.
#: Yao, Ann. Statist. 15 (1987) 1321, after Bai, Rev. Econ. Stat. 79 (1997) 551 (memory; checked
#: against the closed form and by simulation in the tests).
STEP_TIME_90 = 7.687


def half_through_min(mean_min: Array, sd_min: Array) -> Array:
    """Time by which half of a parcel has come through [min].

    Parameters
    ----------
    mean_min, sd_min : ndarray
        Mean and standard deviation of the residence [min].

    Returns
    -------
    ndarray
        Median of the gamma distribution with that mean and spread: mean (1 - 1/(9k))^3 with
        k = (mean/sd)^2, after Wilson and Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684 (memory;
        within 2 % of the exact median for k of 1 and more, checked against scipy).
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        inverse_k = np.where(mean_min > 0.0, (sd_min / mean_min) ** 2, 0.0)
    return mean_min * np.maximum(1.0 - np.minimum(inverse_k, 3.0) / 9.0, 0.0) ** 3


def held_in_stops(delay_min: Array, stopped: NDArray[np.bool_]) -> Array:
    """Travel time with its last running value kept through stops and gaps [min].

    In a stop the age of the juice grows by a minute a minute: taken literally the whole stop would
    be one moment of parcel time.
    """
    known = np.isfinite(delay_min) & ~stopped
    if not known.any():
        return np.zeros(len(delay_min))
    last = np.maximum.accumulate(np.where(known, np.arange(len(delay_min)), -1))
    first = int(np.flatnonzero(known)[0])
    return np.asarray(delay_min[np.where(last < 0, first, last)])


def on_parcel_time(values: Array, delay_min: Array) -> Array:
    """Move a signal back by the travel time of the juice it saw.

    Parameters
    ----------
    values : ndarray, shape (n,)
        By minute of the clock, NaN where missing.
    delay_min : ndarray, shape (n,)
        Travel time to where it is read, by minute of the clock [min].

    Returns
    -------
    ndarray, shape (n,)
        By minute at which the juice entered; NaN where missing or not arrived by the last minute.
    """
    n = len(values)
    clock = np.arange(n, dtype=float)
    # Juice cannot overtake: where a flow jump says so, the earlier entry holds.
    entered = np.maximum.accumulate(clock - delay_min)
    entered = entered + np.arange(n) * 1e-9
    known = np.isfinite(values)
    moved = np.interp(clock, entered, np.where(known, values, 0.0), left=np.nan, right=np.nan)
    sure = np.interp(clock, entered, known.astype(float), left=0.0, right=0.0)
    return np.where(sure > 0.999, moved, np.nan)
