"""Errors of scale and zero that a mill's meters carry all season, unknown to anybody.

They act on what is exported, not on the plant. What a tag measures is told from its first letter
(ISA 5.1: F flow, L level, T temperature), which comes first behind the dot of a tag's name.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.simulator.manners import Manners

Floats = NDArray[np.float64]

#: Course of the filtrate's flow where it has a meter [m3/h].
FILTRATE_FLOW = "filtrate_m3_h"


def meter_errors(manners: Manners | None, name: str) -> tuple[float, float]:
    """Scale error [1] and zero error of one meter.

    Parameters
    ----------
    manners : Manners or None
    name : str
        Tag, such as ``ST.FI301``, or `FILTRATE_FLOW`.

    Returns
    -------
    tuple of float
        The zero error in K (thermometers), % of the span (levels), % of the usual flow (flows).
        Both 0 for other tags and without manners. The same for a name whatever else there is.
    """
    if manners is None:
        return 0.0, 0.0
    scale, zero = manners.stream(f"meter {name}").standard_normal(2)
    kind = "F" if name == FILTRATE_FLOW else name.partition(".")[2][:1]
    if kind == "F":
        return float(scale * manners.flow_scale_sd), float(zero * manners.flow_zero_pct)
    if kind == "L":
        return float(scale * manners.level_scale_sd), float(zero * manners.level_zero_pct)
    return 0.0, float(zero * manners.temp_zero_k) if kind == "T" else 0.0


def as_metered(courses: dict[str, Floats], manners: Manners | None) -> dict[str, Floats]:
    """What the meters show of the true courses; those without errors stay as they are.

    Parameters
    ----------
    courses : dict of str to array, shape (T,)
        True courses by tag.
    manners : Manners or None

    Returns
    -------
    dict of str to array, shape (T,)
    """
    return {name: _metered(name, course, manners) for name, course in courses.items()}


def _metered(name: str, course: Floats, manners: Manners | None) -> Floats:
    scale, zero = meter_errors(manners, name)
    if scale == 0.0 and zero == 0.0:
        return course
    if name == FILTRATE_FLOW or name.partition(".")[2].startswith("F"):
        zero *= 0.01 * float(np.median(course))
    return np.asarray(course * (1.0 + scale) + zero)
