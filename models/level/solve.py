"""The joint estimate: courses of the feed and everything unknown of the mill, in one system.

How fast the feed's own sugars wander is taken from the samples themselves, by the evidence of a few
trial paces (`newton`); the level is then averaged over all that it may be (`average`). Nothing is
drawn: the same results give the same level.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final, Protocol

import numpy as np
import polars as pl

from features.base import Station
from models.amount import ProbeBias
from models.base import Minutes
from models.level.average import averaged
from models.level.equations import Equations
from models.level.level import Level, level_of
from models.level.newton import Solved, solved
from models.level.reagent import without_steps
from models.level.samples import Kind, Samples, Spoilt, samples_of
from models.level.ways import Ways

#: Trial paces of the feed's wander, in sample errors per root hour.
_PACES: Final = (0.2, 0.4, 0.8, 1.6)


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
    return [s for s in samples if compared(s, samples)]


def fit_level(
    minutes: Minutes,
    samples: Sequence[Samples],
    station: Station,
    changed_h: Sequence[float] = (),
) -> Level:
    """Fit the level of the kinetics to every analysis along the train.

    Parameters
    ----------
    minutes : Minutes
    samples : sequence of Samples
        As `level_samples` gives them.
    station : Station
        Its kinetics are the prior.
    changed_h : sequence of float
        When the laboratory noted another reagent or method [h since the first minute].

    Returns
    -------
    Level
        The prior's own where the analyses say nothing.
    """
    zones, hours = list(minutes.zones), minutes.n / 60.0
    if not samples:
        equations = Equations(samples, station, zones, hours)
        prior = np.asarray(np.linalg.inv(equations.mill_precision()), dtype=float)
        return level_of(equations.layout, equations.start()[1], prior, minutes, station, 0)

    def solve(some: Sequence[Samples]) -> tuple[Equations, Solved]:
        tried = Equations(some, station, zones, hours)
        trials = [solved(tried, pace) for pace in _PACES]
        return tried, max(trials, key=lambda found: found.evidence)

    (equations, best), steps = without_steps(samples, solve, changed_h)
    mill, covariance = averaged(equations, best)
    level = level_of(equations.layout, mill, covariance, minutes, station, told_by(samples))
    return replace(level, steps=steps)


class Analysed(Protocol):
    """What is analysed, and where."""

    @property
    def kind(self) -> Kind:
        """``rs`` or ``pol``."""

    @property
    def place(self) -> str:
        """Vessel behind which it was drawn, or ``mixed_juice``."""


def compared(one: Analysed, samples: Sequence[Analysed]) -> bool:
    """Whether the same is analysed at another point: only differences tell of inversion."""
    return any(s.kind == one.kind and s.place != one.place for s in samples)


def told_by(samples: Sequence[Samples]) -> int:
    """Samples of the kind that has most, behind its first point."""
    counts = {}
    for kind in {s.kind for s in samples}:
        own = [s for s in samples if s.kind == kind]
        first = min(s.step for s in own)
        counts[kind] = sum(len(s) for s in own if s.step > first)
    return max(counts.values(), default=0)
