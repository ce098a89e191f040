"""From a residual series to episodes: when an excess began, when it ended, how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.base import MINUTES_PER_BLOCK, Array, block_means, long_run_variance, running_median
from models.search.chance import p_value
from models.search.edges import extent, joined, to_the_minute
from models.search.even import SHORT_DAYS
from models.search.look import Look, Period, standing_out

#: How far the slow baseline looks to either side [days].
BASELINE_DAYS = SHORT_DAYS
#: Quarter-hours in the blocks from whose means the long-run variance is taken: 4 h and 12 h.
VARIANCE_BLOCKS = (16, 48)
#: A ramp up or a tail has at least this share of the period it leans on: pH drifts with its
#: probe and washes out, levels and temperatures step.
_LEANING_PH, _LEANING = 0.3, 0.5
#: Spells fill at least this share of the time from the first to the last.
_LEAST_ON = 0.25
#: Share of the false findings allowed in a channel that goes to its witness.
_WITNESS_SHARE = 0.2


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
    look : Look, optional
        The channel in the units it is judged in; None where nothing is searched in it.
    witness : Look, optional
        A series in which one fault of the channel shows by itself.
    """

    minute_kg_h: Array
    block_kg_h: Array
    baseline_kg_h: Array
    lrv_block: float
    look: Look | None = None
    witness: Look | None = None

    @property
    def n(self) -> int:
        """Minutes."""
        return len(self.minute_kg_h)


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
    per_week : float
        Chance periods at least as strong, in its channel [1/week]; 0 where it is read off and
        not inferred.
    sure : bool
        False where that rate could not be learnt from the channel.
    spells : bool
        Hours that stand out again and again, not the whole.
    """

    start: int
    end: int
    kg: float
    kg_sd: float
    z: float
    per_week: float = 0.0
    sure: bool = True
    spells: bool = False

    @property
    def p_value(self) -> float:
        """Chance that nothing but noise makes so strong a period in six hours of its channel."""
        return p_value(self.per_week, sure=self.sure)


def residual_of(
    kg_h: Array,
    quiet: NDArray[np.bool_],
    look: Look | None = None,
    witness: Look | None = None,
) -> Residual:
    """Take the slow baseline of the quiet minutes away.

    Parameters
    ----------
    kg_h : ndarray, shape (n,)
        Channel [kg/h], NaN where it says nothing.
    quiet : ndarray of bool, shape (n,)
        False where an episode of this channel is already known.
    look, witness : Look, optional
        The channel, and what one fault of it shows in by itself, in the units they are judged in;
        they are the same whatever is known.
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
    return Residual(kg_h - baseline, rest, baseline, _floor(lrv, rest), look, witness)


def _floor(lrv: float, blocks: Array) -> float:
    """A series that hardly moves still has rounding: never divide by nothing."""
    top = float(np.nanmax(np.abs(blocks), initial=0.0))
    return max(lrv if math.isfinite(lrv) else 0.0, (1e-3 * top) ** 2, 1e-12)


def find_spans(
    residual: Residual,
    per_week: float,
    rate_min: float,
    kg_min: float,
    *,
    fades: bool = False,
) -> list[Span]:
    """Episodes with an excess: rarer than chance allows, material, edges refined to the minute.

    Parameters
    ----------
    residual : Residual
    per_week : float
        Periods that chance may pass in this channel [1/week].
    rate_min : float
        Smallest mean excess of a period [kg/h].
    kg_min : float
        Smallest excess of an episode [kg].
    fades : bool
        Whether its faults come and go slowly, as those of pH do.

    Returns
    -------
    list of Span
        In order of time.
    """
    look = residual.look
    if look is None:
        return []
    leaning = _LEANING_PH if fades else _LEANING
    share = 1.0 if residual.witness is None else 1.0 - _WITNESS_SHARE
    out = standing_out(look, share * per_week)
    own = [p for p in out if _is_material(residual, p, rate_min)]
    told = _told(residual, look, own, share, leaning)
    witnessed: list[tuple[tuple[int, int], Period, Look]] = []
    if residual.witness is not None:
        seen = residual.witness
        periods = standing_out(seen, _WITNESS_SHARE * per_week)
        witnessed = _told(residual, seen, periods, _WITNESS_SHARE, leaning)
        told = _beside(told, [run for run, *_ in witnessed])
    spans = [_span(residual, *item) for item in (*told, *witnessed)]
    return sorted((s for s in spans if s.kg >= kg_min), key=lambda s: s.start)


