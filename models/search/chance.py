"""How often chance alone makes a period look like a loss, learnt from the mill's own quiet hours.

Theory counts windows and takes a normal tail. A search that looks at every period of every length,
with a long-run variance that was itself estimated, meets strong periods more often, and a plant
whose levels are moved by hand far more often. So the search is run over resampled quiet hours, in
blocks long enough to keep their wander, and what it finds there is what chance can do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.base import Array, runs_of
from models.search.changepoint import WINDOW, segments

_BLOCKS_PER_WEEK = 672
#: Strength from which chance periods are counted; weaker ones do not pay for two change points.
_LEVEL_Z = 4.0
#: Weeks resampled of each channel, and quarter-hours searched at once.
_WEEKS = 52
_DRAWN = WINDOW
#: Fewer quiet weeks than this say nothing that the first season's curve does not.
LEAST_QUIET_WEEKS = 3.0
#: Prior, worth so many weeks with so many periods of so wide a tail. A little wider than the
#: widest AR(1) noise measured, phi 0.995 at one minute (``tests/benchmarks/false_alarms.py``).
_PRIOR_WEEKS = 20.0
_PRIOR_COUNT = 1.0
_PRIOR_TAILS = 3.0
_PRIOR_WIDTH = 8.0
#: Widest window one hypothesis speaks for [h].
CELL_H = 6.0
#: No record of weeks shows that chance is rarer than this in a cell.
_LEAST_P = 1e-7
_SEED = 20_252


@dataclass(frozen=True, slots=True)
class Chance:
    """Rate of chance periods of one channel by their strength.

    Periods stronger than `level` standard errors come `per_week` times a week; above it their
    squared strength falls off exponentially.

    Attributes
    ----------
    per_week : float
        Periods of at least four standard errors [1/week].
    width : float
        Mean excess of their squared strength over sixteen.
    quiet_weeks : float
        Quiet weeks learnt from; 0 for the first season's curve.
    block : float
        Mean length of resampled blocks [quarter-hours]; 0 without resampling.
    """

    per_week: float
    width: float
    quiet_weeks: float = 0.0
    block: float = 0.0

    def rate(self, z: float) -> float:
        """Chance periods at least as strong as `z` [1/week]."""
        excess = max(z, 0.0) ** 2 - _LEVEL_Z**2
        return self.per_week * math.exp(-excess / self.width)

    def z_for(self, per_week: float) -> float:
        """Strength that chance reaches `per_week` times a week.

        Raises
        ------
        ValueError
            If the rate is not positive.
        """
        if per_week <= 0:
            raise ValueError("per_week must be above 0")
        return math.sqrt(max(_LEVEL_Z**2 + self.width * math.log(self.per_week / per_week), 0.0))

    def penalty(self, per_week: float) -> float:
        """Price of a change point at which chance is found `per_week` times a week.

        A period inside the series needs two change points: it pays where its squared strength
        exceeds twice the penalty.
        """
        return 0.5 * max(self.z_for(per_week), _LEVEL_Z) ** 2

    def p_value(self, z: float) -> float:
        """Probability that chance makes so strong a period within one cell of `CELL_H` hours.

        Never below 1e-7: no record of weeks can show more.
        """
        return max(-math.expm1(-self.rate(z) * CELL_H / 168.0), _LEAST_P)


#: Noise alone, nothing moved by hand: the prior by itself.
NOISE = Chance(_PRIOR_COUNT / _PRIOR_WEEKS, _PRIOR_WIDTH)
#: Without enough quiet hours: levels may be moved by hand as they were in the tuning seasons, whose
#: quiet hours passed 0.06 and 0.03 periods a week where 0.05 and 0.02 were asked (estimate).
FIRST_SEASON = Chance(0.2, 16.0)


def calibrate(blocks: Array, quiet: NDArray[np.bool_], lrv: float) -> Chance:
    """Chance curve of a channel from its own quiet hours.

    Parameters
    ----------
    blocks : ndarray, shape (n,)
        Residual, 15-minute means, NaN where missing.
    quiet : ndarray of bool, shape (n,)
        Blocks nothing is known to have happened in.
    lrv : float
        Long-run variance with which the search will judge [unit squared].

    Returns
    -------
    Chance
        `FIRST_SEASON` with fewer than three quiet weeks. Always the same for the same input.
    """
    calm = quiet & np.isfinite(blocks)
    weeks = calm.sum() / _BLOCKS_PER_WEEK
    if weeks < LEAST_QUIET_WEEKS or not (lrv > 0 and math.isfinite(lrv)):
        return FIRST_SEASON
    series = np.where(calm, blocks - np.median(blocks[calm]), np.nan)
    length = block_length(series)
    rng = np.random.default_rng(_SEED)
    strong: list[float] = []
    resampled = 0
    while resampled < _WEEKS * _BLOCKS_PER_WEEK:
        drawn = resample(series, _DRAWN, length, rng)
        strong += [s.z for s in segments(drawn, 0.5 * _LEVEL_Z**2, lrv=lrv) if s.z >= _LEVEL_Z]
        resampled += _DRAWN
    excess = float((np.array(strong) ** 2 - _LEVEL_Z**2).sum()) if strong else 0.0
    return Chance(
        (len(strong) + _PRIOR_COUNT) / (_WEEKS + _PRIOR_WEEKS),
        (excess + _PRIOR_TAILS * _PRIOR_WIDTH) / (len(strong) + _PRIOR_TAILS),
        float(weeks),
        length,
    )


def resample(series: Array, n: int, length: float, rng: np.random.Generator) -> Array:
    """Draw a series of the same noise: blocks of random length from random places.

    Stationary bootstrap (D. N. Politis & J. P. Romano, J. Am. Stat. Assoc. 89 (1994) 1303-1313;
    memory). A block ends early where the quiet period it comes from ends.

    Parameters
    ----------
    series : ndarray, shape (m,)
        NaN where not quiet.
    n : int
        Length wanted.
    length : float
        Mean block length [readings].
    rng : Generator
    """
    places = np.flatnonzero(np.isfinite(series))
    end_of = np.zeros(len(series), dtype=int)
    for start, end in runs_of(np.isfinite(series)):
        end_of[start:end] = end
    drawn, at = np.empty(n), 0
    while at < n:
        first = int(places[rng.integers(len(places))])
        size = min(int(rng.geometric(1.0 / max(length, 1.0))), int(end_of[first]) - first, n - at)
        drawn[at : at + size] = series[first : first + size]
        at += size
    return drawn


def block_length(series: Array) -> float:
    """Mean block length for the stationary bootstrap, from the autocorrelation.

    The automatic rule of D. N. Politis & H. White, Econometric Rev. 23 (2004) 53-70, with the
    correction of A. Patton, D. N. Politis & H. White, ibid. 28 (2009) 372-375 (memory; checked
    against the package arch, see the tests).

    Parameters
    ----------
    series : ndarray, shape (m,)
        NaN where missing; pairs with a missing partner are left out.

    Returns
    -------
    float
        In readings, at least 1.
    """
    m = int(np.isfinite(series).sum())
    if m < 20:
        return 1.0
    run = max(5, round(math.sqrt(math.log10(m))))
    most = math.ceil(math.sqrt(m)) + run
    covariance = _autocovariance(series, 2 * most)
    if covariance[0] <= 0.0:
        return 1.0
    small = np.abs(covariance[1:]) < 2.0 * math.sqrt(math.log10(m) / m) * covariance[0]
    last = next((k for k in range(most) if small[k : k + run].all()), most)
    band = min(2 * max(last, 1), most)
    lags = np.arange(-band, band + 1)
    weight = np.minimum(1.0, 2.0 * (1.0 - np.abs(lags) / band))
    part = weight * covariance[np.abs(lags)]
    spectrum = float(part.sum())
    bend = float((part * np.abs(lags)).sum())
    longest = math.ceil(min(3.0 * math.sqrt(m), m / 3.0))
    if spectrum == 0.0:
        return float(longest)
    return float(min(max((bend**2 / spectrum**2 * m) ** (1.0 / 3.0), 1.0), longest))


def _autocovariance(series: Array, lags: int) -> Array:
    known = np.isfinite(series)
    centred = np.where(known, series - series[known].mean(), 0.0)
    size = 1 << (2 * len(series) - 1).bit_length()
    power = np.abs(np.fft.rfft(centred, size)) ** 2
    sums = np.fft.irfft(power, size)[: lags + 1]
    return np.asarray(np.pad(sums, (0, lags + 1 - len(sums))) / known.sum())
