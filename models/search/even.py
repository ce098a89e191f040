"""The noise made even, so that one yardstick serves every hour of a channel.

A loss follows the acid: the same unrest of the pH moves it further up than down, and further on a
sour day than on a good one. So a search that adds kilograms meets skewed noise whose spread
changes. Here a channel is told in what it is even in, the logarithm of the loss, less its slow
course and over the spread of its own hours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.base import MINUTES_PER_BLOCK, Array, robust_sd, robust_sds, running_median

DAY = 24 * 60 // MINUTES_PER_BLOCK
#: How far the slow course looks to either side [days]: that of hours, and that of faults which
#: creep for days and would be taken for the usual by the first.
SHORT_DAYS, LONG_DAYS = 7, 28
#: A quarter-hour counts for this many spreads at most.
_CAP = 5.0
#: How far the spread of the hour looks to either side [quarter-hours], at which distances, and how
#: many bends it needs.
_SPREAD_HALF = 20
_SPREAD_STEP = 12
_FEWEST_BENDS = 12
#: The spread of an hour is taken within these times that of the season (estimate).
_LEAST_SPREAD, _MOST_SPREAD = 0.2, 8.0
#: Variance of the logarithm of a median absolute deviation, times the number of readings: 1 over
#: twice its efficiency of 37 % (P. J. Rousseeuw & C. Croux, J. Am. Stat. Assoc. 88 (1993)
#: 1273-1283; memory).
_LOG_SPREAD_VARIANCE = 1.36
#: A loss this far below the usual says no more than this (share of the usual loss).
_LEAST_LOSS = 0.05


@dataclass(frozen=True)
class Even:
    """A channel in spreads of its noise.

    Attributes
    ----------
    short, long : ndarray, shape (n,)
        Quarter-hours less the slow course of a week and of four weeks to either side, NaN where
        missing.
    """

    short: Array
    long: Array

    @property
    def upside_down(self) -> Even:
        """The same season with gains for losses."""
        return Even(-self.short, -self.long)


def even_out(told: Array, calm: NDArray[np.bool_], *, steady: bool = False) -> Even:
    """Take the slow course away and count in spreads of the hours around.

    Parameters
    ----------
    told : ndarray, shape (n,)
        As `as_told` gives it, NaN where missing.
    calm : ndarray of bool, shape (n,)
        False where something stands far out, to either side; left out of course and spread.
    steady : bool
        Whether the spread is the same at all hours, and at least 1.

    Returns
    -------
    Even
        Zero where nothing varies.
    """
    short, long = (
        told - running_median(told, calm, days * DAY, max(days * DAY // 7, 1))
        for days in (SHORT_DAYS, LONG_DAYS)
    )
    if steady:
        usual = robust_sd(np.where(calm, short, np.nan))
        unit = max(usual if math.isfinite(usual) else 0.0, 1.0)
        return Even(short / unit, long / unit)
    spread = local_spread(short)
    usual = robust_sd(np.where(calm, short / spread, np.nan))
    # A series that hardly moves still has rounding: never divide by nothing.
    least = 1e-3 * float(np.nanmax(np.abs(short / spread), initial=0.0)) + 1e-12
    scale = spread * max(usual if math.isfinite(usual) else 0.0, least)
    return Even(short / scale, long / scale)


def capped(rest: Array) -> Array:
    """Let no quarter-hour count for more than five spreads: one wild reading is no loss."""
    return np.clip(rest, -_CAP, _CAP)


def as_told(blocks: Array, usual_kg_h: float | None) -> Array:
    """Tell a channel in what its noise is even in.

    Parameters
    ----------
    blocks : ndarray, shape (n,)
        Quarter-hour means [kg/h], NaN where missing.
    usual_kg_h : float, optional
        Usual loss [kg/h] that `blocks` lie above or below where the noise multiplies it; None
        where the noise adds.

    Returns
    -------
    ndarray, shape (n,)
        Logarithm of the loss over the usual, or `blocks` as they are.
    """
    if usual_kg_h is None or not usual_kg_h > 0.0:
        return blocks
    return np.asarray(np.log(np.maximum(1.0 + blocks / usual_kg_h, _LEAST_LOSS)))


def local_spread(rest: Array) -> Array:
    """Spread of the hours around each reading, over that of the season.

    From how sharply the series bends at each reading: a loss, and the hours in which it comes and
    goes, bend it only at their ends. What so few readings would vary by anyway is taken out: a
    noise whose spread is steady keeps it.

    Parameters
    ----------
    rest : ndarray, shape (n,)
        Quarter-hours less their slow course, NaN where missing.

    Returns
    -------
    ndarray, shape (n,)
        Around 1, above 0; between hours that tell nothing, a straight line in its logarithm.
    """
    bends = np.diff(rest, n=2, prepend=np.nan, append=np.nan)
    season = robust_sd(bends)
    if not season > 0.0:
        return np.ones(len(rest))
    centres = np.arange(0, len(rest) + _SPREAD_STEP, _SPREAD_STEP)
    beyond = np.full(_SPREAD_HALF + _SPREAD_STEP, np.nan)
    framed = np.concatenate([beyond[:_SPREAD_HALF], bends, beyond])
    near = np.lib.stride_tricks.sliding_window_view(framed, 2 * _SPREAD_HALF + 1)[centres]
    counts = np.isfinite(near).sum(axis=1)
    known = counts >= _FEWEST_BENDS
    if not known.any():
        return np.ones(len(rest))
    own = robust_sds(near[known]) / season
    logs = np.log(np.clip(own, _LEAST_SPREAD, _MOST_SPREAD))
    chance = _LOG_SPREAD_VARIANCE * float(np.mean(1.0 / counts[counts > 0]))
    seen = float(np.var(logs))
    real = max(1.0 - chance / seen, 0.0) if seen > 0.0 else 0.0
    told = real * (logs - np.median(logs))
    return np.asarray(np.exp(np.interp(np.arange(len(rest)), centres[known], told)))
