"""How far a series rises with an expected course, against a noise that remembers.

Minutes and samples near in time err alike: what is asked here of a series is its rise with a course
that is known beforehand (generalised least squares), with the memory of its noise learnt from calm
hours, and its error held against the same question asked where nothing happened.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from models.base import Array, robust_sd

#: What a series does far outside the spell says little of its usual within it [h].
BEFORE_H, AFTER_H = 36.0, 24.0
#: Points whose likelihood is worked out at once, and choices of points.
_CHUNK, _AT_ONCE = 120, 64
_TAUS_H = (3.0, 10.0, 30.0, 90.0)
_WANDERS = (0.0, 0.3, 0.6, 0.9, 1.2)
_WHITES = (0.05, 0.3, 0.6, 0.9)
#: The level of a series is unknown: so many times its spread [-].
_LEVEL = 30.0
#: Values further out are drawn in to here [robust standard deviations]: what happens to a tag now
#: and then is no noise, and one such hour would set the memory.
_FURTHEST = 4.0


@dataclass(frozen=True)
class Memory:
    """Noise of a series: a part new in every point, and a part that fades away with time.

    Attributes
    ----------
    white, wander : float
        Standard deviation of either part [unit of the series].
    tau_h : float
        Time constant of the wander [h].
    level : float
        Standard deviation of the unknown level [unit of the series].
    """

    white: float
    wander: float
    tau_h: float
    level: float

    def covariance(self, hours: Array, sd: Array) -> Array:
        """Covariance of points at `hours` with stated errors `sd`, level included.

        Several sets of as many points each are worked out at once: the last axis is a set.
        """
        apart = np.abs(hours[..., :, None] - hours[..., None, :])
        fading = self.wander**2 * np.exp(-apart / self.tau_h) + self.level**2
        own = np.arange(hours.shape[-1])
        fading[..., own, own] += self.white**2 + sd**2
        return np.asarray(fading)


@dataclass(frozen=True)
class Points:
    """Points of a series.

    Attributes
    ----------
    hours, values, sd : ndarray, shape (m,)
        Times [h], rising; values; stated standard errors. No NaN.
    other : ndarray, shape (m,)
        Another course that may lie in the series with a standard error of one.
    """

    hours: Array
    values: Array
    sd: Array
    other: Array


def memory_of(hours: Array, values: Array, sd: Array) -> Memory:
    """Most likely memory of a calm series, from a coarse grid.

    Parameters
    ----------
    hours, values, sd : ndarray, shape (m,)
        Times [h], rising; values; stated standard errors. No NaN.
    """
    spread = max(robust_sd(values), 1e-9)
    centre = float(np.median(values))
    drawn_in = centre + np.clip(values - centre, -_FURTHEST * spread, _FURTHEST * spread)
    level = _LEVEL * spread
    best, most = Memory(spread, 0.0, _TAUS_H[0], level), -math.inf
    tried = [
        Memory(white * spread, wander * spread, tau_h, level)
        for wander in _WANDERS
        for tau_h in (_TAUS_H if wander else _TAUS_H[:1])
        for white in _WHITES
    ]
    for memory, likely in zip(tried, _log_likelihoods(tried, hours, drawn_in, sd), strict=True):
        if likely > most:
            best, most = memory, likely
    return best


def _log_likelihoods(
    tried: Sequence[Memory], hours: Array, values: Array, sd: Array
) -> NDArray[np.float64]:
    """How likely each memory makes the values, up to a constant; far points count as apart."""
    total = np.zeros(len(tried))
    for first in range(0, len(hours), _CHUNK):
        part = slice(first, first + _CHUNK)
        apart = np.abs(hours[part, None] - hours[None, part])
        fading = {tau_h: np.exp(-apart / tau_h) for tau_h in {m.tau_h for m in tried}}
        away = values[part] - float(np.median(values))
        for k, memory in enumerate(tried):
            covariance = memory.wander**2 * fading[memory.tau_h] + memory.level**2
            covariance[np.diag_indices(len(away))] += memory.white**2 + sd[part] ** 2
            lower = cholesky(covariance, lower=True, overwrite_a=True, check_finite=False)
            white = solve_triangular(lower, away, lower=True, check_finite=False)
            total[k] -= 0.5 * float(white @ white) + float(np.log(np.diag(lower)).sum())
    return total


def rise(
    hours: Array,
    values: Array,
    sd: Array,
    course: Array,
    memory: Memory,
    other: Array | None = None,
) -> tuple[float, float]:
    """How many times `course` lies in a series above its level, and the standard error.

    Parameters
    ----------
    hours, values, sd, course : ndarray, shape (m,)
        Times [h], values, stated errors and expected course of the points in question.
    memory : Memory
    other : ndarray, shape (m,), optional
        Another course that may lie in the series with a standard error of one.

    Returns
    -------
    tuple of float
        Factor and error; (0, inf) where no point lies in the course, or none outside it.
    """
    points = Points(hours, values, sd, np.zeros(len(hours)) if other is None else other)
    taken = np.ones((1, len(hours)), dtype=bool)
    factor, error = rises(points, taken, course[None, None, :], memory)[0, 0]
    return float(factor), float(error)


def rises(
    points: Points, taken: NDArray[np.bool_], courses: Array, memory: Memory
) -> NDArray[np.float64]:
    """What `rise` says of each of several courses in each of several choices of the points.

    Parameters
    ----------
    points : Points
    taken : ndarray of bool, shape (k, m)
        Points of each choice.
    courses : ndarray, shape (k, c, m)
        Expected courses of each choice.
    memory : Memory

    Returns
    -------
    ndarray, shape (k, c, 2)
        Factor and error.
    """
    found = np.empty((*courses.shape[:2], 2))
    found[..., 0], found[..., 1] = 0.0, math.inf
    counts = taken.sum(axis=1)
    asked = (counts >= 3) & (np.abs(courses) > 1e-9).any(axis=(1, 2))
    # As many points at once as there are, so that one matrix is no larger than the next.
    for count in np.unique(counts[asked]):
        alike = np.flatnonzero(asked & (counts == count))
        for first in range(0, len(alike), _AT_ONCE):
            some = alike[first : first + _AT_ONCE]
            which = np.nonzero(taken[some])[1].reshape(len(some), count)
            found[some] = _rises_of(points, which, courses[some], memory)
    return found


def _rises_of(
    points: Points, which: NDArray[np.int64], courses: Array, memory: Memory
) -> NDArray[np.float64]:
    """The same where all choices hold as many points: `which` has the shape (k, count)."""
    covariance = memory.covariance(points.hours[which], points.sd[which])
    other = points.other[which]
    covariance += other[:, :, None] * other[:, None, :]
    own = np.take_along_axis(courses, which[:, None, :], axis=2).swapaxes(1, 2)
    solved = np.linalg.solve(covariance, own)
    information = (own * solved).sum(axis=1)
    sums = np.einsum("kp,kpc->kc", points.values[which], solved)
    known = (np.abs(own) > 1e-9).any(axis=1) & (information > 0.0)
    safe = np.where(known, information, 1.0)
    factor = np.where(known, sums / safe, 0.0)
    return np.stack([factor, np.where(known, 1.0 / np.sqrt(safe), math.inf)], axis=-1)


def around(
    hours: Array, start_h: Array, end_h: Array, masked: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Points in each of several spells, and all that speak for it: those and calm ones near it.

    Parameters
    ----------
    hours : ndarray, shape (m,)
    start_h, end_h : ndarray, shape (k,)
        Spells, left-closed [h].
    masked : ndarray of bool, shape (m,)
        True where something else is known to have happened.

    Returns
    -------
    tuple of ndarray of bool, shape (k, m)
    """
    first, last = start_h[:, None], end_h[:, None]
    inside = (hours >= first) & (hours < last)
    near = (hours >= first - BEFORE_H) & (hours < last + AFTER_H)
    return inside, inside | (near & ~masked)
