"""Figures of a period to set beside common practice, and where formulas were carried too far."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

import polars as pl

from features.kinetics import beyond_ranges, together
from models.account import Plausibility, plausible_figures
from pipeline.base import Window
from pipeline.lake import LOSSES, STATION, ZONES, lake_of
from pipeline.mill import Mill

_STATION: Final = (
    *("ts_utc", "sucrose_feed_kg_h", "stopped", "ph_limed", "ph_clear", "ph_limed_at_clear"),
)
_LOSSES: Final = ("ts_utc", "loss_kg_h", "ph_limed_true", "ph_clear_true")
_ZONES: Final = (
    *("ts_utc", "zone", "loss_kg_h", "rs_destroyed_kg_h", "sucrose_held_kg", "ph_cold"),
    "temp_degc",
)
_RANGED: Final = (
    *("ts_utc", "zone", "temp_degc", "ph_hot", "ph_cold", "brix_pct", "loss_kg_h"),
    "rs_destroyed_kg_h",
)

#: Days of zone minutes counted together.
_DAYS_AT_ONCE: Final = 14


def plausible(
    mill: Mill, start: datetime, end: datetime, lab: pl.DataFrame | None, log_sd: float
) -> Plausibility:
    """Figures of the minutes from `start` to `end` (excluded), UTC.

    Parameters
    ----------
    lab : polars.DataFrame or None
        Laboratory results of that time, or of more.
    log_sd : float
        Standard error of the logarithm of the kinetic multiplier.
    """
    lake, inside = lake_of(mill), pl.col("ts_utc").is_between(start, end, closed="left")
    days = (start.date(), (end - timedelta(microseconds=1)).date())
    judged = lake.read_features(LOSSES, *days, _LOSSES)
    station = lake.read_features(STATION, *days, _STATION)
    zones = lake.read_features(ZONES, *days, _ZONES)
    if judged.is_empty() or station.is_empty() or zones.is_empty() or lab is None:
        return Plausibility()
    minutes = station.join(judged, on="ts_utc").filter(inside)
    return plausible_figures(
        minutes, zones.filter(inside), lab.filter(inside), mill.station, log_sd
    )


def beyond_of(mill: Mill, period: Window) -> pl.DataFrame | None:
    """Minutes of a period outside the ranges of the formulas, by zone; None without minutes."""
    lake = lake_of(mill)
    inside = pl.col("ts_utc").is_between(period.start, period.end, closed="left")
    first, last = period.days
    days = [day for day in lake.feature_days(ZONES) if first <= day <= last]
    # Some days at a time: a season of zone minutes does not fit into memory beside the rest.
    parts = [
        beyond_ranges(lake.read_features(ZONES, some[0], some[-1], _RANGED).filter(inside))
        for some in (days[n : n + _DAYS_AT_ONCE] for n in range(0, len(days), _DAYS_AT_ONCE))
    ]
    return together(parts) if parts else None
