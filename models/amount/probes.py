"""Truth of the pH: probes against laboratory grabs, and the laboratory against itself.

A probe that drifts high is the best hidden fault of the station: the lime loop holds the reading
at set-point while the juice turns acid. Each probe is compared with the grabs of its own sampling
point; what all points share in the same hours is an error of the laboratory, not of a probe.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.base import Array, robust_sd

#: Wander of a calm probe and of one that drifts [pH per square root of an hour] (estimates):
#: 0.1 and 0.25 pH in a day.
_CALM_WALK = 0.02
_FAST_WALK = 0.05
#: How far a probe's error may step where somebody calibrated it [pH] (estimate).
_CALIBRATION_SD = 0.25


@dataclass(frozen=True, slots=True)
class ProbeBias:
    """What is known of one pH probe, on a regular time axis.

    Attributes
    ----------
    bias : ndarray, shape (n,)
        Reading minus truth [pH]; positive when the probe reads high.
    sd : ndarray, shape (n,)
        Standard error of `bias` [pH].
    grabs : int
        Laboratory grabs used.
    memory_h : float
        Time over which the error of `bias` forgets itself [h]: its mean over a longer time errs
        less than it does.
    """

    bias: Array
    sd: Array
    grabs: int
    memory_h: float = math.inf

    def mean_sd(self, window: slice) -> float:
        """Standard error of the mean of `bias` over some minutes [pH].

        Notes
        -----
        The error is taken to be an Ornstein-Uhlenbeck process; variance of its mean by integrating
        its correlation over the time twice.
        """
        sd = float(np.mean(self.sd[window]))
        times = max(len(self.sd[window]) / 60.0, 1e-6) / self.memory_h
        # A straight line says the same of short times, where the whole formula loses its digits.
        shrunk = (
            1.0 - times / 3.0 if times < 1e-3 else 2.0 / times * (1.0 + math.expm1(-times) / times)
        )
        return sd * math.sqrt(shrunk)


def smooth_differences(
    times_h: Array,
    differences: Array,
    sd: Array,
    at_h: Array,
    steps_h: Sequence[float] = (),
) -> tuple[Array, Array]:
    """Follow an offset that usually wanders slowly and sometimes moves fast.

    A local-level model (random walk plus noise), smoothed forwards and backwards, once for a calm
    probe and once for a drifting one. The calm course stands unless the fast one leaves it by more
    than its own error. A difference far from its neighbours' median counts with a wider error.

    Parameters
    ----------
    times_h, differences, sd : ndarray, shape (m,)
        Time [h], probe minus laboratory [pH] and its standard error [pH], rising in time.
    at_h : ndarray, shape (n,)
        Times wanted [h], rising.
    steps_h : sequence of float
        Times at which the offset may have stepped, since somebody put the probe right [h].

    Returns
    -------
    level, level_sd : ndarray, shape (n,)
        Offset and its standard error [pH]. With no differences: zeros and 0.15.
    """
    if len(times_h) == 0:
        return np.zeros(len(at_h)), np.full(len(at_h), 0.15)
    # How many calibrations lie before each difference: it steps where the count does.
    stage = np.searchsorted(np.sort(np.asarray(steps_h, dtype=np.float64)), times_h, side="right")
    noise = np.maximum(sd, 1e-3) ** 2 * _down_weight(differences, sd, stage)
    steps = _CALIBRATION_SD**2 * np.diff(stage, prepend=stage[0])
    calm, calm_var = _smooth(times_h, differences, noise, _CALM_WALK, steps)
    fast, fast_var = _smooth(times_h, differences, noise, _FAST_WALK, steps)
    apart = np.abs(fast - calm) / np.sqrt(fast_var)
    trust = np.clip(2.0 * apart - 1.0, 0.0, 1.0)
    mean = calm + trust * (fast - calm)
    var = calm_var + trust * (fast_var - calm_var)
    level = _between(at_h, times_h, mean, steps_h)
    unseen = _CALM_WALK**2 * _nearest(at_h, times_h)
    return level, np.sqrt(_between(at_h, times_h, var, steps_h) + unseen)


def _between(at_h: Array, times_h: Array, values: Array, steps_h: Sequence[float]) -> Array:
    """Values between differences: a line, but a step where the probe was calibrated."""
    inner = [s for s in sorted(steps_h) if times_h[0] < s <= times_h[-1]]
    after = np.searchsorted(times_h, inner, side="left")
    # Of several calibrations between two differences the last one makes the step.
    last = {int(i): s for i, s in zip(after, inner, strict=True)}
    at = np.repeat(list(last.values()), 2)
    known = np.array([values[i + side] for i in last for side in (-1, 0)])
    where = np.repeat(np.array(list(last), dtype=np.int64), 2)
    return np.asarray(
        np.interp(at_h, np.insert(times_h, where, at), np.insert(values, where, known))
        if last
        else np.interp(at_h, times_h, values)
    )


def _smooth(
    times: Array, seen: Array, noise: Array, walk_sd: float, steps: Array
) -> tuple[Array, Array]:
    """Smooth both ways; ``steps`` is what may have stepped just before each difference [pH2]."""
    wander = walk_sd**2 * np.diff(times, prepend=times[0]) + steps
    mean, var = _filter_forward(seen, noise, wander)
    return _smooth_back(mean, var, wander)


def _nearest(at_h: Array, times_h: Array) -> Array:
    right = np.clip(np.searchsorted(times_h, at_h), 0, len(times_h) - 1)
    left = np.clip(right - 1, 0, len(times_h) - 1)
    return np.minimum(np.abs(at_h - times_h[left]), np.abs(times_h[right] - at_h))


def _down_weight(differences: Array, sd: Array, stage: NDArray[np.int64]) -> Array:
    """Factor on the noise variance: 1, growing for grabs far off their neighbours' median.

    Neighbours are those of the same stage between two calibrations.
    """
    local = np.empty(len(differences))
    for i in range(len(differences)):
        near = slice(max(i - 3, 0), i + 4)
        local[i] = np.median(differences[near][stage[near] == stage[i]])
    excess = np.abs(differences - local) / (4.0 * np.maximum(sd, 1e-3))
    return np.maximum(excess, 1.0) ** 4


def _filter_forward(seen: Array, noise: Array, wander: Array) -> tuple[Array, Array]:
    mean, var = np.empty(len(seen)), np.empty(len(seen))
    level, spread = 0.0, 0.2**2
    for i in range(len(seen)):
        spread += wander[i]
        gain = spread / (spread + noise[i])
        level += gain * (seen[i] - level)
        spread *= 1.0 - gain
        mean[i], var[i] = level, spread
    return mean, var


def _smooth_back(mean: Array, var: Array, wander: Array) -> tuple[Array, Array]:
    mean, var = mean.copy(), var.copy()
    for i in range(len(mean) - 2, -1, -1):
        ahead = var[i] + wander[i + 1]
        gain = var[i] / ahead
        mean[i] += gain * (mean[i + 1] - mean[i])
        var[i] += gain**2 * (var[i + 1] - ahead)
    return mean, np.maximum(var, 1e-8)


def shared_shift(levels: list[Array]) -> Array:
    """Shift of probe minus laboratory that most sampling points share: the laboratory's own.

    With three or more points their median; with two, the smaller one when both move the same
    way; with one, nothing (a laboratory error cannot then be told from a probe's).

    Parameters
    ----------
    levels : list of ndarray, each shape (n,)
        Offsets of each point, each less its own season median [pH].
    """
    if not levels:
        raise ValueError("levels must hold at least one series")
    if len(levels) >= 3:
        return np.asarray(np.median(np.stack(levels), axis=0))
    if len(levels) == 1:
        return np.zeros(len(levels[0]))
    first, second = levels
    agree = np.sign(first) == np.sign(second)
    return np.where(agree, np.sign(first) * np.minimum(np.abs(first), np.abs(second)), 0.0)


def probe_biases(
    at_h: Array,
    readings: dict[str, Array],
    grabs: dict[str, tuple[Array, Array, Array]],
    usable: NDArray[np.bool_],
    calibrated_h: Mapping[str, Sequence[float]] | None = None,
) -> tuple[dict[str, ProbeBias], Array]:
    """Bias of each pH probe and the laboratory's shared shift.

    Parameters
    ----------
    at_h : ndarray, shape (n,)
        Regular time axis [h].
    readings : dict of ndarray, each shape (n,)
        Probe readings, cold basis, NaN where missing [pH].
    grabs : dict of (times_h, values, sd)
        Laboratory results per point, cold basis [h, pH, pH].
    usable : ndarray of bool, shape (n,)
        False while the station stands (a probe then reads juice the laboratory did not get).
    calibrated_h : mapping of str to sequence of float, optional
        When each probe was calibrated [h]; its bias may step there.

    Returns
    -------
    biases : dict of ProbeBias
    lab_shift : ndarray, shape (n,)
        Laboratory minus truth, less its own season median [pH].
    """
    levels: dict[str, tuple[Array, Array, int, float]] = {}
    for point, reading in readings.items():
        if point in grabs and np.isfinite(reading).any():
            steps = (calibrated_h or {}).get(point, ())
            levels[point] = _point_level(at_h, reading, grabs[point], usable, steps)
    seen = {p: lv for p, lv in levels.items() if lv[2] >= 6}
    if not seen:
        return {}, np.zeros(len(at_h))
    shift = shared_shift([lv[0] - np.median(lv[0]) for lv in seen.values()])
    biases = {p: ProbeBias(lv - shift, sd, n, memory) for p, (lv, sd, n, memory) in seen.items()}
    return biases, -shift


def _point_level(
    at_h: Array,
    reading: Array,
    grab: tuple[Array, Array, Array],
    usable: NDArray[np.bool_],
    steps_h: Sequence[float],
) -> tuple[Array, Array, int, float]:
    times, values, sd = grab
    smooth = _local_mean(reading, 10)
    index = np.searchsorted(at_h, times, side="right") - 1
    inside = (index >= 0) & (times <= at_h[-1] + 1.0)
    index = np.clip(index, 0, len(at_h) - 1)
    keep = inside & usable[index] & np.isfinite(smooth[index]) & np.isfinite(values)
    difference = smooth[index][keep] - values[keep]
    wander = robust_sd(np.diff(difference)) / math.sqrt(2.0) if keep.sum() >= 8 else 0.0
    error = np.maximum(sd[keep], wander if math.isfinite(wander) else 0.0)
    level, level_sd = smooth_differences(times[keep], difference, error, at_h, steps_h)
    return level, level_sd, int(keep.sum()), _memory_h(times[keep], error)


def _memory_h(times_h: Array, sd: Array) -> float:
    """Time over which a smoothed offset forgets its own error [h].

    A local-level smoother weighs a grab by ``exp(-|t| walk / sqrt(noise x spacing))``.
    """
    if len(times_h) < 2:
        return math.inf
    spacing = float(np.median(np.diff(times_h)))
    return max(float(np.median(sd)) * math.sqrt(max(spacing, 0.1)) / _CALM_WALK, 0.5)


def _local_mean(values: Array, half: int) -> Array:
    """Centred mean over 2 half + 1 readings, ignoring missing ones."""
    present = np.isfinite(values)
    sums = np.concatenate([[0.0], np.cumsum(np.where(present, values, 0.0))])
    counts = np.concatenate([[0], np.cumsum(present)])
    n = len(values)
    low = np.clip(np.arange(n) - half, 0, n)
    high = np.clip(np.arange(n) + half + 1, 0, n)
    count = counts[high] - counts[low]
    return np.where(count > 0, (sums[high] - sums[low]) / np.maximum(count, 1), np.nan)


def ph_standing_error(biases: dict[str, ProbeBias], window: slice = slice(None)) -> float:
    """Error of the corrected pH that time does not average away [pH].

    The mean over the probes of the standard error that the mean of each bias has over a window;
    0.1 with no laboratory to compare with (estimate).
    """
    if not biases:
        return 0.1
    return float(np.mean([b.mean_sd(window) for b in biases.values()]))
