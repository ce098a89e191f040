"""The strip of the kinetic level: what was fitted week by week, and what each day asks for."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, Final

import numpy as np
import polars as pl

from features.kinetics import Z90
from pipeline.charts import multiplier_days
from pipeline.desk.address import Shown
from pipeline.desk.axis import Axis
from pipeline.desk.drawing import Strip
from pipeline.desk.kept import Snapshot
from pipeline.desk.paths import Scale, range_of
from pipeline.desk.strips import Row, begun
from pipeline.mill import Mill
from pipeline.words import count, figure, said

_HEIGHT: Final = 62
#: Moment, low, middle and high of a knot.
Knot = tuple[Any, float, float, float]


def level_row(known: Snapshot, mill: Mill, axis: Axis, shown: Shown) -> Row:
    """Level of the loss by the laboratory: fitted with its 90 % interval, and by day."""
    run = known.run
    bounds = [float(run[n]) for n in ("multiplier_low", "multiplier", "multiplier_high")]
    pairs = run["multiplier_pairs"]
    summary = (
        said(
            "{bounds} ({bounds2} to {bounds3}, 90 % interval), fitted to {pairs} samples",
            bounds=figure(bounds[1], ".2f"),
            bounds2=figure(bounds[0], ".2f"),
            bounds3=figure(bounds[2], ".2f"),
            pairs=count(pairs),
        )
        if pairs
        else said(
            "{bounds}, from the description: no laboratory pair was usable",
            bounds=figure(bounds[1], ".2f"),
        )
    )
    course = _course(known, bounds)
    days = _days(known, mill, axis, bounds[1])
    middles = np.array([v for knot in course for v in knot[1:]] + [day[2] for day in days])
    scale = Scale(*range_of(middles), _HEIGHT)
    strip = begun(axis, _HEIGHT, said("Level by the laboratory: {summary}", summary=summary), shown)
    _draw_course(strip, course, axis, scale)
    strip.levels(scale, 5)
    for day in days:
        _draw_day(strip, day, scale)
    return Row(
        "level", said("Laboratory level"), said("times the published rate"), summary, strip.done()
    )


def _course(known: Snapshot, bounds: list[float]) -> list[Knot]:
    """Knots of the level; two of the run's own where no search kept a course."""
    rows = known.level.sort("ts_utc").to_dicts()
    if not rows:
        return [(m, bounds[0], bounds[1], bounds[2]) for m in (known.start, known.end)]
    knots = [(r["ts_utc"], r["low"], r["multiplier"], r["high"]) for r in rows]
    return [*knots, (max(known.end, knots[-1][0]), *knots[-1][1:])]


def _draw_course(strip: Strip, course: list[Knot], axis: Axis, scale: Scale) -> None:
    # Coordinates are no figures that are said: a decimal comma would tear the path.
    xs = [axis.x(knot[0]) for knot in course]
    low, middle, high = (
        [f"{x:.1f} {scale.at(knot[part]):.1f}" for x, knot in zip(xs, course, strict=True)]
        for part in (1, 2, 3)
    )
    strip.path(f"M{'L'.join(high)}L{'L'.join(reversed(low))}Z", "interval")
    strip.path(f"M{'L'.join(middle)}", "level")


def _draw_day(strip: Strip, day: tuple[float, float, float, float], scale: Scale) -> None:
    """A day with its 90 % interval; a head where the interval goes on beyond the strip."""
    x, below, middle, above = day
    strip.add(
        "line",
        {"x1": x, "x2": x, "y1": scale.at(below), "y2": scale.at(above), "class": "bar-line"},
    )
    for beyond, edge, back in ((above > scale.high, 0.0, 4.0), (below < scale.low, _HEIGHT, -4.0)):
        if beyond:
            strip.path(f"M{x - 2.5:.1f} {edge + back:.1f}h5L{x:.1f} {edge:.1f}Z", "beyond")
    strip.add("circle", {"cx": x, "cy": scale.at(middle), "r": 2.4, "class": "grab"})


def _days(
    known: Snapshot, mill: Mill, axis: Axis, fitted: float
) -> list[tuple[float, float, float, float]]:
    """Pixel, low, middle and high of each day that has laboratory pairs."""
    if known.daily.is_empty():
        return []
    days = multiplier_days(known.daily.unique("day", keep="last"), fitted)
    found = []
    for row in days.filter(pl.col("sd") > 0).to_dicts():
        x = axis.x(mill.day_start_utc(row["day"]) + timedelta(hours=12))
        if 0.0 <= x <= axis.width:
            half = Z90 * row["sd"]
            found.append((x, row["value"] - half, row["value"], row["value"] + half))
    return found
