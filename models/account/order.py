"""In which order signals moved around an episode, each put on the time of the parcel it saw.

A parcel of juice passes the liming tank now and the settler's outlet more than an hour later.
Every reading is therefore moved back by the time the juice took to reach it: what one parcel did
then lies at one moment, and what moved *before* its own juice could carry the news stands out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.base import Array, block_means, long_run_variance

#: Readings are averaged over so many minutes before a change is looked for.
BLOCK_MIN = 5
#: A change smaller than so many standard errors is not told from everyday noise (estimate).
LEAST_Z = 4.0
#: Nor is one under so many times the spread of the days before: the mill swings (estimate).
LEAST_SWINGS = 2.0
#: Blocks that must lie on either side of a change.
_SHORTEST = 6
#: Blocks of two hours for the long-run variance.
_LRV_BLOCK = 24
#: 95 % point of argmax(W(s) - |s|/2), so a two-sided 90 % interval in units of LRV / step^2.
#: Yao, Ann. Statist. 15 (1987) 1321, after Bai, Rev. Econ. Stat. 79 (1997) 551 (memory; checked
#: against the closed form and by simulation in the tests).
STEP_TIME_90 = 7.687
#: 90 % of a normal distribution on either side.
_Z90 = 1.6449
#: Standard deviation over median absolute deviation of a normal distribution.
_NORMAL_MAD = 1.4826


@dataclass(frozen=True)
class Move:
    """The first clear change of a signal.

    Attributes
    ----------
    name : str
    onset_min : float
        When half of it had happened, on parcel time [min since the first minute given].
    spread_min : float
        Half of its 90 % interval [min]: noise of the signal and error of the travel time.
    before, after : float
        Mean on either side [unit of the signal].
    z : float
        Size in standard errors, from the long-run variance.
    swings : float
        Size in everyday swings, from the spread of the time before the window [-]; infinite
        for a signal that did not move at all.
    """

    name: str
    onset_min: float
    spread_min: float
    before: float
    after: float
    z: float
    swings: float = math.inf


@dataclass(frozen=True)
class Signal:
    """A signal on parcel time.

    Attributes
    ----------
    values : ndarray, shape (n,)
        By minute, NaN where missing.
    travel_min : float
        Travel time it was moved back by [min].
    """

    values: Array
    travel_min: float = 0.0


def half_through_min(mean_min: Array, sd_min: Array) -> Array:
    """Time by which half of a parcel has come through [min].

    Parameters
    ----------
    mean_min, sd_min : ndarray
        Mean and standard deviation of the residence [min].

    Returns
    -------
    ndarray
        Median of the gamma distribution with that mean and spread: mean (1 - 1/(9k))^3 with
        k = (mean/sd)^2, after Wilson and Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684 (memory;
        within 2 % of the exact median for k of 1 and more, checked against scipy).
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        inverse_k = np.where(mean_min > 0.0, (sd_min / mean_min) ** 2, 0.0)
    return mean_min * np.maximum(1.0 - np.minimum(inverse_k, 3.0) / 9.0, 0.0) ** 3


def held_in_stops(delay_min: Array, stopped: NDArray[np.bool_]) -> Array:
    """Travel time with its last running value kept through stops and gaps [min].

    In a stop the age of the juice grows by a minute a minute: taken literally the whole stop would
    be one moment of parcel time.
    """
    known = np.isfinite(delay_min) & ~stopped
    if not known.any():
        return np.zeros(len(delay_min))
    last = np.maximum.accumulate(np.where(known, np.arange(len(delay_min)), -1))
    first = int(np.flatnonzero(known)[0])
    return np.asarray(delay_min[np.where(last < 0, first, last)])


def on_parcel_time(values: Array, delay_min: Array) -> Array:
    """Move a signal back by the travel time of the juice it saw.

    Parameters
    ----------
    values : ndarray, shape (n,)
        By minute of the clock, NaN where missing.
    delay_min : ndarray, shape (n,)
        Travel time to where it is read, by minute of the clock [min].

    Returns
    -------
    ndarray, shape (n,)
        By minute at which the juice entered; NaN where missing or not arrived by the last minute.
    """
    n = len(values)
    clock = np.arange(n, dtype=float)
    # Juice cannot overtake: where a flow jump says so, the earlier entry holds.
    entered = np.maximum.accumulate(clock - delay_min)
    entered = entered + np.arange(n) * 1e-9
    known = np.isfinite(values)
    moved = np.interp(clock, entered, np.where(known, values, 0.0), left=np.nan, right=np.nan)
    sure = np.interp(clock, entered, known.astype(float), left=0.0, right=0.0)
    return np.where(sure > 0.999, moved, np.nan)


