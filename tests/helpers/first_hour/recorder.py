"""What a recorder keeps of a course: all, what changed, or the ends of straight lines."""

from __future__ import annotations

import math

import numpy as np
import polars as pl
from numpy.typing import NDArray

from first_hour.plant import GRID_S, Plant
from first_hour.spec import MillSpec, TagSpec
from first_hour.units import form

Floats = NDArray[np.float64]
#: A record at least this often while the instrument works [s].
_LONGEST_S = 540
_SMALL_FLOWS = ("lime", "floc")


def kept_by_exception(value: Floats, band: float, most: int) -> NDArray[np.int64]:
    """Positions of values further than `band` from the last kept, at least one in `most`."""
    kept, last, since = [0], value[0], 0
    for i, v in enumerate(value.tolist()):
        since += 1
        if abs(v - last) > band or since >= most:
            if kept[-1] != i:
                kept.append(i)
            last, since = v, 0
    return np.array(kept, dtype=np.int64)


def kept_as_lines(value: Floats, band: float, most: int) -> NDArray[np.int64]:
    """Positions whose straight lines pass within `band` of every value between (a door's swing)."""
    points = value.tolist()
    kept, start, up, down = [0], 0, -math.inf, math.inf
    for i in range(1, len(points)):
        run = i - start
        slope_up = (points[i] - points[start] - band) / run
        slope_down = (points[i] - points[start] + band) / run
        up, down = max(up, slope_up), min(down, slope_down)
        if up > down or run > most:
            start = i - 1 if i - 1 > start else i
            kept.append(start)
            run = max(i - start, 1)
            up = (points[i] - points[start] - band) / run if i > start else -math.inf
            down = (points[i] - points[start] + band) / run if i > start else math.inf
    if kept[-1] != len(points) - 1:
        kept.append(len(points) - 1)
    return np.array(kept, dtype=np.int64)


def _band(value: Floats, share: float) -> float:
    """Width of a recorder's band: a share of what the signal moves in an hour."""
    each = 3600 // GRID_S
    hours = value[: len(value) // each * each].reshape(-1, each)
    return float(share * np.median(hours.std(axis=1)))


def _round_number(value: Floats) -> Floats:
    """Aims as people set them: 7.55, 102.5, 217, 925."""
    usual = float(np.median(value))
    digit = 0.05 if usual < 15 else 0.5 if usual < 150 else 1.0 if usual < 500 else 25.0
    return np.asarray(np.round(np.round(value / digit) * digit, 2))


def record(plant: Plant, tag: TagSpec) -> pl.DataFrame:
    """Records of one tag: time (UTC), tag, value in the exported unit, good."""
    spec = plant.spec
    course = plant.course(tag.kind)
    # What lies outside the station is made in the unit that is exported.
    outside = tag.kind.startswith("x:")
    scale, offset, digits = (1.0, 0.0, 2) if outside else form(tag.unit)
    inside = course.value / 1000.0 if tag.kind.rpartition(":")[2] in _SMALL_FLOWS else course.value
    value = np.round(inside * scale + offset, digits + (tag.kind == "floc")) + 0.0
    if tag.kind.startswith("sp:"):
        value = _round_number(value)
    at = _positions(spec, tag, value)
    at = np.union1d(at, np.flatnonzero(course.bad)) if tag.recorder != "regular" else at
    at = at[~course.gone[at]]
    # Each tag has seconds of its own where it is not asked for at full minutes.
    late = 0 if tag.recorder == "regular" else sum(tag.name.encode()) % (GRID_S - 1)
    return pl.DataFrame(
        {"second": at * GRID_S + late, "value": value[at], "good": ~course.bad[at]}
    ).select(
        (pl.lit(spec.start) + pl.duration(seconds="second")).dt.cast_time_unit("ms").alias("time"),
        pl.lit(tag.name).alias("tag"),
        "value",
        "good",
    )


def _positions(spec: MillSpec, tag: TagSpec, value: Floats) -> NDArray[np.int64]:
    if tag.recorder == "regular":
        return np.arange(0, len(value), max(spec.every_s // GRID_S, 1))
    if tag.kind.startswith("sp:"):
        # A set-point is written when somebody changes it, and once in six hours.
        return kept_by_exception(value, 0.0, 6 * 3600 // GRID_S)
    if tag.recorder == "exception":
        return kept_by_exception(value, _band(value, 0.6), _LONGEST_S // GRID_S)
    return kept_as_lines(value, _band(value, 0.35), _LONGEST_S // GRID_S)


def records(plant: Plant) -> pl.DataFrame:
    """Records of all tags of a mill, in order of the description and of time."""
    return pl.concat([record(plant, tag) for tag in plant.spec.tags])
