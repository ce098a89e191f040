"""The weekly review, filled from the store and the lake alone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final

import polars as pl

from pipeline.base import ONE_DAY, Window
from pipeline.lake import DAILY, LOSSES, SHARPNESS, lake_of
from pipeline.mill import Mill
from pipeline.present.first_lever import keep_first
from pipeline.present.levers import season_levers
from pipeline.present.night import run_health
from pipeline.present.plausible import plausible
from pipeline.present.settling import settling_of
from pipeline.present.tongues import in_every_language
from pipeline.present.view import judged_minutes, latest_run, report_path, run_log_sd, view_of
from pipeline.report import Gap, WeekView, shift_lengths, shift_sums, write_week
from pipeline.stages import level_course
from pipeline.store import published_store_of
from pipeline.words import said

#: Before and after of a fix are drawn from this far on either side.
_AROUND_A_FIX: Final = timedelta(days=8)

#: Names of shifts where the description gives none.
_USUAL: Final = {
    "morning": said("morning"),
    "afternoon": said("afternoon"),
    "night": said("night"),
}


def write_week_report(mill: Mill, period: Window, gaps: Iterable[Gap] = ()) -> Path:
    """Write the weekly review into the mill's store.

    Parameters
    ----------
    period : Window
        Whole local days.
    gaps
        As for `pipeline.present.view.write_season_report`.

    Returns
    -------
    Path
        The HTML file; PDF and text lie beside it.
    """
    out = report_path(mill, period, "weekly.html")
    with published_store_of(mill).held():
        view = week_view(mill, period, tuple(gaps))
    keep_first(mill, view.report.levers, view.last)
    return in_every_language(mill, out, view, write_week)


def week_view(mill: Mill, period: Window, gaps: tuple[Gap, ...] = ()) -> WeekView:
    """Fill the view of one week."""
    run = latest_run(mill)
    known = published_store_of(mill).findings(withdrawn=True)
    report = view_of(mill, period, gaps)
    first = mill.local_day(period.start)
    last = mill.local_day(period.end - timedelta(microseconds=1))
    season, seen = report.season, settling_of(mill, period)
    course, methods = level_course(mill, lake_of(mill), period.end)
    if season is not None:
        season = season.filter(pl.col("day_local") <= last)
    return WeekView(
        report=replace(
            report, season=season, balance=_balance(mill, period), levers=season_levers(mill)
        ),
        first=first,
        last=last,
        shifts=_shifts(mill, period),
        shift_names=tuple(_USUAL.get(name, name) for name in mill.shifts.names)
        or (said("the day"),),
        shift_minutes=tuple(shift_lengths(mill.shifts.starts)),
        known=known,
        settling=seen.days,
        own=seen.own,
        crossing=seen.crossing,
        level=course,
        methods=methods,
        minutes=_around_fixes(mill, known, report.verdicts, run["as_of"]),
        run=run_health(mill, run),
        sharpness=_sharpness(mill, last),
        plausible=plausible(mill, period.start, period.end, report.lab, run_log_sd(run)),
    )


def _sharpness(mill: Mill, last: date) -> pl.DataFrame | None:
    """What the search of the search window that owns the week's end says of its features."""
    lake = lake_of(mill)
    days = [day for day in lake.feature_days(SHARPNESS) if day <= last]
    return lake.read_features(SHARPNESS, days[-1], days[-1]) if days else None


def _balance(mill: Mill, period: Window) -> pl.DataFrame | None:
    """The laboratory's days of the season up to the week's end."""
    lake = lake_of(mill)
    days = lake.feature_days(DAILY)
    if not days:
        return None
    last = mill.local_day(period.end - timedelta(microseconds=1))
    return lake.read_features(DAILY, days[0], last)


def _shifts(mill: Mill, period: Window) -> pl.DataFrame:
    """Sums by shift; the night that runs past the end of the week is taken whole."""
    first, last = period.days
    minutes = judged_minutes(mill, first, last + ONE_DAY)
    return shift_sums(minutes, mill.zone, mill.shifts.starts)


def _around_fixes(
    mill: Mill, known: pl.DataFrame, verdicts: pl.DataFrame | None, end: datetime
) -> pl.DataFrame | None:
    """Loss by minute from a week before the first finding called fixed."""
    if verdicts is None or verdicts.is_empty():
        return None
    fixed = verdicts.filter(pl.col("verdict") == "fixed")["finding_id"].to_list()
    starts = known.filter(pl.col("finding_id").is_in(fixed))["started"]
    if starts.is_empty():
        return None
    earliest = starts.min()
    if not isinstance(earliest, datetime):
        return None
    lake = lake_of(mill)
    return lake.read_features(LOSSES, (earliest - _AROUND_A_FIX).date(), end.date()).select(
        "ts_utc", "excess_kg_h"
    )
