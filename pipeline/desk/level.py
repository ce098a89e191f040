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
from pipeline.words import count, figure, joined, said

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
    strip.levels(scale, 2)
    for x, below, middle, above in days:
        at = {"x1": x, "x2": x, "y1": scale.at(below), "y2": scale.at(above)}
        strip.add("line", at | {"class": "bar-line"})
        strip.add("circle", {"cx": x, "cy": scale.at(middle), "r": 2.4, "class": "grab"})
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
    points = [(axis.x(m), scale.at(lo), scale.at(mid), scale.at(hi)) for m, lo, mid, hi in course]
    top = joined(
        "L",
        (
            said("{x} {high}", x=figure(x, ".1f"), high=figure(high, ".1f"))
            for x, _, _, high in points
        ),
    )
    bottom = joined(
        "L",
        (
            said("{x} {low}", x=figure(x, ".1f"), low=figure(low, ".1f"))
            for x, low, _, _ in reversed(points)
        ),
    )
    strip.path(f"M{top}L{bottom}Z", "interval")
    strip.path(
        "M"
        + joined(
            "L",
            (
                said("{x} {mid}", x=figure(x, ".1f"), mid=figure(mid, ".1f"))
                for x, _, mid, _ in points
            ),
        ),
        "level",
    )


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
