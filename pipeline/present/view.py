"""The report of a period, filled from the store and the lake alone.

A report can therefore be made again at any time without searching again.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import polars as pl

from features.base import lab_results, left_out
from models.account import multiplier_log_sd, with_bounds
from pipeline.base import ONE_DAY, DataError, Window, midnight
from pipeline.lake import LOSSES, NOTICES, STATION, ZONES, lake_of, tag_health
from pipeline.mill import Mill
from pipeline.period import known_of
from pipeline.present.coverage import gaps_of_chance, gaps_of_coverage
from pipeline.present.gaps import hours_without_readings, tags_lacking
from pipeline.present.level import level_beware
from pipeline.present.levers import season_levers
from pipeline.present.plausible import beyond_of
from pipeline.present.tongues import tongue_for
from pipeline.report import REQUIRED_COLUMNS, Gap, Multiplier, ReportView, write_report
from pipeline.stages import season_days, sensors_to_look_at, uncalibrated_channels
from pipeline.store import dossiers_of, published_store_of
from pipeline.words import count, joined, said, span_words

#: Charts reach this far around a finding.
_AROUND: Final = timedelta(days=2)
#: What reports draw of the minutes of station and zones; a season in full takes gigabytes.
_DRAWN_STATION: Final = (*REQUIRED_COLUMNS["station_minutes"], "flow_feed_m3_h")
_DRAWN_ZONES: Final = REQUIRED_COLUMNS["zone_minutes"]


def write_season_report(mill: Mill, period: Window, gaps: Iterable[Gap] = ()) -> Path:
    """Write the report that goes with a backfill into the mill's store.

    Parameters
    ----------
    period : Window
        What the report covers.
    gaps : iterable of Gap
        What is already known to be missing.

    Returns
    -------
    Path
        The HTML file, in a folder called after the last local day of the period.
    """
    with published_store_of(mill).held():
        view = replace(view_of(mill, period, tuple(gaps)), levers=season_levers(mill))
    return write_report(report_path(mill, period, "backfill.html"), view)


def report_path(mill: Mill, period: Window, name: str) -> Path:
    """Where a report lies: in a folder called after the last local day of its period."""
    day = mill.local_day(period.end - timedelta(microseconds=1))
    return mill.reports_path / day.isoformat() / name


def view_of(
    mill: Mill, period: Window, gaps: tuple[Gap, ...] = (), found: pl.DataFrame | None = None
) -> ReportView:
    """Fill the view of one report.

    Parameters
    ----------
    period : Window
        What the report covers.
    gaps : tuple of Gap
        What is already known to be missing.
    found : polars.DataFrame, optional
        Findings to show; without them those that touch the period.
    """
    store, lake = published_store_of(mill), lake_of(mill)
    run = latest_run(mill)
    if found is None:
        found = store.findings(withdrawn=True).filter(
            (pl.col("started") < period.end) & (pl.col("ended") > period.start)
        )
    first, last = _drawn(period, found)
    inside = pl.col("ts_utc").is_between(first, last, closed="left")
    days = (first.date(), last.date())
    losses = lake.read_features(LOSSES, *days).filter(inside)
    station = lake.read_features(STATION, *days, _DRAWN_STATION).filter(inside)
    # The Brix that brings a result to juice may be of the day before or after.
    readings = lake.read_readings(
        days[0] - ONE_DAY, days[1] + ONE_DAY, [s.tag for s in mill.station.lab]
    )
    lab = lab_results(readings, mill.station).filter(inside)
    multiplier = _multiplier(mill, run)
    parts = gaps_of_coverage(
        mill.station,
        _within(lab, period),
        _within(losses, period),
        mill.zone,
        _within(left_out(readings, mill.station), period),
        level_told=bool(multiplier.beware),
        lacking=tags_lacking(mill, period),
    )
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
        zone_minutes=lake.read_features(ZONES, *days, _DRAWN_ZONES).filter(inside),
        season=season_sums(mill),
        lab=lab,
        station=mill.station,
        multiplier=multiplier,
        notices=_notices(mill, period),
        sources=sources,
        refused=refused,
        tags=tags.filter(pl.col("readings") > 0),
        sensors=sensors_to_look_at(mill, *_whole_days(mill, period)),
        verdicts=store.verdicts(),
        beyond=beyond_of(mill, period),
        missing_tags=tuple(tags.filter(pl.col("readings") == 0)["tag"]),
        tongue=tongue_for(mill),
        not_computed=(
            *gaps,
            *hours_without_readings(mill, period),
            *parts,
            *gaps_of_chance(mill.station, uncalibrated_channels(mill, lake, period)),
        ),
        run=_run_words(mill, run),
        dossiers=dossiers_of(mill, found["finding_id"].to_list()),
        known=known_of(mill),
    )


def _within(frame: pl.DataFrame, period: Window) -> pl.DataFrame:
    return frame.filter(pl.col("ts_utc").is_between(period.start, period.end, closed="left"))


def _drawn(period: Window, found: pl.DataFrame) -> tuple[datetime, datetime]:
    """Span of minutes to read: the period, and its findings with some time around them."""
    starts = [period.start, *(start - _AROUND for start in found["started"])]
    return min(starts), period.end


def _whole_days(mill: Mill, period: Window) -> tuple[date, date]:
    """UTC days of the period without the edges of the data: there every tag is silent in part."""
    first, last = period.days
    known = lake_of(mill).days()
    if first < last and first == known[0] and period.start > midnight(first):
        first += ONE_DAY
    if first < last and last == known[-1] and period.end < midnight(last, 1):
        last -= ONE_DAY
    return first, last


def latest_run(mill: Mill) -> dict[str, Any]:
    """Latest finished run.

    Raises
    ------
    DataError
        There is none yet.
    """
    runs = published_store_of(mill).runs().filter(pl.col("state") == "finished")
    if runs.is_empty():
        raise DataError(
            said("No search has been finished yet, so there is nothing to report."),
            str(mill.database_path),
            said("Run lostpol backfill first."),
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


def season_sums(mill: Mill) -> pl.DataFrame:
    """Sum sucrose fed, unavoidable and excess loss over each local day searched so far [t]."""
    return with_bounds(season_days(mill, lake_of(mill)))


def judged_minutes(mill: Mill, first: date, last: date) -> pl.DataFrame:
    """Loss by minute as the search left it, with the sucrose fed, over some UTC days."""
    lake = lake_of(mill)
    fed = lake.read_features(STATION, first, last, ("ts_utc", "sucrose_feed_kg_h"))
    return lake.read_features(LOSSES, first, last).join(fed, on="ts_utc", how="left")


def run_log_sd(run: dict[str, Any]) -> float:
    """Log standard error of a run's kinetic multiplier."""
    return multiplier_log_sd(run["multiplier_low"], run["multiplier_high"])


