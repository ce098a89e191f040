"""The mill's kinetic multiplier from laboratory results.

Published kinetics give the shape of the loss, not its level. Juice analyses before and after the
settler give the level, one noisy pair at a time and by several methods; a season of them,
weighted and robust, gives the multiplier that the mill's own juice obeys.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from features.balance import PairEstimates
from models.base import Array

#: Error of each method's formula [% of sucrose], so that two forms of one analysis do not pass
#: for two analyses that agree (estimate).
METHOD_FORM_PCT = 0.005
#: Fewer pairs than this say nothing that the prior does not.
LEAST_PAIRS = 8


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
        Laboratory samples or pairs behind it; with none the value is the description's prior.
    """

    value: float
    low: float
    high: float
    log_sd: float
    pairs: int


@dataclass(frozen=True)
class Joined:
    """Several methods made one, a pair of samples an entry.

    Attributes
    ----------
    seen_pct, sd_pct : ndarray, shape (m,)
        Estimate and its random standard error [% of sucrose]; NaN where no method speaks.
    systematic_pct : ndarray, shape (m, s)
        Change by one standard error of each shared error [% of sucrose].
    weights : dict of str to float
        Mean weight of each method over the pairs.
    """

    seen_pct: Array
    sd_pct: Array
    systematic_pct: Array
    weights: dict[str, float]


def join_methods(pairs: PairEstimates) -> Joined:
    """Join the methods of each pair by generalised least squares.

    Parameters
    ----------
    pairs : PairEstimates

    Returns
    -------
    Joined

    Notes
    -----
    Pairs for which the same methods speak share one set of weights, from their median covariance:
    weights that followed each single result would favour results that came out low. They are
    those of the mean over these pairs: random errors have averaged away, shared ones have not.
    Methods that share an analysis are correlated; a negative weight, which would bet on the
    covariance being exact, is not used.
    """
    values, k = pairs.inverted_pct, len(pairs.methods)
    weights = np.zeros(values.shape)
    present = np.isfinite(values)
    random, systematic = pairs.random_covariance(), pairs.systematic_covariance()
    for pattern in np.unique(present, axis=0) if k else []:
        rows = (present == pattern).all(axis=1)
        chosen = np.flatnonzero(pattern)
        if len(chosen) == 0:
            continue
        block = np.ix_(np.flatnonzero(rows), chosen, chosen)
        once = np.median(random[block], axis=0) / rows.sum() + np.median(systematic[block], axis=0)
        weights[np.ix_(np.flatnonzero(rows), chosen)] = _least_squares_weights(once)
    spoken = present.any(axis=1)
    seen = np.where(spoken, np.nansum(weights * np.nan_to_num(values), axis=1), np.nan)
    moved = np.einsum("mk,mkr->mr", weights, np.nan_to_num(pairs.random))
    shared = np.einsum("mk,mks->ms", weights, np.nan_to_num(pairs.systematic))
    mean = weights[spoken].mean(axis=0) if spoken.any() else np.zeros(k)
    named = {name: float(w) for name, w in zip(pairs.methods, mean, strict=True)}
    return Joined(seen, np.linalg.norm(moved, axis=1), shared, named)


def _least_squares_weights(covariance: Array) -> Array:
    """Weights of the best mean of estimates of one quantity, none negative; they sum to 1."""
    active = np.arange(len(covariance))
    while True:
        part = covariance[np.ix_(active, active)] + np.eye(len(active)) * METHOD_FORM_PCT**2
        solved = np.linalg.solve(part, np.ones(len(active)))
        if (solved >= 0.0).all():
            break
        active = np.delete(active, int(np.argmin(solved)))
    weights = np.zeros(len(covariance))
    weights[active] = solved / solved.sum()
    return weights


def expected_fit(
    predicted_pct: Array,
    seen_sd_pct: Array,
    prior: float,
    prior_log_sd: float,
    systematic_pct: Array,
) -> Multiplier:
    """What a season of pairs may be expected to tell of the multiplier.

    Parameters
    ----------
    predicted_pct : ndarray, shape (m,)
        Inversion of each pair at multiplier 1 [% of sucrose].
    seen_sd_pct : ndarray, shape (m,)
        Random standard error of what the laboratory sees of it [% of sucrose].
    prior, prior_log_sd : float
        Multiplier believed beforehand, and the standard error of its logarithm.
    systematic_pct : ndarray, shape (m, s)
        Change of each pair by one standard error of each error that all share [% of sucrose].

    Returns
    -------
    Multiplier
        Of a laboratory that finds the prior's own multiplier, errors as they were given and no
        outliers. The mill's true multiplier decides too: the smaller it is, the less the same
        errors leave known of it.

    Notes
    -----
    Generalised least squares: what all pairs share is told apart from the multiplier as far as the
    inversion differs from pair to pair, and not at all where it is always the same.
    """
    good = np.isfinite(predicted_pct) & (seen_sd_pct > 0) & (predicted_pct > 0)
    if good.sum() < LEAST_PAIRS:
        return _from_log(math.log(prior), prior_log_sd, 0)
    x, gain, shared = predicted_pct[good], 1.0 / seen_sd_pct[good] ** 2, systematic_pct[good]
    across = (gain * x) @ shared
    inner = np.eye(shared.shape[1]) + (gain[:, None] * shared).T @ shared
    size = float((gain * x * x).sum()) - float(across @ np.linalg.solve(inner, across))
    log_value, log_sd = _join(prior, 1.0 / math.sqrt(max(size, 1e-12)), prior, prior_log_sd)
    return _from_log(log_value, log_sd, int(good.sum()))


def _join(slope: float, slope_sd: float, prior: float, prior_log_sd: float) -> tuple[float, float]:
    """Posterior of log m: log-normal prior times a normal likelihood of m, on a grid."""
    grid = np.linspace(math.log(prior) - 5 * prior_log_sd, math.log(prior) + 5 * prior_log_sd, 2001)
    log_density = -0.5 * ((grid - math.log(prior)) / prior_log_sd) ** 2
    log_density -= 0.5 * ((np.exp(grid) - slope) / slope_sd) ** 2
    density = np.exp(log_density - log_density.max())
    density /= density.sum()
    mean = float((grid * density).sum())
    return mean, math.sqrt(float(((grid - mean) ** 2 * density).sum()))


def _from_log(log_value: float, log_sd: float, pairs: int) -> Multiplier:
    spread = 1.645 * log_sd
    return Multiplier(
        math.exp(log_value),
        math.exp(log_value - spread),
        math.exp(log_value + spread),
        log_sd,
        pairs,
    )
