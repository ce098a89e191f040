"""Inversion between limed and clear juice by chemistry, from grabs and from composites."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.balance import MethodErrors, pair_estimates
from features.base import Analyte, Station, composites
from models.amount.lab import (
    LabPoints,
    hours_since,
    lab_points,
    lab_series,
    of_point,
    transit_h,
)
from models.amount.reconcile import join_methods
from models.base import Array, Minutes

#: Analytes that tell inversion when both ends of a pair have them.
PAIRED: tuple[Analyte, ...] = ("rs", "pol", "brix", "potassium", "chloride", "purity")
#: The juice of two composites of the same hours is the same but for the residence between their
#: points: at most a quarter of it may be other juice (estimate).
_PERIODS_A_TRANSIT = 4.0
#: So much of a composite's period must be worked out for its mean to stand for it (estimate).
_LEAST_KNOWN = 0.8


@dataclass(frozen=True)
class Balance:
    """Inversion between limed and clear juice by chemistry, one entry a pair of samples.

    Attributes
    ----------
    times_h : ndarray, shape (m,)
        Sampling time of the clear juice [h]; of a composite, when its gathering began.
    seen_pct, sd_pct : ndarray, shape (m,)
        Sucrose inverted and its random standard error [% of sucrose].
    systematic_pct : ndarray, shape (m, s)
        Change of `seen_pct` by one standard error of each error that all pairs share
        [% of sucrose].
    minute : ndarray of int, shape (m,)
        Minute of the sample; of a composite, its first.
    weights : dict of str to float
        Mean weight of each method; they sum to 1.
    lasts_min : ndarray of int, shape (m,)
        Minutes that the sample speaks for: 1 for a grab.
    """

    times_h: Array
    seen_pct: Array
    sd_pct: Array
    systematic_pct: Array
    minute: NDArray[np.int64]
    weights: dict[str, float]
    lasts_min: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.times_h)

    def of(self, chosen: NDArray[np.bool_]) -> Balance:
        """Some of its pairs."""
        return Balance(
            self.times_h[chosen],
            self.seen_pct[chosen],
            self.sd_pct[chosen],
            self.systematic_pct[chosen],
            self.minute[chosen],
            self.weights,
            self.lasts_min[chosen],
        )

    @property
    def grabs(self) -> Balance:
        """Pairs that speak for a moment."""
        return self.of(self.lasts_min == 1)

    def mean_of(self, values: Array, minutes: Minutes) -> Array:
        """What a series comes to in each pair: at the grab, or in the juice of the composite.

        Parameters
        ----------
        values : ndarray, shape (n,)
            Series by minute.
        minutes : Minutes

        Returns
        -------
        ndarray, shape (m,)
            Of a composite the mean weighted by the sucrose fed, NaN where too much is unknown.
        """
        spans = zip(self.minute, self.lasts_min, strict=True)
        return np.array([_mean(values, minutes, int(a), int(n)) for a, n in spans], dtype=float)


@dataclass(frozen=True)
class _Pairs:
    """Results of both points side by side, one entry a pair."""

    times_h: Array
    lasts_min: NDArray[np.int64]
    results: dict[str, Array]
    spread: dict[str, Array]

    def __len__(self) -> int:
        return len(self.times_h)

    @property
    def minute(self) -> NDArray[np.int64]:
        return np.floor(self.times_h * 60).astype(np.int64)


def chemical_balance(
    lab: pl.DataFrame,
    minutes: Minutes,
    points: LabPoints,
    station: Station,
    errors: MethodErrors | None = None,
) -> Balance:
    """Pair clear-juice samples with the limed juice they were.

    Grabs are paired by residence time, composites with those of the same hours. Every method the
    results allow is used, joined by their covariance. Sucrose is taken as pol; grabs drawn while
    the station stood are left out.
    """
    found = [_grab_pairs(lab, minutes, points, station), _composite_pairs(lab, minutes, station)]
    pairs = _joined([part for part in found if len(part)] or found[:1])
    empty = np.empty(0)
    drawn = Balance(pairs.times_h, empty, empty, empty, pairs.minute, {}, pairs.lasts_min)
    destroyed = drawn.mean_of(minutes.station["rs_destroyed_pred_pct"], minutes)
    joined = join_methods(pair_estimates(pairs.results, pairs.spread, destroyed, errors))
    whole = Balance(
        pairs.times_h,
        joined.seen_pct,
        joined.sd_pct,
        joined.systematic_pct,
        pairs.minute,
        joined.weights,
        pairs.lasts_min,
    )
    return whole.of(np.isfinite(joined.seen_pct))


def _grab_pairs(lab: pl.DataFrame, minutes: Minutes, points: LabPoints, station: Station) -> _Pairs:
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
    return _Pairs(times, np.ones(len(times), dtype=np.int64), results, spread)


def _composite_pairs(lab: pl.DataFrame, minutes: Minutes, station: Station) -> _Pairs:
    """Composites of limed and of clear juice gathered over the same hours."""
    points = lab_points(station, composite=True)
    nothing = _Pairs(np.empty(0), np.empty(0, dtype=np.int64), {}, {})
    if points.limed is None or points.clear is None:
        return nothing
    keys = ["ts_utc", "period_h"]
    wide = composites(lab).select(keys).unique().sort(keys)
    for analyte in PAIRED:
        for end, point in (("in", points.limed), ("out", points.clear)):
            part = of_point(composites(lab), analyte, point)
            if part.is_empty():
                continue
            name = f"{analyte}_{end}"
            part = part.select(*keys, pl.col("value").alias(name), pl.col("sd").alias(f"sd {name}"))
            wide = wide.join(part, on=keys, how="left", maintain_order="left")
    pairs = [(f"{a}_in", f"{a}_out") for a in PAIRED]
    both = [name for pair in pairs if {*pair} <= {*wide.columns} for name in pair]
    if not both:
        return nothing
    wide = wide.filter(pl.any_horizontal(pl.col(both).is_not_null()))
    times, lasts = hours_since(minutes, wide), wide["period_h"].to_numpy() * 60.0
    transit = 60.0 * float(np.nanmedian(transit_h(minutes, station, points)))
    first = np.floor(times * 60.0)
    kept = (first >= 0) & (first + lasts <= minutes.n) & (lasts >= _PERIODS_A_TRANSIT * transit)
    wide = wide.filter(pl.Series(kept, dtype=pl.Boolean))
    results = {n: wide[n].fill_null(np.nan).to_numpy() for n in both}
    spread = {}
    for name in both:
        sd = wide[f"sd {name}"].fill_null(np.nan).to_numpy()
        relative = np.nanmedian(sd / np.abs(results[name])) if np.isfinite(sd).any() else 0.0
        spread[name] = np.full(wide.height, float(relative))
    return _Pairs(times[kept], np.rint(lasts[kept]).astype(np.int64), results, spread)


def _joined(parts: list[_Pairs]) -> _Pairs:
    """Pairs of both kinds in order of time; an analyte that one kind lacks is NaN there."""
    if len(parts) == 1:
        return parts[0]
    order = np.argsort(np.concatenate([p.times_h for p in parts]), kind="stable")
    names = list(dict.fromkeys(name for p in parts for name in p.results))

    def column(of: list[Mapping[str, Array]], name: str, absent: float) -> Array:
        pieces = [
            table.get(name, np.full(len(p), absent)) for table, p in zip(of, parts, strict=True)
        ]
        return np.concatenate(pieces)[order]

    return _Pairs(
        np.concatenate([p.times_h for p in parts])[order],
        np.concatenate([p.lasts_min for p in parts])[order],
        {name: column([p.results for p in parts], name, np.nan) for name in names},
        # Nothing is moved by an analysis that was not made.
        {name: column([p.spread for p in parts], name, 0.0) for name in names},
    )


def _mean(values: Array, minutes: Minutes, start: int, lasts: int) -> float:
    if lasts == 1:
        return float(values[start])
    part = slice(start, start + lasts)
    fed = minutes.station["sucrose_feed_kg_h"][part]
    running = ~minutes.stopped[part]
    known = running & np.isfinite(fed) & np.isfinite(values[part])
    weight = np.where(known, fed, 0.0)
    if known.sum() < _LEAST_KNOWN * max(int(running.sum()), 1) or weight.sum() <= 0.0:
        return float("nan")
    return float(weight @ np.where(known, values[part], 0.0) / weight.sum())
