"""The mill's kinetic multiplier from laboratory reducing sugars.

Published kinetics give the shape of the loss, not its level. Reducing sugars against Brix before
and after the settler give the level, one noisy sample at a time; a season of them, weighted and
robust, gives the multiplier that the mill's own juice obeys.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.series import Array

INVERT_PER_SUCROSE = 1.0526


@dataclass(frozen=True, slots=True)
class Multiplier:
    """Factor on the published inversion rate.

    Attributes
    ----------
    value, low, high : float
        Estimate and 90 % interval.
    log_sd : float
        Standard error of its logarithm.
    pairs : int
        Laboratory pairs used; with none the value is the mill description's prior.
    unexplained_pct : float
        Inversion seen by the laboratory less multiplier times kinetics, mean over pairs
        [% of sucrose]; kept apart, never put into a finding.
    """

    value: float
    low: float
    high: float
    log_sd: float
    pairs: int
    unexplained_pct: float


def inverted_by_balance(
    rs_per_sucrose: Array, ratio_in: Array, ratio_out: Array, rs_destroyed_pct: Array
) -> Array:
    """Sucrose inverted between two points, from reducing sugars per Brix.

    Parameters
    ----------
    rs_per_sucrose : ndarray
        Reducing sugars per sucrose at the inlet [%].
    ratio_in, ratio_out : ndarray
        Reducing sugars per Brix at inlet and outlet of the same parcel [-].
    rs_destroyed_pct : ndarray
        Reducing sugars destroyed on the way [% of themselves].

    Returns
    -------
    ndarray
        Sucrose inverted [%]; may be negative by chance.

    Notes
    -----
    Brix is taken as conserved (no water added or flashed between the points changes the ratio).
    1 g of sucrose gives 1.0526 g of invert (stoichiometry).
    """
    rise = ratio_out / ratio_in - 1.0 + rs_destroyed_pct / 100.0
    return rs_per_sucrose * rise / INVERT_PER_SUCROSE


def fit_multiplier(
    predicted_pct: Array,
    seen_pct: Array,
    seen_sd_pct: Array,
    prior: float,
    prior_log_sd: float,
    systematic_pct: float = 0.015,
) -> Multiplier:
    """Weighted robust slope through the origin, joined with a log-normal prior.

    Parameters
    ----------
    predicted_pct : ndarray, shape (m,)
        Inversion predicted at multiplier 1 for each pair's parcel [% of sucrose].
    seen_pct, seen_sd_pct : ndarray, shape (m,)
        Inversion by balance and its random standard error [%].
    prior, prior_log_sd : float
        Multiplier believed before any laboratory result, and the spread of its logarithm.
    systematic_pct : float
        Error common to all pairs [% of sucrose]: what the method itself may be off by.

    Returns
    -------
    Multiplier
    """
    good = (
        np.isfinite(predicted_pct) & np.isfinite(seen_pct) & (seen_sd_pct > 0) & (predicted_pct > 0)
    )
    if good.sum() < 8:
        return _from_log(math.log(prior), prior_log_sd, 0, 0.0)
    x, y, sd = predicted_pct[good], seen_pct[good], seen_sd_pct[good]
    slope, slope_sd = _robust_slope(x, y, sd)
    slope_sd = math.hypot(slope_sd, systematic_pct / float(np.median(x)))
    log_value, log_sd = _join(slope, slope_sd, prior, prior_log_sd)
    rest = float(np.average(y - math.exp(log_value) * x, weights=1.0 / sd**2))
    return _from_log(log_value, log_sd, int(good.sum()), rest)


def _robust_slope(x: Array, y: Array, sd: Array) -> tuple[float, float]:
    """Huber-weighted slope through the origin and its standard error."""
    weight = np.ones(len(x))
    slope = 0.0
    for _ in range(25):
        gain = weight / sd**2
        slope = float((gain * x * y).sum() / (gain * x * x).sum())
        residual = (y - slope * x) / sd
        scale = max(1.4826 * float(np.median(np.abs(residual))), 1e-9)
        weight = np.minimum(1.0, 1.5 / np.maximum(np.abs(residual) / scale, 1e-9))
    gain = weight / sd**2
    error = scale / math.sqrt(float((gain * x * x).sum()))
    return slope, error


def _join(slope: float, slope_sd: float, prior: float, prior_log_sd: float) -> tuple[float, float]:
    """Posterior of log m: log-normal prior times a normal likelihood of m, on a grid."""
    grid = np.linspace(math.log(prior) - 5 * prior_log_sd, math.log(prior) + 5 * prior_log_sd, 2001)
    log_density = -0.5 * ((grid - math.log(prior)) / prior_log_sd) ** 2
    log_density -= 0.5 * ((np.exp(grid) - slope) / slope_sd) ** 2
    density = np.exp(log_density - log_density.max())
    density /= density.sum()
    mean = float((grid * density).sum())
    return mean, math.sqrt(float(((grid - mean) ** 2 * density).sum()))


def _from_log(log_value: float, log_sd: float, pairs: int, rest: float) -> Multiplier:
    spread = 1.645 * log_sd
    return Multiplier(
        math.exp(log_value),
        math.exp(log_value - spread),
        math.exp(log_value + spread),
        log_sd,
        pairs,
        rest,
    )
