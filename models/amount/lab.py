"""Laboratory results as series on the axis of the derived minutes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.balance import MethodErrors, pair_estimates
from features.base import LONGEST_HOLD_H, Analyte, Station
from models.amount.reconcile import join_methods
from models.base import Array, Minutes

#: Analytes that tell inversion when both ends of a pair have them.
PAIRED: tuple[Analyte, ...] = ("rs", "pol", "brix", "potassium", "chloride", "purity")


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


def lab_points(station: Station) -> LabPoints:
    """Sampling points by what the juice has been through."""
    sampled = {(s.place, s.port) for s in station.lab}

    def first(kind: str) -> tuple[str, str] | None:
        names = [v.name for v in sorted(station.vessels, key=lambda v: v.step) if v.kind == kind]
        return next(((p, q) for n in names for p, q in sorted(sampled) if p == n), None)

    mixed = next(((p, q) for p, q in sorted(sampled) if p == "mixed_juice"), None)
    return LabPoints(mixed, first("liming_tank"), first("settler"), first("clear_juice_tank"))


def lab_series(
    lab: pl.DataFrame, minutes: Minutes, analyte: str, point: tuple[str, str] | None
) -> LabSeries:
    """Results of one analyte at one point, as arrays."""
    if point is None:
        return LabSeries(np.empty(0), np.empty(0), np.empty(0))
    chosen = lab.filter(
        (pl.col("analyte") == analyte)
        & (pl.col("place") == point[0])
        & (pl.col("port") == point[1])
        & pl.col("value").is_not_null()
    ).sort("ts_utc")
    hours = chosen.select(
        (pl.col("ts_utc") - pl.lit(minutes.start_utc)).dt.total_microseconds() / 3.6e9
    ).to_series()
    return LabSeries(hours.to_numpy(), chosen["value"].to_numpy(), chosen["sd"].to_numpy())


@dataclass(frozen=True)
class Balance:
    """Inversion between limed and clear juice by chemistry, one entry a pair of samples.

    Attributes
    ----------
    times_h : ndarray, shape (m,)
        Sampling time of the clear juice [h].
    seen_pct, sd_pct : ndarray, shape (m,)
        Sucrose inverted and its random standard error [% of sucrose].
    systematic_pct : ndarray, shape (m, s)
        Change of `seen_pct` by one standard error of each error that all pairs share
        [% of sucrose].
    minute : ndarray of int, shape (m,)
        Minute of the sample.
    weights : dict of str to float
        Mean weight of each method; they sum to 1.
    """

    times_h: Array
    seen_pct: Array
    sd_pct: Array
    systematic_pct: Array
    minute: NDArray[np.int64]
    weights: dict[str, float]

    def __len__(self) -> int:
        return len(self.times_h)


def chemical_balance(
    lab: pl.DataFrame,
    minutes: Minutes,
    points: LabPoints,
    station: Station,
    errors: MethodErrors | None = None,
) -> Balance:
    """Pair clear-juice samples with the limed juice they were, by residence time.

    Every method the results allow is used, joined by their covariance. Sucrose is taken as pol;
    samples drawn while the station stood are left out.
    """
    ends = {
        a: (lab_series(lab, minutes, a, points.limed), lab_series(lab, minutes, a, points.clear))
        for a in PAIRED
    }
    ends = {a: pair for a, pair in ends.items() if len(pair[0]) and len(pair[1])}
    base = next((ends[a][1].times_h for a in ("rs", "pol", "purity") if a in ends), np.empty(0))
    index = np.floor(base * 60).astype(np.int64)
    inside = (index >= 0) & (index < minutes.n)
    times, index = base[inside], index[inside]
    running = ~minutes.stopped[index]
    times, index = times[running], index[running]
    entered = times - transit_h(minutes, station, points)[index]
    results: dict[str, Array] = {}
    spread: dict[str, Array] = {}
    for analyte, (limed, clear) in ends.items():
        results[f"{analyte}_in"], results[f"{analyte}_out"] = limed.at(entered), clear.at(times)
        for name, series in (("in", limed), ("out", clear)):
            spread[f"{analyte}_{name}"] = np.full(len(times), series.relative_sd)
    destroyed = minutes.station["rs_destroyed_pred_pct"][index]
    joined = join_methods(pair_estimates(results, spread, destroyed, errors))
    good = np.isfinite(joined.seen_pct)
    return Balance(
        times[good],
        joined.seen_pct[good],
        joined.sd_pct[good],
        joined.systematic_pct[good],
        index[good],
        joined.weights,
    )


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
