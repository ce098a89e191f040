"""What analyses may be expected to leave known of the level, before their results are known."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from features.base import Station
from models.level.equations import Equations
from models.level.level import zone_covariance
from models.level.newton import System
from models.level.samples import Samples

#: Wander of the feed's own sugars, in sample errors per root hour: the middle of those tried.
_PACE: Final = 0.4


def expected_log_sd(
    samples: Sequence[Samples], station: Station, shares: Mapping[str, float], hours: float
) -> float:
    """Standard error of the logarithm of the level that a fit to such samples would leave [-].

    Parameters
    ----------
    samples : sequence of Samples
        Their results themselves do not matter: the error is taken where the prior stands.
    station : Station
    shares : mapping of str to float
        Share of each zone in the loss; they sum to 1.
    hours : float
        Length of the season [h].

    Returns
    -------
    float
        The prior's own without samples. The same equations as those of the fit, so that what
        cannot be told apart there cannot be told apart here.
    """
    equations = Equations(samples, station, list(shares), hours)
    layout, prior = equations.layout, equations.mill_precision()
    known = prior
    if samples:
        linear = equations.at(*equations.start())
        gain = equations.sd_pct**-2.0
        known = System(linear, gain, equations.course_precision(_PACE), prior).schur
    covariance = np.asarray(np.linalg.inv(known), dtype=float)
    spread = zone_covariance(layout, covariance, station, len(samples))
    weights = np.concatenate([np.full(layout.weeks, 1.0 / layout.weeks), [*shares.values()]])
    return math.sqrt(float(weights @ spread @ weights))
