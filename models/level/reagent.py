"""Another reagent, standard or method that the laboratory noted: all reducing sugars step at once.

What is inverted between two points is read stronger by the same share, so that without the step a
strong reagent would pass for a faster inversion. Only a note tells it: a step that nobody noted may
as well be other cane, which turns within hours on simulated mills and raises all points alike.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from models.level.equations import Equations
from models.level.newton import Solved, system_at
from models.level.samples import Samples

#: Steps that are believed in beforehand [log] (estimate: mostly a few per cent, at times far more).
_STEP_LOG_SD: Final = 0.25
#: Least samples to either side.
_LEAST_SAMPLES: Final = 8
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
        told = (_told(step, *solution) for step in steps)
        steps = [step for step in told if step is not None]
        solution = solve(_read_alike(samples, steps))
    return solution, tuple(steps)


def _told(step: ReagentStep, equations: Equations, found: Solved) -> ReagentStep | None:
    """A step set right by what is left of it once all are taken out."""
    times_h = np.concatenate([s.times_h for s in equations.samples])
    rs = np.concatenate([np.full(len(s), s.kind == "rs") for s in equations.samples])
    later = rs & (times_h >= step.at_h)
    behind = int(later.sum())
    if min(behind, int(rs.sum()) - behind) < _LEAST_SAMPLES:
        return None
    system, linear, rest = system_at(equations, found)
    pull, precision = system.beside(np.where(later, linear.predicted_pct, 0.0), rest)
    known = precision + _STEP_LOG_SD**-2
    log = (pull + precision * step.log) / known
    return ReagentStep(step.at_h, log, known**-0.5, behind)


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
