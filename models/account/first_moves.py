"""When a signal first left its usual for good: by change points, with the error of the moment.

A single step over a whole window (`models.account.order`) finds the largest change. Here the window
is parted into periods of one mean first, by the change-point search that also finds losses, and
the first of them that departs is taken: so a ramp is told from its foot, and what comes and
goes from its first coming.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from models.account.order import BLOCK_MIN, LEAST_SWINGS, LEAST_Z, STEP_TIME_90
from models.base import Array, block_means, long_run_variance, middle_of, runs_of
from models.search import change_points

#: A departure is looked for from so long before the period on [min].
LEAD_MIN = 480
#: Longest stretch of a period in which the first departure is looked for [min].
_FOLLOW_MIN = 6 * 1440
#: Least time outside the period that the usual may be learnt from [min].
_LEAST_USUAL_MIN = 720
#: Blocks of two hours for the long-run variance; least blocks of a mean of its own.
_LRV_BLOCK = 24
_SHORTEST = 3
_Z90 = 1.6449
_NORMAL_MAD = 1.4826
#: Unrest of less than this share of the departure that it leads up to does not date it (judgement).
_FORESHOCK = 0.3
#: Relative standard error of a travel time: that of the volumes.
_DELAY_REL_SD = 0.1


@dataclass(frozen=True)
class Departure:
    """How a signal left its usual around a period.

    Attributes
    ----------
    name : str
    usual, during : float
        Its usual, and its mean over what departs in the period [unit of the signal].
    onset_min : float
        When it left its usual [min since the first minute given].
    spread_min : float
        Half of the 90 % interval of that moment [min].
    z, swings : float
        Size in standard errors and in everyday swings [-].
    open_start : bool
        It had departed before anything was looked at.
    """

    name: str
    usual: float
    during: float
    onset_min: float
    spread_min: float
    z: float
    swings: float
    open_start: bool = False

    @property
    def change(self) -> float:
        """Departure from the usual [unit of the signal]."""
        return self.during - self.usual

    @property
    def clear(self) -> bool:
        """Whether it is more than noise and more than an everyday swing."""
        return self.z >= LEAST_Z and self.swings >= LEAST_SWINGS


def first_departure(
    name: str,
    values: Array,
    period: tuple[int, int],
    *,
    travel_min: float = 0.0,
    least: float = 0.0,
) -> Departure | None:
    """How and when a signal left its usual around a period.

    Parameters
    ----------
    name : str
    values : ndarray, shape (n,)
        By minute, on parcel time where the juice carries it; NaN where missing. Should reach days
        beyond the period.
    period : tuple of int
        First minute and the one after the last.
    travel_min : float
        Travel time it was moved back by [min].
    least : float
        Smallest change that an instrument of its kind can tell [unit of the signal].

    Returns
    -------
    Departure or None
        Not necessarily a clear one. None where too little was measured.

    Notes
    -----
    The usual is the median of what was measured outside the period and of `LEAD_MIN` before it, an
    everyday swing the spread there. The error of the moment is that of a least-squares step against
    noise with the signal's long-run variance (`order.STEP_TIME_90`), with that of the travel time.
    """
    blocks = block_means(values, BLOCK_MIN)
    first = max(period[0] - LEAD_MIN, 0) // BLOCK_MIN
    last = min(-(-period[1] // BLOCK_MIN), first + (LEAD_MIN + _FOLLOW_MIN) // BLOCK_MIN)
    usual, swing = _usual(blocks, first, -(-period[1] // BLOCK_MIN))
    variance = long_run_variance(blocks, _LRV_BLOCK)
    part = blocks[first:last]
    known = np.flatnonzero(np.isfinite(part))
    if len(known) < 2 * _SHORTEST or not math.isfinite(variance) or not math.isfinite(usual):
        return None
    swing = max(swing, least / LEAST_SWINGS, 1e-9 * abs(usual), 1e-12)
    variance = max(variance, (0.2 * swing) ** 2)
    begins = max(period[0] // BLOCK_MIN - first, 0)
    # Gaps carry no news: the search runs over what was measured.
    begins = int(np.searchsorted(known, begins))
    means = _means(part[known], variance)
    chosen = _departing(means, usual, swing, begins)
    if not chosen:
        return None
    count = sum(end - max(start, begins) for start, end, _ in chosen)
    during = sum(mean * (end - max(start, begins)) for start, end, mean in chosen) / count
    at = chosen[0][0]
    step = abs(chosen[0][2] - (means[_index(means, at) - 1][2] if at else usual))
    noise = STEP_TIME_90 * variance / max(step, swing) ** 2 * BLOCK_MIN
    gap = 0.5 * float(known[at] - known[at - 1]) * BLOCK_MIN if at else 0.0
    edge = 0.5 * float(known[at - 1] + 1 + known[at]) if at else float(known[0])
    return Departure(
        name,
        usual,
        during,
        (first + edge) * BLOCK_MIN,
        math.hypot(max(noise, gap), _Z90 * _DELAY_REL_SD * travel_min),
        abs(during - usual) * math.sqrt(count / variance),
        abs(during - usual) / swing,
        open_start=at == 0,
    )


_Mean = tuple[int, int, float]


def _usual(blocks: Array, first: int, last: int) -> tuple[float, float]:
    """Median and everyday spread outside the period and of the hours before it."""
    outside = np.concatenate([blocks[:first], blocks[last:]])
    outside = outside[np.isfinite(outside)]
    if len(outside) * BLOCK_MIN < _LEAST_USUAL_MIN:
        return math.nan, math.nan
    middle = middle_of(outside)
    return middle, _NORMAL_MAD * middle_of(np.abs(outside - middle))


def _means(values: Array, variance: float) -> list[_Mean]:
    """Periods of one mean: first block, the one after the last, mean."""
    cuts = change_points(values, variance, LEAST_Z**2, _SHORTEST)
    bounds = [0, *cuts, len(values)]
    return [(a, b, float(values[a:b].mean())) for a, b in pairwise(bounds)]


def _departing(means: Sequence[_Mean], usual: float, swing: float, begins: int) -> list[_Mean]:
    """Periods of one mean that belong to the departure within the period asked about.

    Its sign is that of the larger departure in it; a run that reaches into the period counts from
    its start.
    """
    inside = [(a, b, mean - usual) for a, b, mean in means if b > begins]
    if not inside:
        return []
    areas = [
        sum(max(side * off, 0.0) * (b - max(a, begins)) for a, b, off in inside) for side in (1, -1)
    ]
    side = 1 if areas[0] >= areas[1] else -1
    away = np.array([side * (mean - usual) >= LEAST_SWINGS * swing for _, _, mean in means])
    if not any(away[i] for i, (_, b, _) in enumerate(means) if b > begins):
        most = max(inside, key=lambda m: side * m[2])
        return [m for m in means if m[:2] == most[:2]]
    runs = [r for r in runs_of(away) if means[r[1] - 1][1] > begins]
    chosen = [means[i] for start, end in runs for i in range(start, end)]
    peak = max(side * (mean - usual) for _, _, mean in chosen)
    head = next(m for m in chosen if side * (m[2] - usual) >= _FORESHOCK * peak)
    # What lies wholly before the period only dates the first run: it is no part of its mean.
    dated = [m for m in chosen if m[1] > max(begins, head[0])]
    return dated if head in dated else [(head[0], dated[0][1], dated[0][2]), *dated[1:]]


def together(moves: Sequence[Departure]) -> list[int]:
    """Group of each move: those whose order cannot be told apart from the group's first share one.

    Parameters
    ----------
    moves : sequence of Departure
        In order of time.

    Returns
    -------
    list of int
        0 for the first group.
    """
    groups: list[int] = []
    leader: Departure | None = None
    for move in moves:
        apart = leader is not None and move.onset_min - leader.onset_min > math.hypot(
            move.spread_min, leader.spread_min
        )
        if leader is None or apart:
            leader = move
            groups.append(groups[-1] + 1 if groups else 0)
        else:
            groups.append(groups[-1])
    return groups


def _index(means: Sequence[_Mean], start: int) -> int:
    return next(i for i, mean in enumerate(means) if mean[0] == start)
