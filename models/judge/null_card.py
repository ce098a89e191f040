"""How often the search takes noise for a loss, and how much of a planted shape it finds.

The search itself is asked, the way ``models.find`` asks it: one channel, searched twice. Only what
decides whether a finding is worth a line is set to nothing: least tonnes, least share of the usual
loss, standing error.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from scipy.signal import fftconvolve
from scipy.stats import chi2

from models.base import Array, Minutes, Settings
from models.detect import Candidate, Channel, find_candidates

WEEK_MIN = 10_080
#: A rate got between these times the rate asked for counts as kept (judgement).
KEPT_TIMES = (1.0 / 3.0, 1.5)
_START = datetime(2001, 1, 1, tzinfo=UTC)

#: Planted shapes: length [h], and height by the hour since it began, before it is scaled.
SHAPES: dict[str, tuple[float, Callable[[Array], Array]]] = {
    "step of 8 h": (8.0, np.ones_like),
    "ramp over 48 h": (48.0, np.asarray),
    "drift over 10 days, put right": (240.0, np.asarray),
    "1 h on, 3 h off, for 48 h": (48.0, lambda hour: (hour % 4.0 < 1.0).astype(float)),
}


@dataclass(frozen=True, slots=True)
class Rate:
    """How often something came, beside how often it was asked for.

    Attributes
    ----------
    count : int
    weeks : float
        Watched, above 0.
    asked : float
        [1/week], above 0.
    """

    count: int
    weeks: float
    asked: float

    @property
    def got(self) -> float:
        """Came [1/week]."""
        return self.count / self.weeks

    @property
    def times(self) -> float:
        """Got over asked."""
        return self.got / self.asked

    @property
    def kept(self) -> bool:
        """Whether the rate got lies within `KEPT_TIMES` of the rate asked."""
        return KEPT_TIMES[0] <= self.times <= KEPT_TIMES[1]

    def interval(self, confidence: float = 0.9) -> tuple[float, float]:
        """Exact interval of got over asked, if what came came independently (Poisson).

        F. Garwood, Biometrika 28 (1936) 437-442 (memory).
        """
        tail, k = 0.5 * (1.0 - confidence), self.count
        low = 0.5 * float(chi2.ppf(tail, 2 * k)) if k else 0.0
        high = 0.5 * float(chi2.isf(tail, 2 * k + 2))
        return low / self.weeks / self.asked, high / self.weeks / self.asked


def stretches(kg_h: Array, per_week: float, usual_kg_h: float | None = None) -> list[Candidate]:
    """What the search accepts in one channel in which only chance is at work.

    Parameters
    ----------
    kg_h : ndarray, shape (n,)
        One value a minute [kg/h], NaN where missing.
    per_week : float
        False findings asked for in this one channel [1/week], above 0.
    usual_kg_h : float, optional
        Usual loss that the noise multiplies [kg/h]; None where it adds.

    Returns
    -------
    list of Candidate
        Accepted before anything asks whether they are worth a line, in order of time.
    """
    n = len(kg_h)
    running = {"sucrose_feed_kg_h": np.ones(n), "stopped": np.zeros(n)}
    channel = Channel("ph", "train", ("train",), kg_h, usual_kg_h=usual_kg_h)
    settings = Settings(false_findings_per_week=per_week, smallest_finding_t=0.0)
    return find_candidates(Minutes(_START, running, {}), [channel], settings, 0.0)


def p_values(found: list[Candidate]) -> Array:
    """Chance that the search gives each of them, in six hours of its channel."""
    return np.array([c.span.p_value for c in found])


def plant(shape: str, z: float, lrv_min: float, minutes: int) -> Array:
    """One loss of a known shape in the middle of a series of nothing.

    Its strength is stated as ``z = total / sqrt(lrv_min * length)``: all that is lost, over the
    standard error of the noise's sum from the first to the last minute of the shape, pauses within
    it included.

    Parameters
    ----------
    shape : str
        Key of `SHAPES`.
    z : float
        Strength [standard errors].
    lrv_min : float
        Long-run variance of the noise by the minute [unit squared].
    minutes : int
        Length of the series; the shape must fit into it.

    Returns
    -------
    ndarray, shape (minutes,)

    Raises
    ------
    ValueError
        If the series is shorter than the shape.
    """
    length_h, height = SHAPES[shape]
    length = round(length_h * 60)
    if length > minutes:
        raise ValueError(f"{shape!r} takes {length} minutes, the series has {minutes}")
    part = height(np.asarray((np.arange(length) + 0.5) / 60.0, dtype=np.float64))
    part = part * (z * math.sqrt(lrv_min * length) / part.sum())
    series = np.zeros(minutes)
    start = (minutes - length) // 2
    series[start : start + length] = part
    return series


def ideal_scores(shape: str, series: Array, phi: float) -> Array:
    """Matched filter for a shape at every place, by one who knows shape and noise exactly.

    The series and the shape are whitened by the first-order autoregression that the noise is, and
    correlated (D. O. North, RCA Technical Report PTR-6C (1943); memory): no linear detector of
    the shape is stronger.

    Parameters
    ----------
    shape : str
        Key of `SHAPES`.
    series : ndarray, shape (n,)
        By the minute, in noise of autocorrelation ``phi ** lag``.
    phi : float
        Between 0 and 1.

    Returns
    -------
    ndarray, shape (n,)
        Standard errors, at the first minute of the place.
    """
    length_h, height = SHAPES[shape]
    length = round(length_h * 60)
    wanted = np.append(height(np.asarray((np.arange(length) + 0.5) / 60.0)), 0.0)
    scale = math.sqrt(1.0 - phi**2)
    template = np.diff(wanted, prepend=0.0) + (1.0 - phi) * np.append(0.0, wanted[:-1])
    fresh = np.append(series[0], (series[1:] - phi * series[:-1]) / scale)
    template = template / math.sqrt(float((template**2).sum()))
    return np.asarray(fftconvolve(fresh, template[::-1])[length:][: len(series)])


@dataclass(frozen=True, slots=True)
class Seen:
    """How much of a planted loss was found.

    Attributes
    ----------
    touched : bool
        Whether any accepted stretch overlaps it.
    shared : float
        Intersection over union of the stretches that overlap it, united, and the loss itself.
    covered : float
        Share of what was lost that lies in accepted stretches.
    """

    touched: bool
    shared: float
    covered: float


def seen_of(planted: Array, found: list[Candidate]) -> Seen:
    """Set what was found against the one loss that was planted.

    Parameters
    ----------
    planted : ndarray, shape (n,)
        As `plant` makes it: from its first to its last minute above 0 it is one loss.
    found : list of Candidate
    """
    lost = np.flatnonzero(planted)
    first, last = int(lost[0]), int(lost[-1]) + 1
    spans = [c.span for c in found if c.span.start < last and c.span.end > first]
    told = np.zeros(len(planted), dtype=bool)
    for span in spans:
        told[span.start : span.end] = True
    both = int(told[first:last].sum())
    union = int(told.sum()) + last - first - both
    return Seen(bool(spans), both / union, float(planted[told].sum() / planted.sum()))
