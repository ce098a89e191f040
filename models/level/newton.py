"""Gauss-Newton steps on a penalised, robust least-squares problem.

Courses are many and banded, the rest is small: the courses are eliminated first, so the cost grows
with the length of the season.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from models.base import Array
from models.level.equations import Equations, Linear
from models.level.pattern import added, banded_times, factored, solved_band

_STEPS: Final = 25
_CLOSE: Final = 1e-7
#: Samples further off than this many standard errors count less (Huber).
_HUBER: Final = 1.5
#: Longest step of a logarithm.
_LONGEST: Final = 0.7


@dataclass(frozen=True)
class Solved:
    """One solution.

    Attributes
    ----------
    mill : ndarray, shape (size,)
        Unknowns of the mill.
    covariance : ndarray, shape (size, size)
    evidence : float
        Logarithm of how well pace and samples agree, up to a constant.
    scale : float
        By how much samples scatter more than they say, at least 1 [-].
    pace : float
        Wander of the feed that was tried, in sample errors per root hour.
    courses : ndarray, shape (courses,)
        What the feed brought.
    """

    mill: Array
    covariance: Array
    evidence: float
    scale: float
    pace: float
    courses: Array


def solved(
    equations: Equations,
    pace: float,
    near: Solved | None = None,
    belief: tuple[Array, Array] | None = None,
) -> Solved:
    """Solve for one pace.

    Parameters
    ----------
    equations : Equations
    pace : float
        Wander of the feed, in sample errors per root hour.
    near : Solved, optional
        Where to start, and whose scale to keep.
    belief : tuple of ndarray, optional
        Precision and centre of the belief in the mill's unknowns, instead of their own.
    """
    course_prior, (courses_0, mill_0) = equations.course_precision(pace), equations.start()
    mill_prior = equations.mill_precision()
    if belief is not None:
        mill_prior, mill_0 = belief
    courses, mill = (courses_0, mill_0) if near is None else (near.courses, near.mill)
    weights, scale = np.ones(len(equations.seen_pct)), near.scale if near else 1.0
    for step in range(_STEPS):
        linear = equations.at(courses, mill)
        off = (equations.seen_pct - linear.predicted_pct) / equations.sd_pct
        if step or near:
            if near is None:
                scale = max(1.0, 1.4826 * float(np.median(np.abs(off))))
            weights = _weights(off / scale)
        gain = weights / (scale * equations.sd_pct) ** 2
        back = banded_times(course_prior, courses - courses_0), mill_prior @ (mill - mill_0)
        system = System(linear, gain, course_prior, mill_prior)
        by_course, by_mill = system.step(equations.seen_pct - linear.predicted_pct, back)
        by_mill = np.clip(by_mill, -_LONGEST, _LONGEST)
        courses, mill = courses + by_course, mill + by_mill
        if max(np.abs(by_mill).max(), np.abs(by_course).max()) < _CLOSE:
            break
    priors = course_prior, mill_prior
    return _summed_up(equations, (courses, mill), (courses_0, mill_0), scale, priors, weights, pace)


def system_at(equations: Equations, found: Solved) -> tuple[System, Array]:
    """Normal equations at a solution, with the rest of each sample [% of sucrose].

    Parameters
    ----------
    equations : Equations
    found : Solved
        A solution of them.
    """
    linear = equations.at(found.courses, found.mill)
    rest = equations.seen_pct - linear.predicted_pct
    sd = found.scale * equations.sd_pct
    priors = equations.course_precision(found.pace), equations.mill_precision()
    return System(linear, _weights(rest / sd) / sd**2, *priors), rest


def _weights(off: Array) -> Array:
    return np.minimum(1.0, _HUBER / np.maximum(np.abs(off), 1e-9))


def _summed_up(
    equations: Equations,
    found: tuple[Array, Array],
    believed: tuple[Array, Array],
    scale: float,
    priors: tuple[Array, Array],
    weights: Array,
    pace: float,
) -> Solved:
    """Covariance at a solution, and the evidence for its pace by Laplace's approximation."""
    linear = equations.at(*found)
    off = (equations.seen_pct - linear.predicted_pct) / (scale * equations.sd_pct)
    far = np.abs(off)
    rho = np.where(far < _HUBER, 0.5 * far**2, _HUBER * far - 0.5 * _HUBER**2)
    gain = weights / (scale * equations.sd_pct) ** 2
    system = System(linear, gain, *priors)
    away, moved = found[0] - believed[0], found[1] - believed[1]
    penalty = 0.5 * float(away @ banded_times(priors[0], away) + moved @ priors[1] @ moved)
    before = _banded_log_det(priors[0]) + float(np.linalg.slogdet(priors[1])[1])
    evidence = -float(rho.sum()) - len(off) * math.log(scale) - penalty
    evidence += 0.5 * (before - system.log_det)
    covariance = np.asarray(np.linalg.inv(system.schur), dtype=float)
    return Solved(found[1], covariance, evidence, scale, pace, found[0])


class System:
    """Normal equations with the courses eliminated; `schur` is the precision of all the rest.

    Parameters
    ----------
    linear : Linear
    gain : ndarray, shape (m,)
        Weight over variance of each sample.
    course_prior : ndarray
        Precision of the courses, in upper banded form.
    mill_prior : ndarray, shape (size, size)
        That of the rest.
    """

    def __init__(self, linear: Linear, gain: Array, course_prior: Array, mill_prior: Array) -> None:
        self._linear, self._gain = linear, gain
        weighted = linear.by_mill * gain[:, None]
        normal = linear.pattern.normal_band(linear.by_course, gain)
        self._factor = factored(added(normal, course_prior))
        self._across = linear.pattern.turned_times(linear.by_course, weighted)
        self._freed = solved_band(self._factor, self._across)
        own = linear.by_mill.T @ weighted + mill_prior
        self.schur = own - self._across.T @ self._freed

    @property
    def log_det(self) -> float:
        """Logarithm of the determinant of the whole system."""
        courses = 2.0 * float(np.log(self._factor[-1]).sum())
        return courses + float(np.linalg.slogdet(self.schur)[1])

    def _fed(self, of_samples: Array) -> Array:
        """What something of each sample comes to on each knot of the courses."""
        return self._linear.pattern.turned_times(self._linear.by_course, of_samples)

    def step(self, rest: Array, back: tuple[Array, Array]) -> tuple[Array, Array]:
        """Step of courses and mill that residuals and priors ask for."""
        # All of dense linear algebra that the outlook, which takes no step, can do without.
        from scipy.linalg import solve  # noqa: PLC0415

        pull = self._gain * rest
        courses = self._fed(pull) - back[0]
        mill = self._linear.by_mill.T @ pull - back[1]
        alone = solved_band(self._factor, courses)
        by_mill = solve(self.schur, mill - self._across.T @ alone, assume_a="sym")
        return alone - self._freed @ by_mill, by_mill

    def beside(self, shape: Array, rest: Array) -> tuple[float, float]:
        """What samples say of one more unknown, all others free: its pull and its precision.

        Parameters
        ----------
        shape : ndarray, shape (m,)
            What the unknown adds to each sample.
        rest : ndarray, shape (m,)
            Samples less what is predicted at the solution.
        """
        pull = self._gain * shape
        none = np.zeros(self._across.shape[0]), np.zeros(len(self.schur))
        courses, mill = self.step(shape, none)
        taken = self._fed(pull) @ courses + self._linear.by_mill.T @ pull @ mill
        return float(pull @ rest), float(pull @ shape - taken)


def _banded_log_det(band: Array) -> float:
    return 2.0 * float(np.log(factored(band)[-1]).sum())
