"""From a residual series to episodes: when an excess began, when it ended, how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from models.base import MINUTES_PER_BLOCK, Array, block_means, long_run_variance, running_median
from models.search.chance import FIRST_SEASON, Chance, calibrate
from models.search.changepoint import Segment, default_penalty, segments

#: How far the slow baseline looks to either side [days].
BASELINE_DAYS = 7
#: Quarter-hours in the blocks from whose means the long-run variance is taken: 4 h and 12 h.
VARIANCE_BLOCKS = (16, 48)
_JOIN_H = 2.0
_JOIN_UNPROVEN_H = 8.0
#: A pause this long between two periods twice as high parts them.
_VALLEY_H = 4.0
#: A ramp up or a tail has at least this share of the period it leans on: pH drifts with its
#: probe and washes out, levels and temperatures step.
_LEANING_PH, _LEANING = 0.3, 0.5


@dataclass(frozen=True)
class Residual:
    """A channel less its slow baseline.

    Attributes
    ----------
    minute_kg_h : ndarray, shape (n,)
        Per minute.
    block_kg_h : ndarray, shape (ceil(n / 15),)
        15-minute means.
    baseline_kg_h : ndarray, shape (n,)
    lrv_block : float
        Long-run variance of the 15-minute means.
    chance : Chance
        What chance can do in this channel.
    """

    minute_kg_h: Array
    block_kg_h: Array
    baseline_kg_h: Array
    lrv_block: float
    chance: Chance = FIRST_SEASON


@dataclass(frozen=True)
class Span:
    """An episode of one channel.

    Attributes
    ----------
    start, end : int
        First minute and the one after the last.
    kg : float
        Excess above the baseline [kg sucrose].
    kg_sd : float
        Its error from everyday noise alone [kg].
    z : float
        Strongest evidence of its periods, in standard errors.
    """

    start: int
    end: int
    kg: float
    kg_sd: float
    z: float


def residual_of(
    kg_h: Array, quiet: NDArray[np.bool_], learn_from: NDArray[np.bool_] | None = None
) -> Residual:
    """Take the slow baseline of the quiet minutes away.

    Parameters
    ----------
    kg_h : ndarray, shape (n,)
        Channel [kg/h], NaN where it says nothing.
    quiet : ndarray of bool, shape (n,)
        False where an episode of this channel is already known.
    learn_from : ndarray of bool, shape (n,), optional
        Minutes in which nothing at all is known to have happened; with them the chance curve is
        the channel's own.
    """
    width = MINUTES_PER_BLOCK
    blocks = block_means(kg_h, width)
    calm = block_means(quiet.astype(float), width) > 0.5
    half = BASELINE_DAYS * 24 * 60 // width
    slow = running_median(blocks, calm, half, half // 7)
    centres = np.arange(len(blocks)) * width + width / 2
    baseline = np.interp(np.arange(len(kg_h)), centres, slow)
    rest = blocks - slow
    # Over 4 h and over 12 h: slow wander must not pass for a shift just because it is slow.
    lrv = max(long_run_variance(np.where(calm, rest, np.nan), size) for size in VARIANCE_BLOCKS)
    lrv = _floor(lrv, rest)
    chance = FIRST_SEASON
    if learn_from is not None:
        chance = calibrate(rest, block_means(learn_from.astype(float), width) > 0.5, lrv)
    return Residual(kg_h - baseline, rest, baseline, lrv, chance)


def _floor(lrv: float, blocks: Array) -> float:
    """A series that hardly moves still has rounding: never divide by nothing."""
    top = float(np.nanmax(np.abs(blocks), initial=0.0))
    return max(lrv if math.isfinite(lrv) else 0.0, (1e-3 * top) ** 2, 1e-12)


def find_spans(
    residual: Residual,
    z_min: float,
    rate_min: float,
    kg_min: float,
    standing_error: float = 0.0,
    false_per_week: float | None = None,
) -> list[Span]:
    """Episodes with an excess: significant, material, edges refined to the minute.

    Parameters
    ----------
    residual : Residual
    z_min : float
        Standard errors a period must reach.
    rate_min : float
        Smallest mean excess of a period [kg/h].
    kg_min : float
        Smallest excess of an episode [kg].
    standing_error : float
        Error of a mean that no length of time averages away [kg/h], such as that of a probe.
    false_per_week : float, optional
        Periods that chance may pass in this channel [1/week]; sets the penalty once the chance
        curve is the channel's own. Until then, or without it, the penalty rests on `z_min`.
    """
    penalty = default_penalty(len(residual.block_kg_h), z_min)
    if false_per_week is not None and residual.chance.quiet_weeks > 0.0:
        penalty = residual.chance.penalty(false_per_week)
    parts = [
        _with_standing_error(p, standing_error)
        for p in segments(residual.block_kg_h, penalty, lrv=residual.lrv_block)
    ]
    strong = [p for p in parts if p.z >= z_min and p.mean >= rate_min]
    leaning = _LEANING_PH if standing_error > 0.0 else _LEANING
    runs = _join(
        residual.block_kg_h,
        [(p.start, p.end) for p in _with_shoulders(parts, strong, leaning)],
        leaning,
    )
    spans = []
    for start, end in runs:
        z = max((p.z for p in strong if p.start < end and p.end > start), default=0.0)
        span = measure(residual, *_refine(residual.minute_kg_h, start, end), z)
        if span.kg >= kg_min:
            spans.append(span)
    return spans


def _with_standing_error(part: Segment, error: float) -> Segment:
    if part.z == 0.0:
        return part
    spread = math.hypot(part.mean / part.z, error)
    return replace(part, z=part.mean / spread)


def _with_shoulders(parts: list[Segment], strong: list[Segment], leaning: float) -> list[Segment]:
    """Strong periods and the weaker ones leaning on them (a ramp up, a tail)."""
    anchors, chosen = set(strong), set(strong)
    for step in (1, -1):
        for before, part in pairwise(parts[::step]):
            if before in anchors and part.z >= 2.0 and part.mean >= leaning * before.mean:
                chosen.add(part)
    return [p for p in parts if p in chosen and not _is_valley(p, parts, chosen)]


def _is_valley(part: Segment, parts: list[Segment], chosen: set[Segment]) -> bool:
    """Whether hours of little excess part two episodes: one probe put right, then adrift again."""
    at = parts.index(part)
    if at in (0, len(parts) - 1) or (part.end - part.start) * MINUTES_PER_BLOCK < 60 * _VALLEY_H:
        return False
    sides = (parts[at - 1], parts[at + 1])
    return all(p in chosen for p in sides) and part.mean < 0.5 * min(p.mean for p in sides)


def _join(blocks: Array, runs: list[tuple[int, int]], leaning: float) -> list[tuple[int, int]]:
    """Join runs over a short pause, or a longer one in which the excess went on or is unknown.

    Two runs of quite different height stay two: hours of slight unrest after a fault would
    otherwise smear it over days.
    """
    short, long = (int(h * 60 / MINUTES_PER_BLOCK) for h in (_JOIN_H, _JOIN_UNPROVEN_H))
    joined: list[tuple[int, int]] = []
    for start, end in runs:
        if joined and start - joined[-1][1] <= long:
            first, pause = blocks[slice(*joined[-1])], blocks[joined[-1][1] : start]
            if _alike(first, blocks[start:end], leaning) and (
                len(pause) <= short or _went_on(pause, np.append(first, blocks[start:end]))
            ):
                joined[-1] = (joined[-1][0], end)
                continue
        joined.append((start, end))
    return joined


def _alike(first: Array, second: Array, leaning: float) -> bool:
    low, high = sorted((float(np.nanmean(first)), float(np.nanmean(second))))
    return low >= leaning * high


def _went_on(pause: Array, around: Array) -> bool:
    known = pause[np.isfinite(pause)]
    return len(known) == 0 or bool(known.mean() >= 0.3 * np.nanmean(around))


def _refine(minute: Array, start_block: int, end_block: int) -> tuple[int, int]:
    """Edges to the minute: where the running sum of (excess - half its mean) turns."""
    width = MINUTES_PER_BLOCK
    start, end = start_block * width, min(end_block * width, len(minute))
    half = (
        0.5 * float(np.nanmean(minute[start:end])) if np.isfinite(minute[start:end]).any() else 0.0
    )
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


def measure(residual: Residual, start: int, end: int, z: float) -> Span:
    """Integrate the excess over an episode, with its error from everyday noise.

    Minutes without data count with the mean of the others.
    """
    part = residual.minute_kg_h[start:end]
    part = part[np.isfinite(part)]
    kg = float(part.mean()) * (end - start) / 60.0 if len(part) else 0.0
    blocks = max((end - start) / MINUTES_PER_BLOCK, 1.0)
    kg_sd = math.sqrt(residual.lrv_block * blocks) * MINUTES_PER_BLOCK / 60.0
    return Span(start, end, kg, kg_sd, z)
