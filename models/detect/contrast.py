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
from scipy.linalg import cho_factor, cho_solve

from models.base import Array, robust_sd

#: What a series does far outside the spell says little of its usual within it [h].
BEFORE_H, AFTER_H = 36.0, 24.0
#: Points whose likelihood is worked out at once.
_CHUNK = 120
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
        """Covariance of points at `hours` with stated errors `sd`, level included."""
        apart = np.abs(hours[:, None] - hours[None, :])
        fading = self.wander**2 * np.exp(-apart / self.tau_h) + self.level**2
        fading[np.diag_indices(len(hours))] += self.white**2 + sd**2
        return np.asarray(fading)


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
    for wander in _WANDERS:
        for tau_h in _TAUS_H if wander else _TAUS_H[:1]:
            for white in _WHITES:
                memory = Memory(white * spread, wander * spread, tau_h, level)
                likely = _log_likelihood(memory, hours, drawn_in, sd)
                if likely > most:
                    best, most = memory, likely
    return best


def _log_likelihood(memory: Memory, hours: Array, values: Array, sd: Array) -> float:
    total = 0.0
    for first in range(0, len(hours), _CHUNK):
        part = slice(first, first + _CHUNK)
        factor = cho_factor(memory.covariance(hours[part], sd[part]), lower=True)
        away = values[part] - float(np.median(values))
        total -= 0.5 * float(away @ cho_solve(factor, away))
        total -= float(np.log(np.diag(factor[0])).sum())
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
    return rises(hours, values, sd, [course], memory, other)[0]


def rises(
    hours: Array,
    values: Array,
    sd: Array,
    courses: Sequence[Array],
    memory: Memory,
    other: Array | None = None,
) -> list[tuple[float, float]]:
    """What `rise` says of each of several courses in the same points."""
    found = [(0.0, math.inf)] * len(courses)
    asked = [k for k, course in enumerate(courses) if (np.abs(course) > 1e-9).any()]
    if len(hours) < 3 or not asked:
        return found
    covariance = memory.covariance(hours, sd)
    if other is not None:
        covariance += np.outer(other, other)
    of_courses = np.column_stack([courses[k] for k in asked])
    factor = cho_factor(covariance, lower=True, overwrite_a=True, check_finite=False)
    solved = cho_solve(factor, of_courses, check_finite=False)
    information = (of_courses * solved).sum(axis=0)
    sums = values @ solved
    for k, known, total in zip(asked, information, sums, strict=True):
        if known > 0.0:
            found[k] = float(total / known), 1.0 / math.sqrt(known)
    return found


def around(
    hours: Array, start_h: float, end_h: float, masked: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Points that speak for a spell from `start_h` to `end_h`: in it, and calm ones near it.

    Parameters
    ----------
    hours : ndarray, shape (m,)
    start_h, end_h : float
    masked : ndarray of bool, shape (m,)
        True where something else is known to have happened.
    """
    inside = (hours >= start_h) & (hours < end_h)
    near = (hours >= start_h - BEFORE_H) & (hours < end_h + AFTER_H)
    return np.asarray(inside | (near & ~masked))