def _multiplier(mill: Mill, run: dict[str, Any]) -> Multiplier:
    pairs = run["multiplier_pairs"]
    source = (
        said("fitted to {pairs} laboratory samples along the train", pairs=count(pairs))
        if pairs
        else said("not fitted: no laboratory sample of the season was usable")
    )
    bounds = (run["multiplier"], run["multiplier_low"], run["multiplier_high"])
    beware = level_beware(mill, run_log_sd(run), pairs, run["as_of"].date())
    return Multiplier(*bounds, source=source, beware=beware)


def _notices(mill: Mill, period: Window) -> pl.DataFrame:
    """Odd events without loss that touch the period."""
    lake = lake_of(mill)
    days = lake.feature_days(NOTICES)
    frame = lake.read_features(NOTICES, days[0], days[-1])
    return frame.filter((pl.col("started") < period.end) & (pl.col("ended") > period.start))


def _sources(mill: Mill, period: Window) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Export files that reach into the period, and their refused rows by reason."""
    frame = (
        published_store_of(mill)
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
    versions = json.loads(run["versions"])
    return {
        said("run"): run["run_id"],
        said("searched"): span_words(run["window_start"], run["window_end"], mill.tz),
        said("description"): run["config_hash"],
        said("versions"): joined(
            ", ",
            (
                said("{name} {number}", name=name, number=number)
                for name, number in sorted(versions.items())
            ),
        ),
    }
