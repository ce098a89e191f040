"""How long a search must have watched before it can say what."""

from __future__ import annotations

from dataclasses import dataclass

from models.base import LEAST_DIFFERENCES, LEAST_OF_HALF, MINUTES_PER_BLOCK
from models.search import BASELINE_DAYS, OWN_WEEKS, VARIANCE_BLOCKS


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
    own_weeks : float
        Time after which the mill's own swings weigh as much as what all noises have in common,
        for what chance can do [weeks].
    """

    first_h: float
    usual_days: float
    own_weeks: float


def watch_needed() -> Watch:
    """Work out from the search's own constants when it is ready.

    Returns
    -------
    Watch
    """
    block_h = MINUTES_PER_BLOCK / 60.0
    scatter = (LEAST_DIFFERENCES + 1) * min(VARIANCE_BLOCKS) * block_h
    usual = BASELINE_DAYS * 24.0 * LEAST_OF_HALF
    return Watch(max(scatter, usual), 2.0 * BASELINE_DAYS, OWN_WEEKS)
