"""How long a search must have watched before it can say what."""

from __future__ import annotations

from dataclasses import dataclass

from models.base import LEAST_DIFFERENCES, LEAST_OF_HALF, MINUTES_PER_BLOCK
from models.search import BASELINE_DAYS, LEAST_QUIET_WEEKS, VARIANCE_BLOCKS


@dataclass(frozen=True, slots=True)
class Watch:
    """When the search is ready, counted in time with the station running.

    Attributes
    ----------
    first_h : float
        Before that there is neither an ordinary scatter nor a usual of the mill's own [h].
    usual_days : float
        From then on the usual of some hour rests on its whole span, as much before as after
        it [days].
    quiet_weeks : float
        Quiet time from which on what chance can do is learnt from the mill itself [weeks].
    """

    first_h: float
    usual_days: float
    quiet_weeks: float


def watch_needed() -> Watch:
    """Work out from the search's own constants when it is ready.

    Returns
    -------
    Watch
    """
    block_h = MINUTES_PER_BLOCK / 60.0
    scatter = (LEAST_DIFFERENCES + 1) * min(VARIANCE_BLOCKS) * block_h
    usual = BASELINE_DAYS * 24.0 * LEAST_OF_HALF
    return Watch(max(scatter, usual), 2.0 * BASELINE_DAYS, LEAST_QUIET_WEEKS)