def order_of_moves(
    signals: Mapping[str, Signal], window: tuple[int, int], delay_rel_sd: float = 0.1
) -> tuple[list[Move], list[str]]:
    """Signals in the order in which they moved, and those that did not.

    Parameters
    ----------
    signals : mapping of str to Signal
        On parcel time; all of one length, which should reach days beyond the window.
    window : tuple of int
        First minute and the one after the last in which a change is looked for.
    delay_rel_sd : float
        Relative standard error of travel times [-]; that of the volumes.

    Returns
    -------
    moves : list of Move
        First mover first; ties by name.
    still : list of str
        Names of signals without a clear change.
    """
    found = {name: first_move(name, s, window, delay_rel_sd) for name, s in signals.items()}
    moves = [move for move in found.values() if move is not None]
    moves.sort(key=lambda move: (round(move.onset_min, 6), move.name))
    return moves, [name for name, move in found.items() if move is None]


def first_move(
    name: str, signal: Signal, window: tuple[int, int], delay_rel_sd: float = 0.1
) -> Move | None:
    """The one step that explains most of a signal's change in a window, if it is clear.

    Least squares with a single step on five-minute means; None where its size stays under
    `LEAST_Z` standard errors or `LEAST_SWINGS` everyday swings, or too little was measured.
    """
    blocks = block_means(signal.values, BLOCK_MIN)
    variance = long_run_variance(blocks, _LRV_BLOCK)
    first, last = max(window[0], 0) // BLOCK_MIN, -(-window[1] // BLOCK_MIN)
    part = blocks[first:last]
    known = np.flatnonzero(np.isfinite(part))
    if len(known) < 2 * _SHORTEST or not math.isfinite(variance):
        return None
    values = part[known]
    variance = max(variance, (1e-6 * float(np.abs(values).max())) ** 2, 1e-18)
    split = _best_split(values)
    before, after = float(values[:split].mean()), float(values[split:].mean())
    weight = split * (len(values) - split) / len(values)
    z = abs(after - before) * math.sqrt(weight / variance)
    swings = abs(after - before) / max(_everyday(blocks, first), 1e-12)
    if z < LEAST_Z or swings < LEAST_SWINGS:
        return None
    edge = 0.5 * float(known[split - 1] + 1 + known[split])
    by_noise = STEP_TIME_90 * variance / (after - before) ** 2 * BLOCK_MIN
    gap = 0.5 * float(known[split] - known[split - 1]) * BLOCK_MIN
    by_travel = _Z90 * delay_rel_sd * signal.travel_min
    spread = math.hypot(max(by_noise, gap), by_travel)
    return Move(name, (first + edge) * BLOCK_MIN, spread, before, after, z, swings)


def _everyday(blocks: Array, first: int) -> float:
    """Spread of the time before the window, or of all where less than half a day lies before.

    From the median absolute deviation: what happened in a third of that time is no everyday swing.
    """
    earlier = blocks[:first]
    known = earlier[np.isfinite(earlier)]
    if len(known) * BLOCK_MIN < 720:
        known = blocks[np.isfinite(blocks)]
    return _NORMAL_MAD * float(np.median(np.abs(known - np.median(known))))


def _best_split(values: Array) -> int:
    """Number of readings before the step that leaves the smallest sum of squares."""
    n = len(values)
    split = np.arange(_SHORTEST, n - _SHORTEST + 1)
    total = np.cumsum(values - values.mean())
    # With the mean taken away, the gain of a split is its running sum squared over split (n-split).
    gain = total[split - 1] ** 2 * n / (split * (n - split))
    return int(split[np.argmax(gain)])


def together(moves: list[Move]) -> list[int]:
    """Group of each move: those whose order cannot be told apart from the group's first share one.

    Parameters
    ----------
    moves : list of Move
        In order.

    Returns
    -------
    list of int
        0 for the first group.
    """
    groups: list[int] = []
    leader: Move | None = None
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
