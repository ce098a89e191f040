"""The joint estimate: courses of the feed and everything unknown of the mill, in one system.

Gauss-Newton steps on a penalised, robust least-squares problem. Courses are many and banded, the
rest is small: the courses are eliminated first, so the cost grows with the length of the season.
How fast the feed's own sugars wander is taken from the samples themselves, by the evidence of a few
trial paces. Nothing is drawn: the same results give the same level.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from scipy.linalg import cho_solve_banded, cholesky_banded, solve

from features.base import Station
from models.amount import ProbeBias
from models.base import Array, Minutes
from models.level.equations import Equations, Linear, Precision
from models.level.level import Level, level_of
from models.level.samples import Samples, Spoilt, samples_of
from models.level.ways import Ways

#: Trial paces of the feed's wander, in sample errors per root hour.
_PACES: Final = (0.2, 0.4, 0.8, 1.6)
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
    """

    mill: Array
    covariance: Array
    evidence: float
    scale: float


def level_samples(
    minutes: Minutes,
    lab: pl.DataFrame,
    station: Station,
    biases: Mapping[str, ProbeBias],
    spoilt: Sequence[Spoilt] = (),
) -> list[Samples]:
    """Samples that tell the level: those of what is analysed at two points at least.

    Parameters
    ----------
    minutes : Minutes
    lab : DataFrame
        Laboratory results: ts_utc, analyte, place, port, value, sd, and period_h where some are of
        composites.
    station : Station
        Its kinetics are the prior.
    biases : mapping of str to ProbeBias
        pH probes, by point.
    spoilt : sequence of (str, int, int)
        Zone and minutes of microbial growth.

    Returns
    -------
    list of Samples
    """
    samples = samples_of(lab, minutes, station, Ways(minutes, station, biases), spoilt)
    return [s for s in samples if _compared(s, samples)]


def fit_level(minutes: Minutes, samples: Sequence[Samples], station: Station) -> Level:
    """Fit the level of the kinetics to every analysis along the train.

    Parameters
    ----------
    minutes : Minutes
    samples : sequence of Samples
        As `level_samples` gives them.
    station : Station
        Its kinetics are the prior.

    Returns
    -------
    Level
        The prior's own where the analyses say nothing.
    """
    zones = list(minutes.zones)
    equations = Equations(samples, station, zones, minutes.n / 60.0)
    if not samples:
        prior = np.asarray(np.linalg.inv(equations.mill_precision()), dtype=float)
        return level_of(equations.layout, equations.start()[1], prior, minutes, station, 0)
    trials = [_solved(equations, pace) for pace in _PACES]
    best = max(trials, key=lambda found: found.evidence)
    return level_of(
        equations.layout, best.mill, best.covariance, minutes, station, _told_by(samples)
    )


def _compared(one: Samples, samples: Sequence[Samples]) -> bool:
    """Whether the same is analysed at another point: only differences tell of inversion."""
    return any(s.kind == one.kind and s.place != one.place for s in samples)


def _told_by(samples: Sequence[Samples]) -> int:
    """Samples of the kind that has most, behind its first point."""
    counts = {}
    for kind in {s.kind for s in samples}:
        own = [s for s in samples if s.kind == kind]
        first = min(s.step for s in own)
        counts[kind] = sum(len(s) for s in own if s.step > first)
    return max(counts.values(), default=0)


def _solved(equations: Equations, pace: float) -> Solved:
    course_prior, mill_prior = equations.course_precision(pace), equations.mill_precision()
    courses, mill = equations.start()
    courses_0, mill_0 = courses.copy(), mill.copy()
    weights, scale = np.ones(len(equations.seen_pct)), 1.0
    for step in range(_STEPS):
        linear = equations.at(courses, mill)
        off = (equations.seen_pct - linear.predicted_pct) / equations.sd_pct
        if step:
            scale = max(1.0, 1.4826 * float(np.median(np.abs(off))))
            weights = np.minimum(1.0, _HUBER / np.maximum(np.abs(off) / scale, 1e-9))
        gain = weights / (scale * equations.sd_pct) ** 2
        back = course_prior @ (courses - courses_0), mill_prior @ (mill - mill_0)
        system = _System(linear, gain, course_prior, mill_prior)
        by_course, by_mill = system.step(equations.seen_pct - linear.predicted_pct, back)
        by_mill = np.clip(by_mill, -_LONGEST, _LONGEST)
        courses, mill = courses + by_course, mill + by_mill
        if max(np.abs(by_mill).max(), np.abs(by_course).max()) < _CLOSE:
            break
    return _summed_up(equations, (courses, mill), scale, (course_prior, mill_prior), weights)


