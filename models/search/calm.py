"""Which hours are the usual ones: found without asking which of the others were losses.

A season in which two faults of two days follow each other has a running median that lies between
usual and fault, and good hours then look like swings. So what stands far out, *to either side*, is
left out of the slow course and of the yardstick; both sides alike, or noise would be bent.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.base import Array, long_run_variance, robust_sd, running_median
from models.search.even import DAY, LONG_DAYS, SHORT_DAYS, capped
from models.search.scan import (
    END,
    HOUR,
    LENGTHS,
    SHORT_AT_MOST,
    START,
    Wander,
    strongest,
    windows,
)

#: What scores so much is no usual hour (judgement), nor is what lies this near to it.
_FAR_OUT = 6.0
_MARGIN = 2 * HOUR
#: Quarter-hours in the blocks whose differences give a first yardstick: 4 h and 12 h.
_BLOCKS = (16, 48)
#: Noise with a long memory stands far out too, but to either side: only where the bad side has this
#: many times the hours of the good one are there losses among them (judgement).
_LOPSIDED = 4.0
#: With fewer calm hours than this share there is no telling which ones are usual (judgement).
_LEAST_CALM = 0.4


def calm_hours(told: Array) -> NDArray[np.bool_]:
    """Quarter-hours that stand out to neither side.

    Parameters
    ----------
    told : ndarray, shape (n,)
        Channel in what its noise is even in, NaN where missing.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    calm = np.ones(len(told), dtype=bool)
    # Two faults in a row bend the course of a week; that of four weeks hardly.
    for days in (LONG_DAYS, SHORT_DAYS):
        rest = told - running_median(told, calm, days * DAY, days * DAY // 7)
        spread = robust_sd(np.where(calm, rest, np.nan))
        if not (spread > 0.0 and math.isfinite(spread)):
            return calm
        rest = capped(rest / spread)
        steps = [long_run_variance(np.where(calm, rest, np.nan), size) for size in _BLOCKS]
        variance = max((v for v in steps if math.isfinite(v)), default=0.0)
        if variance <= 0.0:
            return calm
        wander = Wander(LENGTHS, np.full(len(LENGTHS), variance), 0.0)
        worse, better = _far_out(rest, wander), _far_out(-rest, wander)
        calm = ~(worse | better)
        if worse.sum() < _LOPSIDED * better.sum() or calm.mean() < _LEAST_CALM:
            return np.ones(len(told), dtype=bool)
    return calm


def _far_out(rest: Array, wander: Wander) -> NDArray[np.bool_]:
    """Hours in or near windows that stand far out upwards."""
    out = np.zeros(len(rest), dtype=bool)
    for row in strongest(windows(rest, wander, _FAR_OUT, 0, SHORT_AT_MOST)):
        out[max(int(row[START]) - _MARGIN, 0) : int(row[END]) + _MARGIN] = True
    return out
