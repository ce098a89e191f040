"""The mill's kinetic multiplier from laboratory results.

Published kinetics give the shape of the loss, not its level. Juice analyses before and after the
settler give the level, one noisy pair at a time and by several methods; a season of them,
weighted and robust, gives the multiplier that the mill's own juice obeys.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from features.balance import PairEstimates
from models.base import Array

#: Error of each method's formula [% of sucrose], so that two forms of one analysis do not pass
#: for two analyses that agree (estimate).
METHOD_FORM_PCT = 0.005


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
