"""How a tag's value runs between two readings, by the way its recorder chose them.

A recorder by exception writes a value when it lies further than a band from the last one: its
changes all lie just above the band, however long the gap, and the value in between is the last. A
recorder of straight lines writes the ends of segments: changes of every size, the larger the longer
the gap. What is read at steady times shows neither; there the quantity decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from features.base import Interpolation
from pipeline.places.look import TagLook
from pipeline.places.points import Point

Floats = NDArray[np.float64]
Habit = Literal["steady", "exception", "repeats", "lines", "unclear"]

_LEAST: Final = 60
#: Share of gaps alike from which readings are steady.
_STEADY: Final = 0.9
#: How sharp the floor of changes is from which a band is seen, and below which there is none: the
#: 5th percentile of changes over their median. Of any smooth spread it is below 0.2.
_FLOOR, _NO_FLOOR = 0.5, 0.3
#: Rank correlation of changes with their gaps from which straight lines are seen.
_GROWING: Final = 0.25
#: Share of readings that repeat the last exactly, from which values are held.
_HELD: Final = 0.3
_STEPPED: Final = frozenset(("lime_flow", "flocculant_flow"))
#: How values run where the readings tell it, and why.
_RUNS: Final[dict[Habit, tuple[Interpolation, str]]] = {
    "exception": ("step", "held until the next reading: written only after a change of {band:.3g} "
                  "or more, at no steady times"),
    "repeats": ("step", "held: the last value is said again until it jumps by {band:.3g} or more"),
    "lines": ("linear", "straight lines between readings: changes of every size, no steady times"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Habits:
    """How a recorder chose its readings.

    Attributes
    ----------
    habit : {"steady", "exception", "repeats", "lines", "unclear"}
    band : float
        Change above which a value was written; 0 where there is no such band.
    every_s : float
        Usual gap [s].
    longest_s : float
        Gap after which a value was written in any case [s].
    """

    habit: Habit
    band: float = 0.0
    every_s: float = 0.0
    longest_s: float = 0.0


def habits_of(second: Floats, value: Floats) -> Habits:
    """Tell how a recorder chose its readings.

    Parameters
    ----------
    second, value : ndarray, shape (n,)
        Good readings as they came, rising in time.
    """
    gap, change = np.diff(second), np.abs(np.diff(value))
    gap, change = gap[gap > 0.0], change[gap > 0.0]
    if len(gap) < _LEAST:
        return Habits("unclear")
    usual = float(np.median(gap))
    digit = _last_digit(value)
    if float(np.mean(np.abs(gap - usual) <= 0.02 * usual + 0.5)) >= _STEADY:
        return _steady(change[change > 0.0], change, digit, usual)
    longest = float(np.quantile(gap, 0.98))
    # A value written because time was up says nothing of the band.
    chosen = (gap < 0.97 * longest) & (change > 0.0)
    own = change[chosen]
    habit: Habit = "unclear"
    band = 0.0
    if len(own) >= _LEAST // 3:
        floor = _floor(own, digit)
        if floor >= _FLOOR:
            habit, band = "exception", float(np.quantile(own, 0.02))
        elif _grows(gap[chosen], own) > (_GROWING if floor >= _NO_FLOOR else 0.0):
            habit = "lines"
    return Habits(habit, band, usual, longest)


def _steady(moved: Floats, change: Floats, digit: float, usual: float) -> Habits:
    """Readings at steady times: measured each time, or the last record said again."""
    held = 1.0 - len(moved) / max(len(change), 1)
    if held >= _HELD and len(moved) >= _LEAST // 3 and _floor(moved, digit) >= _FLOOR:
        return Habits("repeats", float(np.quantile(moved, 0.02)), usual, usual)
    return Habits("steady", 0.0, usual, usual)


def _floor(change: Floats, digit: float) -> float:
    """How sharp the floor of changes is: 5th percentile over median, less what rounding makes."""
    low, middle = np.quantile(change, [0.05, 0.5])
    if middle <= 1.5 * digit:
        return 0.0
    return float(max(low - 0.5 * digit, 0.0) / middle)


def _last_digit(value: Floats) -> float:
    """Step in which values are written."""
    differing = np.diff(np.unique(np.round(value, 6)))
    return float(np.quantile(differing, 0.1)) if len(differing) else 0.0


def _grows(gap: Floats, change: Floats) -> float:
    """Rank correlation of changes with their gaps."""
    if len(gap) < 20 or np.ptp(gap) == 0.0:
        return 0.0
    longer, larger = (
        np.argsort(np.argsort(x, kind="stable"), kind="stable") for x in (gap, change)
    )
    return float(np.corrcoef(longer, larger)[0, 1])


def run_of(
    tags: Sequence[TagLook], points: Sequence[Point | None]
) -> list[tuple[Interpolation, str]]:
    """How each tag runs between two readings, and why; doubtful ones as most others of the export.

    Parameters
    ----------
    tags : sequence of TagLook
    points : sequence of Point or None
    """
    habits = [habits_of(tag.raw_s, tag.raw_value) for tag in tags]
    clear = [h for h in habits if h.habit in ("exception", "lines")]
    held = sum(h.habit == "exception" for h in clear)
    usual: Habit = "unclear"
    if len(clear) >= 3:
        usual = (
            "exception"
            if held > 0.6 * len(clear)
            else "lines"
            if held < 0.4 * len(clear)
            else usual
        )
    longest = float(np.median([h.longest_s for h in clear])) if clear else 0.0
    return [_run(habit, point, usual, longest) for habit, point in zip(habits, points, strict=True)]


def _run(
    own: Habits, point: Point | None, usual: Habit, longest: float
) -> tuple[Interpolation, str]:
    """How one tag runs, by its own readings, by those of others, or by its quantity."""
    if own.habit in _RUNS:
        way, words = _RUNS[own.habit]
        return way, words.format(band=own.band)
    # Quiet tags of a recorder by exception are written only because time was up.
    timed_out = own.habit == "steady" and longest > 0.0 and own.every_s >= 0.9 * longest
    if usual in ("exception", "lines") and (own.habit == "unclear" or timed_out):
        way = "step" if usual == "exception" else "linear"
        return way, "too quiet to tell by itself: as most other tags here"
    if point is not None and point.quantity in _STEPPED:
        return "step", "a dose is held until somebody changes it (common practice)"
    if own.habit == "steady":
        return "linear", f"read every {own.every_s:.0f} s, and it moves on between readings"
    return "linear", "too few readings to tell; most quantities move on between readings"
