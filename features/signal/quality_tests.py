"""The tests behind screening, each on the good readings of one tag (numpy, times in seconds).

Limits marked "estimate" are choices of lostpol's authors; all are relative to what the tag
itself usually does, so that coarse, deadbanded and noisy tags are each measured by their own
habits.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import polars as pl
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Fewest readings from which habits can be told.
FEWEST_READINGS = 10

# Spikes (estimates): a reading is far off when it leaves both neighbours by this many usual
# changes, this many usual lone excursions, and this share of the range.
_SPIKE_CHANGES = 8.0
_SPIKE_LONE = 4.0
_SPIKE_RANGE_SHARE = 0.005
_SPIKE_WINDOW = 61
_SPIKE_LONGEST_S = 60.0
_SPIKE_DENSEST = 0.2

# pH calibration (estimates; buffers of pH 4, 7, 9.2 and 10 are common practice).
_CAL_OFF_PH = 1.0
_CAL_EDGE_PH = 0.25
_CAL_LONGEST_S = 75 * 60.0
_CAL_SHORTEST_S = 120.0
_CAL_JOIN_S = 600.0
_CAL_JUMP_S = 60.0
_BLOCK_S = 300.0
_BLOCKS = 37

# Frozen transmitters (estimates).
_FROZEN_LEAST_S = 90 * 60.0
_FROZEN_CHANGES = 20.0
_FROZEN_TIMES_USUAL = 8.0
_FROZEN_TIMES_LONG = 3.0
#: A tag whose usual change is at most this many of its smallest steps is coarse.
_COARSE_STEPS = 1.5


def spikes(at_s: Floats, value: Floats, every_s: float, span: float) -> Bools:
    """Readings that jump far away and are back at once.

    Parameters
    ----------
    at_s : array, shape (n,)
        Rising times [s].
    value : array, shape (n,)
        Finite values.
    every_s : float
        Usual sampling interval [s].
    span : float
        Width of the signal's range, in the unit of `value`.

    Returns
    -------
    array of bool, shape (n,)

    Notes
    -----
    A group of one to three readings, lasting a minute at most unless it is a single reading,
    is a spike when each is further than the limit from the readings before and after the
    group and these two agree. The limit is the largest of 8 times the median change (in the
    neighbourhood and overall), 4 times the 98th percentile of lone excursions, and 0.5 % of the
    range; unchanged repeats do not count as changes, so deadbands do not shrink it. Where more
    than a fifth of 61 readings would be spikes, something restless is happening and none is
    marked: unrest is for the search to judge, not for screening to hide.
    """
    count = value.size
    found = np.zeros(count, dtype=bool)
    if count < FEWEST_READINGS:
        return found
    jump = np.abs(value[1:] - value[:-1])
    # Only what leaves its predecessor by more than the smallest limit can be a spike.
    begins = np.flatnonzero(jump > _SPIKE_RANGE_SHARE * span) + 1
    there_and_back = [
        (width, *_there_and_back(at_s, value, begins, (width, every_s)))
        for width in (1, 2, 3)
        if width == 1 or width * every_s <= _SPIKE_LONGEST_S
    ]
    if not any(first.size for _, first, _ in there_and_back):
        return found
    floor = _least_spike(value, jump, span)
    for width, begin, far_off in there_and_back:
        far = (jump[begin - 1] > floor) & (far_off > floor)
        first, off = begin[far], far_off[far]
        hit = first[off > _SPIKE_CHANGES * _nearby_change(jump, first)]
        for k in range(width):
            found[hit + k] = True
    if not found.any():
        return found
    marks = pl.Series(found.astype(np.float64))
    share = marks.rolling_mean(_SPIKE_WINDOW, min_samples=1, center=True).to_numpy()
    return np.asarray(found & (share <= _SPIKE_DENSEST))


def _there_and_back(
    at_s: Floats, value: Floats, begins: Ints, group: tuple[int, float]
) -> tuple[Ints, Floats]:
    """Beginnings of brief groups that leave a value and are back at it, and how far off they are.

    `group` holds its readings and the usual sampling interval [s].
    """
    width, every_s = group
    first = begins[begins < value.size - width]
    before, after = value[first - 1], value[first + width]
    off = np.full(first.size, np.inf)
    for k in range(width):
        inside = value[first + k]
        off = np.minimum(off, np.minimum(np.abs(inside - before), np.abs(inside - after)))
    # A historian that writes by exception keeps its own pace, slower than the one described.
    brief = at_s[first + width] - at_s[first] <= max((width + 1.5) * every_s, _SPIKE_LONGEST_S)
    near = brief & (np.abs(after - before) < 0.3 * off)
    return first[near], off[near]


def _least_spike(value: Floats, change: Floats, span: float) -> float:
    """Distance below which no reading of the tag is a spike; `change` is from each to the next."""
    real = change[change > 0]
    usual = float(np.median(real)) if real.size else 0.0
    # One of three stands out alone where the steps to it and from it go opposite ways.
    rises = value[1:] > value[:-1]
    lone = np.where(rises[1:] != rises[:-1], np.minimum(change[1:], change[:-1]), 0.0)
    return max(
        _SPIKE_CHANGES * usual,
        _SPIKE_LONE * float(np.quantile(lone, 0.98)),
        _SPIKE_RANGE_SHARE * span,
    )


def _nearby_change(change: Floats, rows: Ints) -> Floats:
    """Median change from reading to reading in the neighbourhood of some of them."""
    half = _SPIKE_WINDOW // 2
    padded = np.pad(np.append(change, change[-1]), half, constant_values=np.nan)
    # NaN sorts last, so that windows reaching past an end have their numbers in front.
    nearby = np.sort(sliding_window_view(padded, _SPIKE_WINDOW)[rows], axis=1)
    known = np.isfinite(nearby).sum(axis=1)
    each = np.arange(rows.size)
    return np.asarray((nearby[each, (known - 1) // 2] + nearby[each, known // 2]) / 2.0)


def calibrations(at_s: Floats, value: Floats) -> Bools:
    """Readings of pH taken in buffer while the probe was off line.

    Parameters
    ----------
    at_s : array, shape (n,)
        Rising times [s].
    value : array, shape (n,)
        Finite pH.

    Returns
    -------
    array of bool, shape (n,)

    Notes
    -----
    The usual course is a median over three hours. A period more than 1 pH off it, widened
    to where it is 0.25 pH off, counts when it lasts 2 to 75 minutes and pH both rose and fell
    by 1 within a minute at its ends. Juice in a stirred tank follows a change of lime over its
    residence time of ten minutes or more and cannot do that.
    """
    found = np.zeros(value.size, dtype=bool)
    if value.size < FEWEST_READINGS:
        return found
    off = np.abs(value - _usual_course(at_s, value))
    far = np.flatnonzero(off > _CAL_OFF_PH)
    if far.size == 0:
        return found
    jump = value - value[np.maximum(np.searchsorted(at_s, at_s - _CAL_JUMP_S, "right") - 1, 0)]
    for group in np.split(far, np.flatnonzero(np.diff(at_s[far]) > _CAL_JOIN_S) + 1):
        first, last = int(group[0]), int(group[-1])
        back = int(np.searchsorted(at_s, at_s[last] + 2 * _CAL_JUMP_S, "right"))
        back = min(max(back, last + 2), value.size)
        edges = jump[first:back]
        jumped = edges.max() >= _CAL_OFF_PH and edges.min() <= -_CAL_OFF_PH
        held_s = at_s[min(last + 1, value.size - 1)] - at_s[first]
        while first > 0 and off[first - 1] > _CAL_EDGE_PH:
            first -= 1
        while last + 1 < value.size and off[last + 1] > _CAL_EDGE_PH:
            last += 1
        if jumped and held_s >= _CAL_SHORTEST_S and at_s[last] - at_s[first] <= _CAL_LONGEST_S:
            found[first : last + 1] = True
    return found


def _usual_course(at_s: Floats, value: Floats) -> Floats:
    """Median over about three hours around each reading, from medians of five minutes."""
    block = (at_s // _BLOCK_S).astype(np.int64)
    blocks = (
        pl.DataFrame({"block": block, "value": value})
        .group_by("block")
        .agg(pl.col("value").median())
        .sort("block")
    )
    course = blocks["value"].rolling_median(_BLOCKS, min_samples=1, center=True).to_numpy()
    return np.asarray(course[np.searchsorted(blocks["block"].to_numpy(), block)])


def frozen_runs(
    at_s: Floats, value: Floats, resting: Callable[[], Bools], gap_s: float
) -> list[tuple[int, int]]:
    """Periods without any change, far longer than this tag's habit.

    Parameters
    ----------
    at_s : array, shape (n,)
        Rising times [s].
    value : array, shape (n,)
        Finite values.
    resting : callable
        Gives the readings that may stand still, idle flows and the like: array of bool, shape
        (n,). Asked only when something stood still for long.
    gap_s : float
        Silences longer than this end a run [s].

    Returns
    -------
    list of (first, last)
        Positions of the first and last reading of each run.

    Notes
    -----
    Let the usual run be the median of run lengths weighted by their time, and the long run
    their 90th percentile without the run in question. A run of three readings or more counts
    when it lasts 90 minutes, 8 usual runs and 3 long runs, and when the tag would meanwhile
    have changed 20 times at its own average rate. A coarse tag, one that usually changes by
    its smallest step, rests on a step for as long as the truth does; for it a run must be three
    times the longest other run and end in a jump of two steps or more, as when a transmitter
    catches up with what it missed.
    """
    if value.size < FEWEST_READINGS or not _may_have_stood(at_s, value):
        return []
    broken = (value[1:] != value[:-1]) | (at_s[1:] - at_s[:-1] > gap_s)
    first = np.concatenate(([0], np.flatnonzero(broken) + 1))
    last = np.append(first[1:] - 1, value.size - 1)
    if (at_s[last] - at_s[first]).max() < _FROZEN_LEAST_S:
        return []
    moving = ~resting()[first]
    first, last = first[moving], last[moving]
    if first.size == 0:
        return []
    until = np.minimum(last + 1, value.size - 1)
    length_s = at_s[last] - at_s[first]
    spread_s = np.minimum(at_s[until] - at_s[first], length_s + gap_s)
    usual_s = _time_quantile(spread_s, 0.5)
    rate_1_s = first.size / max(float(spread_s.sum()), 1.0)
    enough = max(_FROZEN_LEAST_S, _FROZEN_TIMES_USUAL * usual_s, _FROZEN_CHANGES / rate_1_s)
    step = _coarse_step(value)
    share = 0.9 if step is None else 1.0
    return [
        (int(first[k]), int(last[k]))
        for k in np.flatnonzero((length_s >= enough) & (last - first >= 2))
        if length_s[k] >= _FROZEN_TIMES_LONG * _time_quantile(np.delete(spread_s, k), share)
        and (step is None or abs(value[until[k]] - value[last[k]]) > 1.5 * step)
    ]


def _may_have_stood(at_s: Floats, value: Floats) -> bool:
    """Whether looks at a tag, three to the shortest run that counts, ever saw one value thrice."""
    looks = np.arange(at_s[0], at_s[-1], _FROZEN_LEAST_S / 3.0)
    seen = value[np.searchsorted(at_s, looks)]
    return bool(((seen[2:] == seen[1:-1]) & (seen[1:-1] == seen[:-2])).any())


def _coarse_step(value: Floats) -> float | None:
    """Smallest step of a tag that usually changes by just that; None for a finer tag."""
    change = np.abs(np.diff(value))
    change = change[change > 0]
    if change.size == 0:
        return None
    step = float(np.quantile(change, 0.01))
    return step if float(np.median(change)) <= _COARSE_STEPS * step else None


def _time_quantile(length_s: Floats, share: float) -> float:
    """Length of the run in which this share of the time, in order of length, ends [s]."""
    if length_s.size == 0:
        return 0.0
    ordered = np.sort(length_s)
    passed = np.cumsum(ordered)
    at = int(np.searchsorted(passed, share * passed[-1]))
    return float(ordered[min(at, ordered.size - 1)])
