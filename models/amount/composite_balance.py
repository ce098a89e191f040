"""Composite samples before and after the station, for the mill's ordinary balance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import polars as pl

from features.base import Station, composites
from models.amount.lab import hours_since, lab_points, of_point
from models.base import Array, Minutes, robust_sd

#: By analyte, what a relative change of it over Brix comes to as inverted sucrose [%].
Scale = dict[str, float]
Point = tuple[str, str]
_LEAST = 3


@dataclass(frozen=True)
class Composites:
    """Composites of one analyte per Brix, gathered before and after over the same hours.

    Attributes
    ----------
    times_h, period_h : ndarray, shape (m,)
        When gathering began, and how long it went on [h].
    minutes : int
        Minutes of the season.
    sd_pct : float
        Standard error of the difference of one pair, as inverted sucrose [% of sucrose].
    """

    times_h: Array
    period_h: Array
    minutes: int
    sd_pct: float

    def spans(self, start: int, end: int) -> list[tuple[int, int]]:
        """Minutes of the composites that speak for a period.

        Those whose middle lies in it; where there is none, those that it lies in.
        """
        first, last = self.times_h * 60.0, (self.times_h + self.period_h) * 60.0
        middle = (first + last) / 2.0
        chosen = (middle >= start) & (middle < end)
        if not chosen.any():
            chosen = (first < end) & (last > start)
        within = [
            (max(round(a), 0), min(round(b), self.minutes))
            for a, b in zip(first[chosen], last[chosen], strict=True)
        ]
        return [(a, b) for a, b in within if b > a]


def composite_points(lab: pl.DataFrame, station: Station) -> tuple[Point | None, Point | None]:
    """Outermost points before and after with composites of reducing sugars or pol."""
    points = lab_points(station, composite=True)
    chosen = composites(lab).filter(pl.col("analyte").is_in(["rs", "pol"]))
    known = set(chosen.drop_nulls("value").select("place", "port").unique().iter_rows())

    def first(*wanted: Point | None) -> Point | None:
        return next((p for p in wanted if p is not None and p in known), None)

    return first(points.mixed, points.limed), first(points.tank, points.clear)


def composite_pairs(
    lab: pl.DataFrame, minutes: Minutes, points: tuple[Point, Point], scale: Scale
) -> dict[str, Composites]:
    """Composites at two points over the same hours, by analyte; none with fewer than three pairs.

    The scatter of a pair is what its analyses claim, or what pairs differ by from one to the next
    where that is more.
    """
    found = {}
    for analyte, factor in scale.items():
        ends = [_per_brix(composites(lab), analyte, point) for point in points]
        pairs = ends[0].join(ends[1], on=["ts_utc", "period_h"], suffix="_after").sort("ts_utc")
        if pairs.height < _LEAST:
            continue
        stated = pairs.select((pl.col("variance") + pl.col("variance_after")).sqrt().median())
        step = np.diff((pairs["ratio_after"] / pairs["ratio"]).log().to_numpy())
        seen = robust_sd(step) / math.sqrt(2.0)
        found[analyte] = Composites(
            hours_since(minutes, pairs),
            pairs["period_h"].to_numpy(),
            minutes.n,
            factor * max(float(stated.item()), float(np.nan_to_num(seen))),
        )
    return found


def _per_brix(lab: pl.DataFrame, analyte: str, point: Point) -> pl.DataFrame:
    """Ratio to Brix of each composite, and its relative variance [-]."""
    keys = ["ts_utc", "period_h"]
    brix = of_point(lab, "brix", point).select(*keys, brix="value", brix_sd="sd")
    return (
        of_point(lab, analyte, point)
        .join(brix, on=keys)
        .filter(pl.col("value") > 0.0, pl.col("brix") > 0.0)
        .select(
            *keys,
            ratio=pl.col("value") / pl.col("brix"),
            variance=(pl.col("sd") / pl.col("value")) ** 2
            + (pl.col("brix_sd") / pl.col("brix")) ** 2,
        )
    )
