"""The level averaged over all that it may be."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from models.base import Array
from models.level.equations import Equations
from models.level.newton import Solved, solved

#: Levels that are held in turn: so many to each side, so far apart [log], each so tightly.
_SIDE: Final = 7
_APART: Final = 0.3
_HELD_LOG_SD: Final = 0.01


def averaged(equations: Equations, best: Solved) -> tuple[Array, Array]:
    """Mean and covariance of the mill's unknowns, the level taken over all that it may be.

    Samples tell the multiplier itself, belief its logarithm: where they tell little, the likeliest
    level is no middle, and the curvature there no measure of how far it may be off. So the level is
    held at values on both sides, the rest solved for at each, and all are averaged by how well they
    agree with samples and belief.
    """
    weeks = equations.layout.weeks
    middle = float(best.mill[:weeks].mean())
    levels = middle + _APART * np.arange(-_SIDE, _SIDE + 1)
    found: list[Solved] = []
    for side in (levels[_SIDE:], levels[:_SIDE][::-1]):
        near = best
        for level in side:
            near = solved(equations, best.pace, near, _with_level(equations, float(level)))
            found.append(near)
    believed, log_sd = _level_prior(equations)
    held = np.concatenate([levels[_SIDE:], levels[:_SIDE][::-1]])
    evidence = np.array([one.evidence for one in found])
    evidence -= 0.5 * np.square((held - believed) / log_sd)
    share = np.exp(evidence - evidence.max())
    share /= share.sum()
    mills = np.stack([one.mill for one in found])
    mean = share @ mills
    away = mills - mean
    within = np.tensordot(share, np.stack([one.covariance for one in found]), 1)
    return mean, within + (away * share[:, None]).T @ away


def _level_prior(equations: Equations) -> tuple[float, float]:
    """What is believed of the mean course: its logarithm and standard error."""
    mean = _mean_course(equations)
    spread = np.linalg.solve(equations.mill_precision(), mean)
    return float(mean @ equations.start()[1]), math.sqrt(float(mean @ spread))


def _mean_course(equations: Equations) -> Array:
    """What takes the mean of the course out of the mill's unknowns."""
    mean = np.zeros(equations.layout.size)
    mean[: equations.layout.weeks] = 1.0 / equations.layout.weeks
    return mean


def _with_level(equations: Equations, level: float) -> tuple[Array, Array]:
    """Belief in the mill's unknowns were its mean course known: precision and centre."""
    precision, centre = equations.mill_precision(), equations.start()[1]
    mean, tight = _mean_course(equations), _HELD_LOG_SD**-2
    held: Array = precision + tight * np.outer(mean, mean)
    at = np.linalg.solve(held, precision @ centre + tight * level * mean)
    return held, np.asarray(at, dtype=float)
