"""What the course of a tag tells by its shape: a sum, a switch, a value set by hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from pipeline.places.look import TagLook

Shape = Literal["measured", "constant", "sum", "switch", "steps"]

#: Minutes below which a course says nothing.
_LEAST: Final = 8
#: Distinct values, and changes a day, that a value set by hand shows at most (estimates).
_MOST_LEVELS: Final = 60
_MOST_CHANGES_DAY: Final = 30.0
#: Share of readings without any change from which a course is held; where readings come seldom,
#: most of them are written because something changed.
_STILL: Final = 0.97
_STILL_SELDOM: Final = 0.3
_SELDOM_S: Final = 600.0
#: Share of changes upwards from which a course only rises.
_RISING: Final = 0.995


@dataclass(frozen=True, slots=True)
class Course:
    """Shape of a tag's course, and the numbers that say so."""

    shape: Shape
    changes_a_day: float = 0.0
    levels: int = 0


def course_of(tag: TagLook) -> Course:
    """Tell the shape of a tag's course.

    A measurement has noise: it hardly ever repeats itself to the last digit for long. What is set
    by hand stays where it was put, then steps; a sum only rises, and drops to its start.
    """
    value = tag.value
    if len(value) < _LEAST:
        return Course("measured")
    change = np.diff(value)
    moved = change[change != 0.0]
    days = max(float(tag.minute[-1] - tag.minute[0]) / 1440.0, 0.25)
    levels = len(np.unique(value))
    rate = len(moved) / days
    if not len(moved):
        return Course("constant", 0.0, levels)
    if _only_rises(tag, moved):
        return Course("sum", rate, levels)
    seen = tag.raw_value if len(tag.raw_value) >= _LEAST else value
    if set(np.unique(seen).tolist()) <= {0.0, 1.0}:
        return Course("switch", rate, levels)
    if _is_held(tag, rate):
        return Course("steps", rate, levels)
    return Course("measured", rate, levels)


def _only_rises(tag: TagLook, moved: np.ndarray[tuple[int], np.dtype[np.float64]]) -> bool:
    """Almost every change is a rise, the rest fall far: a sum that starts anew."""
    if len(moved) < 20 or np.mean(moved > 0.0) < _RISING:
        return False
    span = float(np.ptp(tag.value))
    falls = -moved[moved < 0.0]
    return not len(falls) or bool(np.all(falls > 0.3 * span))


def _is_held(tag: TagLook, rate: float) -> bool:
    """Few levels, long stays, and no noise between the steps."""
    raw = tag.raw_value if len(tag.raw_value) >= _LEAST else tag.value
    step = np.diff(raw)
    still = float(np.mean(step == 0.0))
    if rate > 3.0 * _MOST_CHANGES_DAY:
        return False
    if tag.every_s >= _SELDOM_S:
        return still >= _STILL_SELDOM
    # A coarse instrument goes back and forth by its last digit; a hand sets another value.
    moved = step[step != 0.0]
    turned = float(np.mean(moved[1:] == -moved[:-1])) if len(moved) > 3 else 0.0
    few = len(np.unique(raw)) <= max(4, min(_MOST_LEVELS, len(raw) // 20))
    return few and still >= _STILL and turned < 0.5
