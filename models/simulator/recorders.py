"""How recorders thin readings out: deadbands, slopes, averages, snapshots."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Steps = NDArray[np.int64]

#: Time over which averages run, and between two snapshots [s].
AVERAGE_S, SNAPSHOT_S = 60, 300


def compress(value: Floats, deadband: float, heartbeat: int) -> Steps:
    """Positions that a historian with a plain deadband writes down.

    Parameters
    ----------
    value : array, shape (n,)
        Samples at a steady interval.
    deadband : float
        A sample further than this from the last written one is written.
    heartbeat : int
        At least one sample in this many is written.

    Returns
    -------
    array of int
    """
    kept: list[int] = []
    last, since = np.inf, 0
    for i, v in enumerate(value.tolist()):
        since += 1
        if abs(v - last) > deadband or since >= heartbeat:
            kept.append(i)
            last, since = v, 0
    return np.array(kept, dtype=np.int64)


def swinging(value: Floats, deadband: float, heartbeat: int) -> Steps:
    """Positions written by a recorder that draws straight lines: exception, then slopes.

    Parameters
    ----------
    value : array, shape (n,)
        Samples at a steady interval.
    deadband : float
        Half of it is the exception limit: what lies closer to the last sample let through is not
        looked at. All of it is the largest distance of a sample let through from the straight
        line between two written ones.
    heartbeat : int
        At least one sample in this many is written.

    Returns
    -------
    array of int
        First and last sample are among them.

    Notes
    -----
    The swinging door, E. H. Bristol, "Swinging door trending: adaptive trend recording?", ISA
    National Conference Proceedings (1990) 749-753 (memory).
    """
    sent = _exceptions(value, 0.5 * deadband, heartbeat)
    kept = sent[:1].tolist()
    low, high = -math.inf, math.inf
    for before, now in pairwise(sent.tolist()):
        from_v, v, apart = float(value[kept[-1]]), float(value[now]), now - kept[-1]
        inside = low <= (v - from_v) / apart <= high and apart < heartbeat
        if not inside and before > kept[-1]:
            # The door has shut: what was sent before is written down, and a new line starts there.
            kept.append(before)
            from_v, apart = float(value[before]), now - before
            low, high = -math.inf, math.inf
        low = max(low, (v - deadband - from_v) / apart)
        high = min(high, (v + deadband - from_v) / apart)
    return np.array(kept + [i for i in sent[-1:].tolist() if i != kept[-1]], dtype=np.int64)


def _exceptions(value: Floats, limit: float, heartbeat: int) -> Steps:
    """Samples sent on: those that differ from the last sent, and what stood before each."""
    out: list[int] = []
    last = math.inf
    for i, v in enumerate(value.tolist()):
        if abs(v - last) <= limit and i - out[-1] < heartbeat and i < value.size - 1:
            continue
        if out and out[-1] < i - 1:
            out.append(i - 1)
        out.append(i)
        last = v
    return np.array(out, dtype=np.int64)


def averages(value: Floats, every_s: int) -> tuple[Steps, Floats]:
    """Means over whole minutes, each written at the first sample of its minute.

    Parameters
    ----------
    value : array, shape (n,)
        Samples at a steady interval.
    every_s : int
        That interval [s]; a tag sampled more seldom than once a minute is written as it is.

    Returns
    -------
    kept : array of int
        Positions of the first samples.
    means : array
        One value each.
    """
    each = max(AVERAGE_S // every_s, 1)
    count = value.size // each
    means = value[: count * each].reshape(count, each).mean(axis=1)
    return np.arange(count, dtype=np.int64) * each, np.asarray(means)


def snapshots(count: int, every_s: int) -> Steps:
    """Positions of the samples that a snapshot every five minutes sees."""
    return np.arange(0, count, max(SNAPSHOT_S // every_s, 1), dtype=np.int64)
