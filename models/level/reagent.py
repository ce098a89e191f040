"""Another reagent, standard or method that the laboratory noted: all reducing sugars step at once.

What is inverted between two points is read stronger by the same share, so that without the step a
strong reagent would pass for a faster inversion. Only a note tells it: a step that nobody noted may
as well be other cane, which raises all points alike.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from models.base import Array, robust_sd
from models.level.equations import Equations
from models.level.newton import Solved, system_at
from models.level.samples import Samples

#: Steps that are believed in beforehand [log] (estimate: mostly a few per cent, at times far more).
_STEP_LOG_SD: Final = 0.25
#: Least samples to either side.
_LEAST_SAMPLES: Final = 8
#: Other times are asked so far apart, and no nearer to a noted one [h].
_EVERY_H: Final = 8.0
_APART_H: Final = 24.0
#: Fewest other times that tell how far a step may be trusted.
_FEWEST: Final = 12
#: Rounds that bring the steps to rest.
_ROUNDS: Final = 4

#: Equations of some samples, and their solution.
Solution = tuple[Equations, Solved]
Solve = Callable[[Sequence[Samples]], Solution]


@dataclass(frozen=True, slots=True)
class ReagentStep:
    """A step of all results of reducing sugars.

    Attributes
    ----------
    at_h : float
        When it came [h since the first minute].
    log, log_sd : float
        By how much later results are stronger, and its standard error [log].
    samples : int
        Samples behind it.
    """

    at_h: float
    log: float
    log_sd: float
    samples: int


def without_steps(
    samples: Sequence[Samples], solve: Solve, noted_h: Sequence[float]
) -> tuple[Solution, tuple[ReagentStep, ...]]:
    """Solve for samples as the first reagent would have read them.

    Parameters
    ----------
    samples : sequence of Samples
    solve : callable
        Equations of samples, solved.
    noted_h : sequence of float
        When a note tells of another reagent or method [h since the first minute].

    Returns
    -------
    solution : tuple of Equations and Solved
    steps : tuple of ReagentStep
        What was taken out, in order of time; none where a note has too few samples to one side.
    """
    solution = solve(samples)
    steps = [ReagentStep(at_h, 0.0, _STEP_LOG_SD, 0) for at_h in sorted(set(noted_h))]
    for _ in range(_ROUNDS if steps else 0):
        steps = _told(steps, *solution)
        solution = solve(_read_alike(samples, steps))
    return solution, tuple(steps)


def _told(steps: Sequence[ReagentStep], equations: Equations, found: Solved) -> list[ReagentStep]:
    """Steps set right by what is left of them once all are taken out."""
    if not steps:
        return []
    asked = _Asked(equations, found)
    # Cane turns in jumps, which no walk expects: steps of other times say how far to trust one.
    near = [step.at_h for step in steps]
    others = [asked.left(at_h) for at_h in asked.times_h if _apart(at_h, near) >= _APART_H]
    sizes = np.array([pull / math.sqrt(precision) for pull, precision, _ in filter(None, others)])
    wild = max(robust_sd(sizes), 1.0) if len(sizes) >= _FEWEST else 1.0
    told = []
    for step in steps:
        if (left := asked.left(step.at_h)) is not None:
            pull, precision, behind = left
            known = precision / wild**2 + _STEP_LOG_SD**-2
            log = (pull + precision * step.log) / wild**2 / known
            told.append(ReagentStep(step.at_h, log, known**-0.5, behind))
    return told


def _apart(at_h: float, others_h: Sequence[float]) -> float:
    return min(abs(at_h - other) for other in others_h)


class _Asked:
    """Samples around a solution, asked for steps; times to ask at are a shift apart."""

    def __init__(self, equations: Equations, found: Solved) -> None:
        self._system, self._rest = system_at(equations, found)
        # The usual and not what is predicted: were it to follow the course, whatever makes the
        # course less rough would pass for a step, and all would come out too high.
        self._usual: Array = np.concatenate(
            [np.full(len(s), np.median(s.seen_pct)) for s in equations.samples]
        )
        self._drawn_h = np.concatenate([s.times_h for s in equations.samples])
        self._rs = np.concatenate([np.full(len(s), s.kind == "rs") for s in equations.samples])
        self.times_h = np.arange(0.0, float(self._drawn_h.max(initial=0.0)), _EVERY_H).tolist()

    def left(self, at_h: float) -> tuple[float, float, int] | None:
        """Pull and precision of a step, and the samples behind it; None with too few a side."""
        later = self._rs & (self._drawn_h >= at_h)
        behind = int(later.sum())
        if min(behind, int(self._rs.sum()) - behind) < _LEAST_SAMPLES:
            return None
        pull, precision = self._system.beside(np.where(later, self._usual, 0.0), self._rest)
        return pull, precision, behind


def _read_alike(samples: Sequence[Samples], steps: Sequence[ReagentStep]) -> list[Samples]:
    """Samples with the steps taken out."""
    alike = []
    for one in samples:
        log = np.zeros(len(one))
        for step in steps if one.kind == "rs" else ():
            log += step.log * (one.times_h >= step.at_h)
        by = np.exp(-log)
        alike.append(replace(one, seen_pct=one.seen_pct * by, sd_pct=one.sd_pct * by))
    return alike
