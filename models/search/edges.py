"""From when to when: a window that stands out, fitted to the change points around it."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from models.base import MINUTES_PER_BLOCK, Array
from models.search.changepoint import Segment, segments
from models.search.look import Look, Period, spell_hours, standing_out
from models.search.scan import HOUR, SHORT_AT_MOST

#: Price of a change point where it is already known that something happened: one that parts two
#: means by three standard errors pays.
_PENALTY = 4.5
#: Change points are told by the wander over no more than this [quarter-hours]: hours without excess
#: part two faults, however long both together.
_FINE = 8 * HOUR
#: How far around a window its shoulders are looked for, if it is not itself longer.
_AROUND = 48 * HOUR
#: Strength at which a shoulder counts [standard errors].
_LEAST_SHOULDER_Z = 2.0
#: What a ramp adds to the step that stands out reaches so many standard errors (judgement).
_LEAST_ADDED_Z = 1.0
#: Going back along a ramp, a period is no higher than this times the next (judgement).
_NO_HIGHER = 1.3
_JOIN_H = 2.0
_JOIN_UNPROVEN_H = 8.0
#: A pause this long between two periods twice as high parts them.
_VALLEY_H = 4.0


def extent(look: Look, period: Period, leaning: float) -> list[tuple[int, int]]:
    """Quarter-hours that belong to what stands out.

    Parameters
    ----------
    look : Look
    period : Period
    leaning : float
        A ramp up or a tail has at least this share of the period it leans on.

    Returns
    -------
    list of (int, int)
        One or more runs: hours of little excess part two.
    """
    if period.spells:
        return [spell_hours(look, period)]
    length = period.end - period.start
    series = look.even.long if length > SHORT_AT_MOST else look.even.short
    around = max(2 * length, _AROUND)
    low, high = max(period.start - around, 0), min(period.end + around, len(series))
    lrv = look.wander.at(min(0.5 * length, _FINE))
    parts = segments(series[low:high], _PENALTY, lrv=lrv)
    inside = [p for p in parts if _belongs(p, period.start - low, period.end - low)]
    if not inside:
        return [(period.start, period.end)]
    mean = float(np.average([p.mean for p in inside], weights=[p.end - p.start for p in inside]))
    strong = [p for p in inside if p.mean >= leaning * mean and p.mean > 0.0]
    chosen = [(p.start + low, p.end + low) for p in _with_shoulders(parts, strong, leaning)]
    runs = _touching(chosen) or [(period.start, period.end)]
    if len(runs) > 1:
        return runs
    start, end = runs[0]
    coarse = segments(series[low:end], _PENALTY, lrv=look.wander.at(0.5 * length))
    return [(_ramp_start(look, series, (_foot(coarse, start - low) + low, start, end)), end)]


def extents_of(look: Look, per_week: float, leaning: float) -> list[tuple[int, int]]:
    """Runs of quarter-hours that belong to what chance makes `per_week` times a week at most."""
    periods = standing_out(look, per_week)
    return _touching([run for p in periods for run in extent(look, p, leaning)])


def _foot(parts: list[Segment], start: int) -> int:
    """How far back the periods before `start` lie above the usual, each lower than the next."""
    after = parts[-1].mean if parts else 0.0
    for part in reversed(parts):
        if not 0.0 < part.mean <= _NO_HIGHER * after:
            break
        start, after = min(part.start, start), part.mean
    return start


def _ramp_start(look: Look, series: Array, bounds: tuple[int, int, int]) -> int:
    """Reach back to where a creeping fault began to cost.

    A step tells of a ramp only the part that stands out. A straight rise from nothing takes the
    place of the step where the readings are more likely under it, and where what it adds is itself
    above the usual. `bounds` are the earliest start, the step's start and its end.
    """
    foot, start, end = bounds
    part = series[start:end]
    known = part[np.isfinite(part)]
    step = float(known.sum()) ** 2 / max(len(known), 1)
    gain, length = _ramp_from(series[foot:end], end - start)
    added = series[end - length : start]
    added = added[np.isfinite(added)]
    if gain < step or len(added) == 0:
        return start
    z = float(added.sum()) / math.sqrt(len(added) * look.wander.at(len(added)))
    return end - length if z >= _LEAST_ADDED_Z else start


def _ramp_from(series: Array, least: int) -> tuple[float, int]:
    """Best straight rise from nothing to the end of a series: squared fit and length."""
    back = series[::-1]
    known = np.isfinite(back)
    values, places = np.where(known, back, 0.0), np.arange(len(back))
    count, place, square = (np.cumsum(known * places**k) for k in (0, 1, 2))
    total, moment = np.cumsum(values), np.cumsum(values * places)
    lengths = np.arange(least, len(back) + 1)
    if len(lengths) == 0:
        return 0.0, least
    at, top = lengths - 1, lengths - 0.5
    # Heights top - place, from the last reading back to the first.
    fit = top * total[at] - moment[at]
    norm = top**2 * count[at] - 2.0 * top * place[at] + square[at]
    gains = np.where(fit > 0.0, fit**2 / np.maximum(norm, 1e-9), 0.0)
    best = int(np.argmax(gains))
    return float(gains[best]), int(lengths[best])


def _belongs(part: Segment, start: int, end: int) -> bool:
    """Whether half of a segment, or half of the window, lies in the other."""
    both = min(part.end, end) - max(part.start, start)
    return 2 * both >= min(part.end - part.start, end - start) and both > 0


def _touching(runs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    joined: list[tuple[int, int]] = []
    for start, end in sorted(runs):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined


def _with_shoulders(parts: list[Segment], strong: list[Segment], leaning: float) -> list[Segment]:
    """Strong periods and the weaker ones leaning on them (a ramp up, a tail)."""
    anchors, chosen = set(strong), set(strong)
    for step in (1, -1):
        for before, part in pairwise(parts[::step]):
            leans = part.z >= _LEAST_SHOULDER_Z and part.mean >= leaning * before.mean
            if before in anchors and leans:
                chosen.add(part)
    return [p for p in parts if p in chosen and not _is_valley(p, parts, chosen)]


def _is_valley(part: Segment, parts: list[Segment], chosen: set[Segment]) -> bool:
    """Whether hours of little excess part two episodes: one probe put right, then adrift again."""
    at = parts.index(part)
    if at in (0, len(parts) - 1) or (part.end - part.start) * MINUTES_PER_BLOCK < 60 * _VALLEY_H:
        return False
    sides = (parts[at - 1], parts[at + 1])
    return all(p in chosen for p in sides) and part.mean < 0.5 * min(p.mean for p in sides)


def joined(blocks: Array, runs: list[tuple[int, int]], leaning: float) -> list[tuple[int, int]]:
    """Join runs over a short pause, or a longer one in which the excess went on or is unknown.

    Two runs of quite different height stay two: hours of slight unrest after a fault would
    otherwise smear it over days.

    Parameters
    ----------
    blocks : ndarray, shape (n,)
        Excess [kg/h], NaN where missing.
    runs : list of (int, int)
        [quarter-hours]; those that overlap are one.
    leaning : float
    """
    short, long = (int(h * 60 / MINUTES_PER_BLOCK) for h in (_JOIN_H, _JOIN_UNPROVEN_H))
    kept: list[tuple[int, int]] = []
    for start, end in _touching(runs):
        if kept and start - kept[-1][1] <= long:
            first, pause = blocks[slice(*kept[-1])], blocks[kept[-1][1] : start]
            if _alike(first, blocks[start:end], leaning) and (
                len(pause) <= short or _went_on(pause, np.append(first, blocks[start:end]))
            ):
                kept[-1] = (kept[-1][0], end)
                continue
        kept.append((start, end))
    return kept


def _alike(first: Array, second: Array, leaning: float) -> bool:
    low, high = sorted((_mean(first), _mean(second)))
    return low >= leaning * high


def _mean(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else 0.0


def _went_on(pause: Array, around: Array) -> bool:
    known = pause[np.isfinite(pause)]
    return len(known) == 0 or bool(known.mean() >= 0.3 * _mean(around))


def to_the_minute(minute: Array, start_block: int, end_block: int) -> tuple[int, int]:
    """Edges to the minute: where the running sum of (excess - half its mean) turns."""
    width = MINUTES_PER_BLOCK
    start, end = start_block * width, min(end_block * width, len(minute))
    half = 0.5 * _mean(minute[start:end])
    rise = np.cumsum(np.nan_to_num(minute - half, nan=0.0))
    reach = min(90, (end - start) // 3)
    low = max(start - reach, 0)
    first = low + _lowest(rise[low : start + reach + 1]) + 1 if start > 0 else 0
    high = min(end + reach, len(minute))
    last = end - reach + int(np.argmax(rise[end - reach : high])) + 1 if end < len(minute) else end
    return (first, last) if last > first else (start, end)


def _lowest(rise: Array) -> int:
    """Where a running sum is lowest; the middle where a gap keeps it there."""
    ties = np.flatnonzero(rise <= rise.min())
    return int(ties[len(ties) // 2])
