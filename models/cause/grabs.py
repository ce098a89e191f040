"""Laboratory grabs in an episode, set against those of quiet hours."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from models.amount import LabSeries, lab_points, lab_series
from models.base import Array, robust_sd
from models.cause.episode import mean_in, usual_of
from models.detect import Candidate, Context

Point = Literal["mixed", "limed", "clear"]
#: Grabs that must lie in an episode, and in quiet hours, before they may speak (judgement).
_LEAST_IN, _LEAST_QUIET = 2, 4
#: Minutes of a probe's readings that are set against one grab, on either side of it.
_AROUND_MIN = 10


@dataclass(frozen=True)
class GrabGap:
    """How far a probe left the grabs, beyond what is already put right.

    Attributes
    ----------
    ph, sd_ph : float
        Departure and its standard error [pH].
    grabs : int
        Grabs of the episode.
    """

    ph: float
    sd_ph: float
    grabs: int


@dataclass(frozen=True)
class LabMean:
    """Mean result in an episode and in quiet hours [unit of the analyte]."""

    now: float
    usual: float
    rise_sd: float

    @property
    def rise(self) -> float:
        """Now less usual."""
        return self.now - self.usual


def lab_mean(item: Candidate, context: Context, analyte: str, point: Point) -> LabMean | None:
    """Results of one analyte in an episode and usually; None where either is not known."""
    series = _series(context, analyte, point)
    return None if series is None else _means(item, context, series.times_h, series.values)


def grab_gap(
    item: Candidate, context: Context, point: Literal["limed", "clear"], *, below: bool
) -> GrabGap | None:
    """How far a pH probe stands below (or above) the grabs, more than usual.

    Parameters
    ----------
    item : Candidate
    context : Context
    point : {"limed", "clear"}
    below : bool
        True to count a probe that reads low as positive.

    Returns
    -------
    GrabGap or None
        Less what the belief in the probe's bias has put right already, and less what the probes
        of all points share, which is the laboratory's. None with too few grabs.
    """
    own = _departure(item, context, point)
    if own is None:
        return None
    everybody = [_departure(item, context, p) for p in ("mixed", "limed", "clear")]
    known = [d.rise for d in everybody if d is not None]
    # Of two points nobody knows which one is wrong.
    shared = float(np.median(known)) if len(known) == 3 else 0.0
    bias = context.biases.get(point)
    believed = 0.0 if bias is None else mean_in(bias.bias, item) - usual_of(bias.bias, context)
    above = own.rise - shared - believed
    inside = _inside(item, own.times_h)
    return GrabGap(-above if below else above, own.sd, int(inside.sum()))


@dataclass(frozen=True)
class _Departure:
    rise: float
    sd: float
    times_h: Array


def _departure(item: Candidate, context: Context, point: Point) -> _Departure | None:
    """Probe less grabs in an episode, less the same usually [pH]."""
    series = _series(context, "ph", point)
    if series is None:
        return None
    reading = context.minutes.station[f"ph_{point}"]
    at = np.array([_reading_at(reading, t) for t in series.times_h * 60.0])
    known = np.isfinite(at) & np.isfinite(series.values)
    times, gaps = series.times_h[known], (at - series.values)[known]
    means = _means(item, context, times, gaps)
    return None if means is None else _Departure(means.rise, means.rise_sd, times)


def _reading_at(reading: Array, minute: float) -> float:
    middle = round(minute)
    part = reading[max(middle - _AROUND_MIN, 0) : max(middle + _AROUND_MIN + 1, 0)]
    return float(np.nanmean(part)) if np.isfinite(part).any() else float("nan")


def _series(context: Context, analyte: str, point: Point) -> LabSeries | None:
    if context.lab is None:
        return None
    where = getattr(lab_points(context.station), point)
    series = lab_series(context.lab, context.minutes, analyte, where)
    return series if len(series) else None


def _inside(item: Candidate, times_h: Array) -> np.ndarray:
    minutes = times_h * 60.0
    return np.asarray((minutes >= item.span.start) & (minutes < item.span.end))


def _means(item: Candidate, context: Context, times_h: Array, values: Array) -> LabMean | None:
    inside = _inside(item, times_h)
    minute = np.clip(np.floor(times_h * 60.0).astype(int), 0, context.minutes.n - 1)
    within = (times_h >= 0.0) & (times_h * 60.0 < context.minutes.n)
    quiet = context.quiet[minute] & within & ~inside
    if inside.sum() < _LEAST_IN or quiet.sum() < _LEAST_QUIET:
        return None
    spread = max(robust_sd(values[quiet]), robust_sd(values[inside]))
    sd = spread * math.sqrt(1.0 / inside.sum() + 1.0 / quiet.sum())
    return LabMean(float(values[inside].mean()), float(np.median(values[quiet])), sd)
