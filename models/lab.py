"""Laboratory results as series on the axis of the derived minutes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from features.station import Station
from models.minutes import Minutes
from models.reconcile import inverted_by_balance
from models.series import Array


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
        """Straight line between results; NaN outside them or with none."""
        if len(self) == 0:
            return np.full(len(times_h), np.nan)
        return np.asarray(np.interp(times_h, self.times_h, self.values, left=np.nan, right=np.nan))


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
    """Inversion between limed and clear juice by reducing sugars, one entry a pair of samples.

    Attributes
    ----------
    times_h : ndarray, shape (m,)
        Sampling time of the clear juice [h].
    seen_pct, sd_pct : ndarray, shape (m,)
        Sucrose inverted and its random standard error [% of sucrose].
    minute : ndarray of int, shape (m,)
        Minute of the sample.
    """

    times_h: Array
    seen_pct: Array
    sd_pct: Array
    minute: np.ndarray[tuple[int], np.dtype[np.int64]]


def reducing_sugar_balance(lab: pl.DataFrame, minutes: Minutes, points: LabPoints) -> Balance:
    """Pair clear-juice samples with the limed juice they were, by residence time.

    Sucrose is taken as pol; samples drawn while the station stood are left out.
    """
    rs_out = lab_series(lab, minutes, "rs", points.clear)
    empty = np.empty(0)
    nothing = Balance(empty, empty, empty, np.empty(0, dtype=np.int64))
    if len(rs_out) == 0 or points.limed is None:
        return nothing
    index = np.floor(rs_out.times_h * 60).astype(np.int64)
    inside = (index >= 0) & (index < minutes.n)
    t, index = rs_out.times_h[inside], index[inside]
    if len(t) == 0:
        return nothing
    entered = t - minutes.station["residence_train_min"][index] / 60.0
    inlet = {a: lab_series(lab, minutes, a, points.limed) for a in ("rs", "brix", "pol")}
    brix_out = lab_series(lab, minutes, "brix", points.clear).at(t)
    rs_in, brix_in, pol_in = (inlet[a].at(entered) for a in ("rs", "brix", "pol"))
    rs_per_sucrose = 100.0 * rs_in / pol_in
    seen = inverted_by_balance(
        rs_per_sucrose,
        rs_in / brix_in,
        rs_out.values[inside] / brix_out,
        minutes.station["rs_destroyed_pred_pct"][index],
    )
    relative = np.hypot(rs_out.sd[inside] / rs_out.values[inside], _relative_sd(inlet["rs"]))
    good = np.isfinite(seen) & ~minutes.stopped[index]
    sd = rs_per_sucrose * relative / 1.0526
    return Balance(t[good], seen[good], sd[good], index[good])


def _relative_sd(series: LabSeries) -> float:
    return float(np.median(series.sd / series.values)) if len(series) else 0.0
