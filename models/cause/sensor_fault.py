"""What the checks of a single sensor look at, and give; see `models.cause.corroboration`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from features.base import Signal, Station
from models.amount import Excess
from models.base import Array, Minutes
from models.detect import Candidate, Context

#: A witness that moved by this share of the questioned reading bears it out (estimate).
MOVED_SHARE = 0.25
#: How far around an episode is looked [min], and how blurred its edges are [min].
AROUND_MIN = 12 * 60
EDGE_MIN = 60


@dataclass(frozen=True, slots=True)
class SensorFault:
    """An episode that only one sensor speaks for.

    Attributes
    ----------
    start, end : int
        First minute and the one after the last.
    tag : str
        The sensor's tag, as exported (untrusted text).
    why : str
        What it showed and what did not follow.
    kg : float
        Excess that it would have meant, had it been true [kg sucrose].
    """

    start: int
    end: int
    tag: str
    why: str
    kg: float


@dataclass(frozen=True)
class Case:
    """What a check may look at."""

    item: Candidate
    minutes: Minutes
    excess: Excess
    station: Station
    context: Context | None = None

    @property
    def span(self) -> tuple[int, int]:
        """First minute of the episode and the one after its last."""
        return self.item.span.start, self.item.span.end

    def before_and_in(self, values: Array) -> tuple[float, float]:
        """Medians outside the episode (half a day on either side) and inside it."""
        start, end = self.span
        outside = np.concatenate(
            [
                values[max(start - AROUND_MIN, 0) : max(start - EDGE_MIN // 2, 0)],
                values[end + EDGE_MIN : end + AROUND_MIN],
            ]
        )
        return median(outside), median(values[start:end])

    def fault(self, signal: Signal, why: str) -> SensorFault:
        """Lay the episode at the door of one sensor."""
        return SensorFault(*self.span, signal.tag, why, self.item.span.kg)

    def alive_before(self, values: Array) -> bool:
        """Whether a series moves in the half day before the episode's end."""
        start, end = self.span
        return _alive(values[max(start - AROUND_MIN, 0) : end])


def median(values: Array) -> float:
    """Median of what is known; NaN where nothing is."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def _alive(values: Array) -> bool:
    """Whether a series moves at all: one that never does is a target standing in."""
    known = values[np.isfinite(values)]
    return len(known) >= EDGE_MIN and float(np.ptp(known)) > 1e-6
