"""Laboratory results as series on the axis of the derived minutes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from features.base import LONGEST_HOLD_H, Station, grabs
from models.base import Array, Minutes

#: Sides of a vessel, those first that tell most of the juice leaving it. Mud is other juice.
_SIDES = {"out": 0, "": 1, "inside": 2, "in": 3}


@dataclass(frozen=True)
class LabSeries:
    """Results of one analyte at one point.

    Attributes
    ----------
    times_h : ndarray, shape (m,)
        Sampling times [h since the first minute], rising.
    values, sd : ndarray, shape (m,)
        Result and standard error [unit of the analyte].
    """

    times_h: Array
    values: Array
    sd: Array

    def __len__(self) -> int:
        return len(self.times_h)

    def at(self, times_h: Array) -> Array:
        """Straight line between results at most `LONGEST_HOLD_H` apart; NaN elsewhere."""
        if len(self) == 0:
            return np.full(len(times_h), np.nan)
        line = np.interp(times_h, self.times_h, self.values, left=np.nan, right=np.nan)
        after = np.clip(np.searchsorted(self.times_h, times_h), 1, max(len(self) - 1, 1))
        before = np.minimum(after, len(self) - 1)
        gap = self.times_h[before] - self.times_h[after - 1]
        return np.where(gap <= LONGEST_HOLD_H, line, np.nan)

    @property
    def relative_sd(self) -> float:
        """Median standard error over result [-]; 0 without results."""
        return float(np.median(self.sd / np.abs(self.values))) if len(self) else 0.0


@dataclass(frozen=True)
class LabPoints:
    """Where the laboratory samples: (place, port) of each station point, None when it does not."""

    mixed: tuple[str, str] | None
    limed: tuple[str, str] | None
    clear: tuple[str, str] | None
    tank: tuple[str, str] | None


def lab_points(station: Station, *, composite: bool = False) -> LabPoints:
    """Sampling points by what the juice has been through: of grabs, or of composites."""
    kept = {(s.place, s.port) for s in station.lab if (s.period_h > 0.0) == composite}
    sampled = sorted((p for p in kept if p[1] in _SIDES), key=lambda p: (p[0], _SIDES[p[1]]))

    def first(kind: str) -> tuple[str, str] | None:
        names = [v.name for v in sorted(station.vessels, key=lambda v: v.step) if v.kind == kind]
        return next(((p, q) for n in names for p, q in sampled if p == n), None)

    mixed = next(((p, q) for p, q in sampled if p == "mixed_juice"), None)
    return LabPoints(mixed, first("liming_tank"), first("settler"), first("clear_juice_tank"))


def lab_series(
    lab: pl.DataFrame, minutes: Minutes, analyte: str, point: tuple[str, str] | None
) -> LabSeries:
    """Grabs of one analyte at one point, as arrays; a composite is no sample of a moment."""
    if point is None:
        return LabSeries(np.empty(0), np.empty(0), np.empty(0))
    chosen = of_point(grabs(lab), analyte, point)
    hours = hours_since(minutes, chosen)
    return LabSeries(hours, chosen["value"].to_numpy(), chosen["sd"].to_numpy())


def of_point(lab: pl.DataFrame, analyte: str, point: tuple[str, str]) -> pl.DataFrame:
    """Results of one analyte at one point, by time."""
    return lab.filter(
        (pl.col("analyte") == analyte)
        & (pl.col("place") == point[0])
        & (pl.col("port") == point[1])
        & pl.col("value").is_not_null()
    ).sort("ts_utc")


def hours_since(minutes: Minutes, lab: pl.DataFrame) -> Array:
    """Sampling times of some results [h since the first minute]."""
    since = (pl.col("ts_utc") - pl.lit(minutes.start_utc)).dt.total_microseconds() / 3.6e9
    return lab.select(since).to_series().to_numpy()


def transit_h(minutes: Minutes, station: Station, points: LabPoints) -> Array:
    """Mean time between the limed-juice and the clear-juice sampling point [h].

    Sum of the residence in the zones between them, vessels side by side averaged; mud left out.
    """
    total = np.zeros(minutes.n)
    for names in _steps_between(station, points):
        columns = [minutes.zones[n]["residence_min"] for n in names if n in minutes.zones]
        if columns:
            total = total + np.mean(np.stack(columns), axis=0) / 60.0
    return total


def zones_between(station: Station, points: LabPoints) -> set[str]:
    """Zones between the limed-juice and the clear-juice sampling point; mud left out."""
    return {name for names in _steps_between(station, points) for name in names}


def _steps_between(station: Station, points: LabPoints) -> list[list[str]]:
    if points.limed is None or points.clear is None:
        return []
    step = {v.name: v.step for v in station.vessels}
    first, last = step[points.limed[0]], step[points.clear[0]]
    return [
        [v.name for v in group] for group in station.in_flow_order if first < group[0].step <= last
    ]