def _summed_up(
    equations: Equations,
    found: tuple[Array, Array],
    scale: float,
    priors: tuple[Precision, Array],
    weights: Array,
) -> Solved:
    """Covariance at a solution, and the evidence for its pace by Laplace's approximation."""
    linear = equations.at(*found)
    off = (equations.seen_pct - linear.predicted_pct) / (scale * equations.sd_pct)
    far = np.abs(off)
    rho = np.where(far < _HUBER, 0.5 * far**2, _HUBER * far - 0.5 * _HUBER**2)
    gain = weights / (scale * equations.sd_pct) ** 2
    system = _System(linear, gain, *priors)
    courses_0, mill_0 = equations.start()
    away, moved = found[0] - courses_0, found[1] - mill_0
    penalty = 0.5 * float(away @ (priors[0] @ away) + moved @ priors[1] @ moved)
    before = _banded_log_det(priors[0]) + float(np.linalg.slogdet(priors[1])[1])
    evidence = -float(rho.sum()) - len(off) * math.log(scale) - penalty
    evidence += 0.5 * (before - system.log_det)
    return Solved(found[1], np.linalg.inv(system.schur), evidence, scale)


class _System:
    """Normal equations with the courses eliminated.

    Parameters
    ----------
    linear : Linear
    gain : ndarray, shape (m,)
        Weight over variance of each sample.
    course_prior, mill_prior : precisions of both kinds of unknowns
    """

    def __init__(
        self, linear: Linear, gain: Array, course_prior: Precision, mill_prior: Array
    ) -> None:
        self._linear, self._gain = linear, gain
        weighted = linear.by_mill * gain[:, None]
        self._factor = cholesky_banded(_banded(_normal(linear.by_course, gain) + course_prior))
        self._across = np.asarray(linear.by_course.T @ weighted)
        self._freed = cho_solve_banded((self._factor, False), self._across)
        own = linear.by_mill.T @ weighted + mill_prior
        self.schur = own - self._across.T @ self._freed

    @property
    def log_det(self) -> float:
        """Logarithm of the determinant of the whole system."""
        courses = 2.0 * float(np.log(self._factor[-1]).sum())
        return courses + float(np.linalg.slogdet(self.schur)[1])

    def step(self, rest: Array, back: tuple[Array, Array]) -> tuple[Array, Array]:
        """Step of courses and mill that residuals and priors ask for."""
        pull = self._gain * rest
        courses = self._linear.by_course.T @ pull - back[0]
        mill = self._linear.by_mill.T @ pull - back[1]
        alone = cho_solve_banded((self._factor, False), courses)
        by_mill = solve(self.schur, mill - self._across.T @ alone, assume_a="sym")
        return alone - self._freed @ by_mill, by_mill


def _normal(by_course: Precision, gain: Array) -> Precision:
    scaled = by_course.multiply(np.sqrt(gain)[:, None]).tocsr()
    return scaled.T @ scaled


def _banded(matrix: Precision) -> Array:
    """Upper banded form of a symmetric matrix, as LAPACK wants it."""
    held = matrix.tocoo()
    width = int((held.col - held.row).max(initial=0))
    upper = np.zeros((width + 1, matrix.shape[0]))
    for k in range(width + 1):
        upper[width - k, k:] = matrix.diagonal(k)
    return upper


def _banded_log_det(matrix: Precision) -> float:
    return 2.0 * float(np.log(cholesky_banded(_banded(matrix))[-1]).sum())
