"""Faults that come and go: hours that stand out from the hours around them, again and again.

The mean of two days hardly shows an hour on and three off. So single hours are held against the
median of the half day around them; what an hour stands out by, beyond an ordinary swing, is
added up over half a day to four.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from models.base import Array, robust_sd
from models.search.scan import HOUR, Wander, running_sums

#: Lengths over which spells are added up [quarter-hours].
LENGTHS = HOUR * np.array([12, 16, 24, 32, 48, 72, 96], dtype=int)
#: Half of what an hour is held against [quarter-hours]: six hours.
_AROUND = 6 * HOUR
#: An hour counts by what it exceeds this by, and for no more than that [spreads].
_ORDINARY, _CAP = 1.5, 5.0


def spells(short: Array) -> tuple[Array, Array, Wander]:
    """Hours that stand out upwards, and those that stand out downwards.

    Parameters
    ----------
    short : ndarray, shape (n,)
        Evened quarter-hours, NaN where missing.

    Returns
    -------
    up, down : ndarray, shape (n,)
        By how much the hour from each quarter-hour on stands out, less what the downward ones do
        on average [spreads of such hours]; NaN where missing.
    wander : Wander
        Of the downward ones, which no loss makes.
    """
    hours = _hours(short)
    around = (
        pl.Series(hours)
        .fill_nan(None)
        .rolling_median(2 * _AROUND + 1, min_samples=_AROUND, center=True)
        .fill_null(float("nan"))
        .to_numpy()
    )
    apart = hours - around
    spread = robust_sd(apart)
    apart = np.clip(apart / (spread if spread > 0.0 else 1.0), -_CAP, _CAP)
    up, down = (np.maximum(side * apart - _ORDINARY, 0.0) for side in (1.0, -1.0))
    known = np.isfinite(apart)
    usual = float(down[known].mean()) if known.any() else 0.0
    up, down = (np.where(known, part - usual, np.nan) for part in (up, down))
    return up, down, _wander(down)


def _hours(short: Array) -> Array:
    sums, counts = running_sums(short)
    hours = np.full(len(short), np.nan)
    count = counts[HOUR:] - counts[:-HOUR]
    enough = count >= HOUR - 1
    total = sums[HOUR:] - sums[:-HOUR]
    hours[: len(count)] = np.where(enough, total / np.maximum(count, 1), np.nan)
    return hours


def _wander(down: Array) -> Wander:
    sums, counts = running_sums(down)
    variance = []
    for length in LENGTHS.tolist():
        starts = np.arange(0, max(len(down) - length + 1, 0), length // 8)
        count = counts[starts + length] - counts[starts]
        good = count >= 0.7 * length
        means = (sums[starts + length] - sums[starts])[good] / count[good]
        # Rare by nature: their spread is that of the few there are.
        variance.append(float(means.var()) * length if len(means) > 1 else 0.0)
    floor = 1e-3 + (float(np.nanvar(down)) if np.isfinite(down).any() else 0.0)
    return Wander(LENGTHS, np.maximum.accumulate(np.maximum(variance, floor)), 0.0)