def _told(
    residual: Residual,
    look: Look,
    periods: list[Period],
    share: float,
    leaning: float,
) -> list[tuple[tuple[int, int], Period, Look]]:
    """Runs of quarter-hours with the least likely period of each."""
    # Looked for in two series, chance has two turns.
    kept = [replace(p, per_week=p.per_week / share) for p in periods]
    extents = [(run, p) for p in kept for run in extent(look, p, leaning)]
    told = []
    for start, end in joined(residual.block_kg_h, [run for run, _ in extents], leaning):
        inside = [p for (a, b), p in extents if a < end and b > start]
        told.append(((start, end), min(inside, key=lambda p: p.per_week), look))
    return told


def _beside(
    told: list[tuple[tuple[int, int], Period, Look]], taken: list[tuple[int, int]]
) -> list[tuple[tuple[int, int], Period, Look]]:
    """What is left of runs beside those that a witness tells; too little of one is none."""
    left = []
    for run, period, look in told:
        start, end = run
        for first, last in taken:
            if start < first and last < end:
                # The witness lies inside: the longer side is what may be left.
                before = first - start >= end - last
                start, end = (start, first) if before else (last, end)
            if first <= start < last:
                start = min(last, end)
            if first < end <= last:
                end = max(first, start)
        if 2 * (end - start) >= run[1] - run[0]:
            left.append(((start, end), period, look))
    return left


def _span(residual: Residual, run: tuple[int, int], period: Period, look: Look) -> Span:
    minutes = to_the_minute(residual.minute_kg_h, *run)
    if period.spells or look is not residual.look:
        minutes = (run[0] * MINUTES_PER_BLOCK, min(run[1] * MINUTES_PER_BLOCK, residual.n))
    sure = (look.up_chance if period.spells else look.chance).sure
    span = measure(residual, *minutes, period.z)
    return replace(span, per_week=period.per_week, sure=sure, spells=period.spells)


def _is_material(residual: Residual, period: Period, rate_min: float) -> bool:
    """Whether its mean excess, of spells that of the hours they fill, is worth a look."""
    part = residual.block_kg_h[period.start : period.end]
    part = np.sort(part[np.isfinite(part)])
    if period.spells:
        part = part[-max(round(_LEAST_ON * len(part)), 1) :]
    return len(part) > 0 and float(part.mean()) > 0.0 and float(part.mean()) >= rate_min


def measure(residual: Residual, start: int, end: int, z: float) -> Span:
    """Integrate the excess over an episode, with its error from everyday noise.

    Minutes without data count with the mean of the others.
    """
    part = residual.minute_kg_h[start:end]
    part = part[np.isfinite(part)]
    kg = float(part.mean()) * (end - start) / 60.0 if len(part) else 0.0
    blocks = max((end - start) / MINUTES_PER_BLOCK, 1.0)
    lrv = residual.lrv_block
    if residual.look is not None:
        # Over more than half a day the mean strays further where the wander rises with length.
        wander = residual.look.wander
        lrv *= max(wander.at(blocks) / wander.at(VARIANCE_BLOCKS[-1]), 1.0)
    kg_sd = math.sqrt(lrv * blocks) * MINUTES_PER_BLOCK / 60.0
    return Span(start, end, kg, kg_sd, z)
