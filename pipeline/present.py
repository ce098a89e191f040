"""The report of a period, filled from the store and the lake alone.

A report can therefore be made again at any time without searching again.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

import polars as pl

from features.lab import lab_results
from pipeline.config import Mill
from pipeline.errors import DataError
from pipeline.report import Gap, Multiplier, ReportView, write_report
from pipeline.sensors import sensors_to_look_at
from pipeline.unseen import what_cannot_be_seen
from pipeline.windows import LOSSES, NOTICES, STATION, ZONES, Window, lake_of, store_of, tag_health

#: Vessels and the pH inside them are known to about a fifth, the corrected pH to 0.04 for days on
#: end (estimates; the second as measured on simulated mills).
_MODEL_LOG_SD: Final = 0.2
_PH_SD: Final = 0.04
_Z90: Final = 1.645
#: Charts reach this far around a finding.
_AROUND: Final = timedelta(days=2)


def write_period_report(mill: Mill, name: str, period: Window, gaps: Iterable[Gap] = ()) -> Path:
    """Write the report of a period into the mill's store.

    Parameters
    ----------
    name : str
        File name without its ending, such as ``nightly``.
    period : Window
        What the report covers.
    gaps : iterable of Gap
        What is already known to be missing.

    Returns
    -------
    Path
        The HTML file, in a folder called after the last local day of the period.
    """
    day = mill.local_day(period.end - timedelta(microseconds=1))
    path = mill.reports_path / day.isoformat() / f"{name}.html"
    return write_report(path, view_of(mill, period, tuple(gaps)))


def view_of(mill: Mill, period: Window, gaps: tuple[Gap, ...] = ()) -> ReportView:
    """Fill the view of one report."""
    store, lake = store_of(mill), lake_of(mill)
    run = _latest_run(mill)
    found = store.findings(withdrawn=True).filter(
        (pl.col("started") < period.end) & (pl.col("ended") > period.start)
    )
    first, last = _drawn(period, found)
    inside = pl.col("ts_utc").is_between(first, last, closed="left")
    days = (first.date(), last.date())
    losses = lake.read_features(LOSSES, *days).filter(inside)
    station = lake.read_features(STATION, *days).filter(inside)
    readings = lake.read_readings(*days, [s.tag for s in mill.station.lab]).filter(inside)
    lab = lab_results(readings, mill.station)
    told = what_cannot_be_seen(mill.station, _within(lab, period), _within(losses, period))
    sources, refused = _sources(mill, period)
    tags = tag_health(mill, *period.days)
    return ReportView(
        mill=mill.name,
        zone=mill.zone,
        currency=mill.currency,
        price_per_t=mill.price_per_t,
        period_start=period.start,
        period_end=period.end,
        findings=found,
        station_minutes=_with_judged(station, losses),
        zone_minutes=lake.read_features(ZONES, *days).filter(inside),
        season=_season(mill, run),
        lab=lab,
        station=mill.station,
        multiplier=_multiplier(run),
        notices=_notices(mill, period),
        sources=sources,
        refused=refused,
        tags=tags.filter(pl.col("readings") > 0),
        sensors=sensors_to_look_at(mill, *period.days),
        missing_tags=tuple(tags.filter(pl.col("readings") == 0)["tag"]),
        not_computed=(*gaps, *told),
        run=_run_words(mill, run),
    )


def _within(frame: pl.DataFrame, period: Window) -> pl.DataFrame:
    return frame.filter(pl.col("ts_utc").is_between(period.start, period.end, closed="left"))


def _drawn(period: Window, found: pl.DataFrame) -> tuple[datetime, datetime]:
    """Span of minutes to read: the period, and its findings with some time around them."""
    starts = [period.start, *(start - _AROUND for start in found["started"])]
    return min(starts), period.end


def _latest_run(mill: Mill) -> dict[str, Any]:
    runs = store_of(mill).runs().filter(pl.col("state") == "finished")
    if runs.is_empty():
        raise DataError(
            "No search has been finished yet, so there is nothing to report.",
            str(mill.database_path),
            "Run lostpol backfill first.",
        )
    return runs.sort("as_of", "finished_at").row(-1, named=True)


def _with_judged(station: pl.DataFrame, losses: pl.DataFrame) -> pl.DataFrame:
    """Add loss by the fitted multiplier, and pH put right, under the names the charts know."""
    judged = losses.select(
        "ts_utc",
        "loss_kg_h",
        "unavoidable_kg_h",
        ph_limed_corrected="ph_limed_true",
        ph_clear_corrected="ph_clear_true",
    )
    return station.join(judged, on="ts_utc", how="left", maintain_order="left")


def _season(mill: Mill, run: dict[str, Any]) -> pl.DataFrame:
    """Sum sucrose fed, unavoidable and excess loss over each local day searched so far [t]."""
    lake = lake_of(mill)
    days = lake.feature_days(LOSSES)
    span = (days[0], days[-1])
    fed = lake.read_features(STATION, *span).select("ts_utc", "sucrose_feed_kg_h")
    minutes = lake.read_features(LOSSES, *span).join(fed, on="ts_utc", how="left")
    tonnes_a_minute = 1.0 / 60_000.0
    sums = (
        minutes.with_columns(day_local=pl.col("ts_utc").dt.convert_time_zone(mill.zone).dt.date())
        .group_by("day_local")
        .agg(
            sucrose_fed_t=pl.col("sucrose_feed_kg_h").sum() * tonnes_a_minute,
            unavoidable_t=pl.col("unavoidable_kg_h").sum() * tonnes_a_minute,
            excess_t=pl.col("excess_kg_h").sum() * tonnes_a_minute,
        )
        .sort("day_local")
    )
    share = math.hypot(_multiplier_log_sd(run), _MODEL_LOG_SD)
    by_ph = math.log(10.0) * _PH_SD * (pl.col("unavoidable_t") + pl.col("excess_t"))
    half = _Z90 * ((share * pl.col("excess_t")) ** 2 + by_ph**2).sqrt()
    excess = pl.col("excess_t")
    return sums.with_columns(excess_low_t=excess - half, excess_high_t=excess + half)


def _multiplier_log_sd(run: dict[str, Any]) -> float:
    return math.log(run["multiplier_high"] / run["multiplier_low"]) / (2 * _Z90)


def _multiplier(run: dict[str, Any]) -> Multiplier:
    pairs = run["multiplier_pairs"]
    source = (
        f"fitted to {pairs} pairs of limed-juice and clear-juice laboratory results"
        if pairs
        else "taken from the mill's description: no laboratory pair was usable"
    )
    bounds = (run["multiplier"], run["multiplier_low"], run["multiplier_high"])
    return Multiplier(*bounds, source=source)


def _notices(mill: Mill, period: Window) -> pl.DataFrame:
    """Odd events without loss that touch the period."""
    lake = lake_of(mill)
    days = lake.feature_days(NOTICES)
    frame = lake.read_features(NOTICES, days[0], days[-1])
    return frame.filter((pl.col("started") < period.end) & (pl.col("ended") > period.start))


def _sources(mill: Mill, period: Window) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Export files that reach into the period, and their refused rows by reason."""
    frame = (
        store_of(mill)
        .sources()
        .filter((pl.col("first_ts") < period.end) & (pl.col("last_ts") >= period.start))
        .with_columns(rows_kept=pl.col("rows_read") - pl.col("rows_refused"))
    )
    rows = [
        {"source": row["name"], "reason": reason.replace("_", " "), "rows": count}
        for row in frame.to_dicts()
        for reason, count in json.loads(row["refused_by_reason"]).items()
    ]
    schema = {"source": pl.String, "reason": pl.String, "rows": pl.Int64}
    named = frame.select(source="name", rows_read="rows_read", rows_kept="rows_kept")
    return named, pl.DataFrame(rows, schema=schema)


def _run_words(mill: Mill, run: dict[str, Any]) -> dict[str, str]:
    """How the numbers came about, for the foot of the report."""
    local = [run[name].astimezone(mill.tz) for name in ("window_start", "window_end")]
    versions = json.loads(run["versions"])
    return {
        "run": run["run_id"],
        "searched": " to ".join(f"{moment:%Y-%m-%d %H:%M}" for moment in local),
        "description": run["config_hash"],
        "versions": ", ".join(f"{name} {number}" for name, number in sorted(versions.items())),
    }
