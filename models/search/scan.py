"""Windows of every length, each in standard errors of its own length.

How far the mean of eight hours strays is read off all the eight hours of the season, and so for
every length: noise with a long memory, levels moved by hand and slow wander then need no model. The
score of a window counts how many windows of its length a week holds, so that one limit serves all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.base import Array
from models.search.even import DAY

WEEK = 7 * DAY
HOUR = DAY // 24
#: Lengths of windows [quarter-hours], from 3 h to 11 days, half as long again at each step.
LENGTHS: NDArray[np.int_] = HOUR * np.array(
    [3, 4, 6, 8, 11, 16, 23, 32, 45, 64, 90, 128, 181, 256], dtype=int
)
#: Windows longer than this are held against the slow course of four weeks.
SHORT_AT_MOST = 72 * HOUR
#: Longest windows whose wander is read off the season; beyond, it follows its own slope.
_READ_OFF = 48 * HOUR
_SLOPE_FROM = 12 * HOUR
#: Lengths between which a wander that keeps rising shows.
_DAY_LONG, _DAYS_LONG = 24 * HOUR, 96 * HOUR
_FEWEST_WINDOWS = 16
#: Shares of the season below which a window's mean lies that far under its median [spreads]: the
#: lower side only, since losses lie on the upper.
_LOWER = ((0.1, 1.2816), (0.2, 0.8416), (0.3, 0.5244))
#: A window counts where this share of it was measured.
_LEAST_MEASURED = 0.5
#: Windows this share of their length apart are two.
_APART = 0.25

#: Columns of a table of windows.
SCORE, START, END, Z = range(4)


@dataclass(frozen=True)
class Wander:
    """How far means stray by chance, by length of the window.

    Attributes
    ----------
    lengths : ndarray of int, shape (k,)
        [quarter-hours].
    variance : ndarray, shape (k,)
        Variance of the sum of a window, per reading [spreads squared]; never falls with length.
    slope : float
        Growth of its logarithm with that of the length beyond 12 h: 0 for a short memory, 1 for
        levels that never come back.
    """

    lengths: NDArray[np.int_]
    variance: Array
    slope: float

    def at(self, length: float) -> float:
        """Variance per reading of a window of any length [quarter-hours]."""
        return float(
            np.exp(np.interp(math.log(max(length, 1.0)), np.log(self.lengths), self._logs))
        )

    @property
    def _logs(self) -> Array:
        return np.asarray(np.log(self.variance))


def wander_of(series: Array, quiet: NDArray[np.bool_], lengths: NDArray[np.int_]) -> Wander:
    """Read off a series how far the means of its windows stray.

    Parameters
    ----------
    series : ndarray, shape (n,)
        Evened quarter-hours, NaN where missing.
    quiet : ndarray of bool, shape (n,)
        False where a loss is known.
    lengths : ndarray of int, shape (k,)
        Rising.

    Returns
    -------
    Wander
        Of noise without memory where the series is too short to tell.
    """
    calm = np.where(quiet, series, np.nan)
    known: dict[int, float] = {}
    for length in lengths[lengths <= _READ_OFF]:
        means = _means(calm, int(length))
        if len(means) >= _FEWEST_WINDOWS:
            known[int(length)] = _lower_spread(means) ** 2 * float(length)
    if not known:
        return Wander(lengths, np.ones(len(lengths)), 0.0)
    at = np.array(list(known))
    logs = np.maximum.accumulate(np.log(np.maximum(list(known.values()), 1e-6)))
    late = at >= _SLOPE_FROM
    slope = 0.0
    if late.sum() >= 3:
        slope = float(np.clip(np.polyfit(np.log(at[late]), logs[late], 1)[0], 0.0, 1.0))
    within = np.interp(np.log(lengths), np.log(at), logs)
    beyond = logs[-1] + slope * np.log(np.maximum(lengths / at[-1], 1.0))
    return Wander(lengths, np.exp(np.where(lengths <= at[-1], within, beyond)), slope)


def rise_of(long: Array, quiet: NDArray[np.bool_]) -> float:
    """Growth of the wander from a day to four days, against the longer course.

    Near 0 where the memory ends within a day, about 0.4 with a memory of a day or a long one (d up
    to 0.4), 0.7 to 1 where levels never come back (a random walk): then the weeks of a season are
    too few independent ones to learn from. Computed on the noises of
    ``tests/benchmarks/null_card.py``.

    Parameters
    ----------
    long : ndarray, shape (n,)
        Evened quarter-hours less the longer course, NaN where missing.
    quiet : ndarray of bool, shape (n,)
        False where a loss is known.

    Returns
    -------
    float
        NaN where fewer than some twelve days were measured: too short to tell.
    """
    calm = np.where(quiet, long, np.nan)
    day, days = (_means(calm, length) for length in (_DAY_LONG, _DAYS_LONG))
    if len(days) < _FEWEST_WINDOWS:
        return math.nan
    below = [float((np.minimum(m - np.median(m), 0.0) ** 2).mean()) for m in (day, days)]
    if min(below) <= 0.0:
        return 0.0
    growth = math.log(below[1] * _DAYS_LONG / (below[0] * _DAY_LONG))
    return growth / math.log(_DAYS_LONG / _DAY_LONG)


def _lower_spread(means: Array) -> float:
    middle = float(np.median(means))
    return float(np.median([(middle - np.quantile(means, share)) / far for share, far in _LOWER]))


def _means(series: Array, length: int) -> Array:
    """Means of windows an eighth of their length apart, at least 70 % measured."""
    sums, counts = running_sums(series)
    starts = np.arange(0, len(series) - length + 1, max(length // 8, 1))
    count = counts[starts + length] - counts[starts]
    good = count >= 0.7 * length
    return np.asarray((sums[starts + length] - sums[starts])[good] / count[good])


def running_sums(series: Array) -> tuple[Array, NDArray[np.int_]]:
    """Sum and count of what was measured before each reading, shape (n + 1,)."""
    known = np.isfinite(series)
    sums = np.concatenate([[0.0], np.cumsum(np.where(known, series, 0.0))])
    return sums, np.concatenate([[0], np.cumsum(known)])


def score_of(z: Array, length: Array) -> Array:
    """Score of windows: half their squared strength less the logarithm of how many fit in a week.

    Windows of noise without memory reach a score equally often at every length up to two days
    (L. Duembgen & V. G. Spokoiny, Ann. Stat. 29 (2001) 124-152; memory). Longer ones pay as those
    of two days: a week at one and a half standard errors is nobody's loss.

    Parameters
    ----------
    z : ndarray
        Strength [standard errors].
    length : ndarray
        [quarter-hours], above 0.
    """
    return np.asarray(0.5 * z * z - np.log(WEEK / np.minimum(length, _READ_OFF)))


def windows(
    series: Array,
    wander: Wander,
    least_score: float,
    least: int,
    most: int,
) -> Array:
    """Windows in excess that score at least `least_score`.

    Parameters
    ----------
    series : ndarray, shape (n,)
        Evened, NaN where missing.
    wander : Wander
    least_score : float
    least, most : int
        Lengths looked at lie between these [quarter-hours].

    Returns
    -------
    ndarray, shape (k, 4)
        Score, start, end [quarter-hours] and strength [standard errors].
    """
    sums, counts = running_sums(series)
    found = [np.empty((0, 4))]
    for length, variance in zip(wander.lengths, wander.variance, strict=True):
        if not least <= length <= min(most, len(series) // 2):
            continue
        starts = np.arange(0, len(series) - length + 1, max(int(length) // 8, 1))
        count = counts[starts + length] - counts[starts]
        starts, count = (part[count >= _LEAST_MEASURED * length] for part in (starts, count))
        z = (sums[starts + length] - sums[starts]) / np.sqrt(count * variance)
        score = score_of(z, np.full(len(z), float(length)))
        keep = (z > 0.0) & (score >= least_score)
        table = [score[keep], starts[keep], starts[keep] + length, z[keep]]
        found.append(np.stack(table, axis=1))
    return np.concatenate(found)


def strongest(table: Array) -> Array:
    """Best windows that lie apart: each takes what it overlaps or nearly touches.

    Parameters
    ----------
    table : ndarray, shape (k, m)
        Rows as `windows` gives them; more columns are kept.

    Returns
    -------
    ndarray, shape (j, m)
        By falling score.
    """
    left = table[np.lexsort((table[:, END], table[:, START], -table[:, SCORE]))]
    chosen: list[Array] = []
    while len(left):
        best = left[0]
        chosen.append(best)
        margin = _APART * (best[END] - best[START])
        apart = (left[:, START] >= best[END] + margin) | (left[:, END] <= best[START] - margin)
        left = left[apart]
    return np.stack(chosen) if chosen else table[:0]
