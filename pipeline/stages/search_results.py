"""What the search of a search window said: kept in the lake, and joined for the season."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import Any, Final

import polars as pl

from features.base import polars_schema
from models.account import SUM_COLUMNS, bare_sums, pooled
from models.detect import UNCALIBRATED_COLUMNS
from models.find import Losses
from models.level import COURSE_COLUMNS, METHOD_COLUMNS
from pipeline.base import ONE_DAY, DataError, Window, midnight
from pipeline.lake import (
    DAILY,
    DRIVEN,
    FOUND,
    LEVEL,
    LOSSES,
    METHODS,
    NOTICES,
    SEARCHED,
    SEARCHED_COLUMNS,
    SENSOR_DAYS,
    SHARPNESS,
    STATION,
    SUMS,
    UNCALIBRATED,
    Lake,
)
from pipeline.mill import Mill
from pipeline.period import notes_of, told_findings
from pipeline.stages.search_windows import SearchWindow, plan
from pipeline.stages.sensors import judged_sensors
from pipeline.store import Row, pair_up
from pipeline.words import said

#: Findings this near to the border of a search window may start on its other side for the
#: neighbour.
_NEAR: Final = timedelta(days=1)


def keep(
    mill: Mill, lake: Lake, search_window: SearchWindow, losses: Losses, stamp: str, inputs: str
) -> None:
    """Keep the results of one search window, for the report and the findings of the season.

    The row that makes it count is written last.

    Parameters
    ----------
    stamp : str
        Hash of description and versions.
    inputs : str
        Hash of the readings it saw.
    """
    _keep_series(lake, search_window, losses, losses.notices)
    _keep_daily(mill, lake, search_window, losses.daily)
    sensors = judged_sensors(mill, search_window.owns, losses)
    if sensors is not None:
        lake.write_features(SENSOR_DAYS, search_window.day, sensors)
    lake.write_features(SHARPNESS, search_window.day, losses.sharpness)
    lake.write_features(LEVEL, search_window.day, losses.level)
    lake.write_features(METHODS, search_window.day, losses.methods)
    lake.write_features(UNCALIBRATED, search_window.day, losses.uncalibrated)
    lake.write_features(SUMS, search_window.day, _sums(mill, lake, search_window, losses.minutes))
    found = owned_findings(search_window, losses)
    lake.write_features(
        FOUND, search_window.day, told_findings(mill, found, losses.minutes, notes_of(mill))
    )
    lake.write_features(SEARCHED, search_window.day, _told(search_window, losses, stamp, inputs))


def owned_findings(search_window: SearchWindow, losses: Losses) -> pl.DataFrame:
    """Findings a search window may tell: those that start in what it owns, or near to it."""
    near = pl.col("started").is_between(
        search_window.owns.start - _NEAR, search_window.owns.end + _NEAR
    )
    going_on = pl.col("open") & search_window.open
    return losses.findings.filter(near).with_columns(open=going_on)


def _told(search_window: SearchWindow, losses: Losses, stamp: str, inputs: str) -> pl.DataFrame:
    """How a search window was searched; its hypotheses are counted for what it owns."""
    owned = (search_window.owns.end - search_window.owns.start) / (
        search_window.sees.end - search_window.sees.start
    )
    row = {
        "owns_start": search_window.owns.start,
        "owns_end": search_window.owns.end,
        "sees_start": search_window.sees.start,
        "sees_end": search_window.sees.end,
        "stamp": stamp,
        "inputs": inputs,
        "cells": losses.cells * owned,
        "minutes": round(losses.minutes.height * owned),
        "multiplier": losses.multiplier.value,
        "multiplier_low": losses.multiplier.low,
        "multiplier_high": losses.multiplier.high,
        "multiplier_pairs": losses.multiplier.pairs,
    }
    return pl.DataFrame([row], schema=polars_schema(SEARCHED_COLUMNS))


def _keep_series(
    lake: Lake, search_window: SearchWindow, losses: Losses, notices: pl.DataFrame
) -> None:
    """Keep the drawn series and the notices, one file a day; a notice belongs to its first day."""
    first, last = search_window.owns.days
    days = [first + n * ONE_DAY for n in range((last - first).days + 1)]
    lake.write_days(piece for day in days for piece in _series_of(losses, notices, day))
    if losses.driven is not None:
        driven = losses.driven.by_day([(midnight(day), midnight(day, 1)) for day in days])
        lake.write_days((DRIVEN, day, of) for day, of in zip(days, driven, strict=True))


def _series_of(
    losses: Losses, notices: pl.DataFrame, day: date
) -> Iterator[tuple[str, date, pl.DataFrame]]:
    yield LOSSES, day, _of_day(losses.minutes, "ts_utc", day)
    yield NOTICES, day, _of_day(notices, "started", day)


def season_days(mill: Mill, lake: Lake) -> pl.DataFrame:
    """Sums of each local day of the season, see `pipeline.report.days.bare_sums`.

    What its search windows said of their own days; only a search window that never said it is
    summed here, so that a report costs the same on every day of a season.
    """
    parts = [_sums_of(mill, lake, search_window) for search_window in plan(mill, lake)]
    if any(set(SUM_COLUMNS) - {*part.columns} for part in parts):
        raise DataError(
            said(
                "The season was searched by an older lostpol, which kept less than reports need "
                "now."
            ),
            str(mill.lake_path),
            said("Run lostpol backfill for this mill once: it searches the season again."),
        )
    # A local day may lie on both sides of a border.
    return pooled(pl.concat(parts), ["day_local"])


def level_course(mill: Mill, lake: Lake, until: datetime) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The kinetic level week by week, and what methods are off by, as searched up to a moment.

    Returns
    -------
    course, methods : DataFrame
        Columns of ``models.level.COURSE_COLUMNS`` and ``METHOD_COLUMNS``; each search window tells
        the weeks that it owns, the last one the methods. Empty where no search kept them.
    """
    course = pl.DataFrame(schema=polars_schema(COURSE_COLUMNS))
    methods = pl.DataFrame(schema=polars_schema(METHOD_COLUMNS))
    for search_window in plan(mill, lake):
        owns, day = search_window.owns, search_window.day
        if owns.start >= until:
            break
        told = lake.read_features(LEVEL, day, day)
        if told.width:
            inside = pl.col("ts_utc").is_between(owns.start, min(owns.end, until), closed="left")
            course = pl.concat([course, told.filter(inside)])
            methods = lake.read_features(METHODS, day, day)
    return course, methods


def uncalibrated_channels(mill: Mill, lake: Lake, period: Window) -> pl.DataFrame:
    """Channels whose chance could not be learnt in a search window that owns a part of a period.

    Returns
    -------
    DataFrame
        Columns of ``models.detect.UNCALIBRATED_COLUMNS``, each row once, sorted; a search window
        that never said it adds none.
    """
    told = [pl.DataFrame(schema=polars_schema(UNCALIBRATED_COLUMNS))]
    for search_window in plan(mill, lake):
        owns = search_window.owns
        if owns.start < period.end and owns.end > period.start:
            frame = lake.read_features(UNCALIBRATED, search_window.day, search_window.day)
            told += [frame] if frame.width else []
    return pl.concat(told).unique().sort(list(UNCALIBRATED_COLUMNS))


def _sums_of(mill: Mill, lake: Lake, search_window: SearchWindow) -> pl.DataFrame:
    text = lake.read_features(SUMS, search_window.day, search_window.day)
    if not text.is_empty():
        return text
    losses = lake.read_features(LOSSES, *search_window.owns.days)
    return _sums(mill, lake, search_window, losses)


def _sums(
    mill: Mill, lake: Lake, search_window: SearchWindow, losses: pl.DataFrame
) -> pl.DataFrame:
    """Sums of the minutes that a search window owns, by local day."""
    fed = lake.read_features(STATION, *search_window.owns.days, ("ts_utc", "sucrose_feed_kg_h"))
    owned = pl.col("ts_utc").is_between(
        search_window.owns.start, search_window.owns.end, closed="left"
    )
    minutes = (
        losses.filter(owned)
        .join(fed, on="ts_utc", how="left")
        .with_columns(day_local=pl.col("ts_utc").dt.convert_time_zone(mill.zone).dt.date())
    )
    return bare_sums(minutes, ["day_local"])


def _of_day(frame: pl.DataFrame, column: str, day: date) -> pl.DataFrame:
    return frame.filter(pl.col(column).is_between(midnight(day), midnight(day, 1), closed="left"))


def _keep_daily(mill: Mill, lake: Lake, search_window: SearchWindow, daily: pl.DataFrame) -> None:
    """Keep the laboratory's day beside that of kinetics, one file a local day.

    A local day is told by the search window in which it begins; the first one may begin before any
    data.
    """
    for (day,), row in daily.partition_by("day", as_dict=True).items():
        begins = max(mill.day_start_utc(day), search_window.sees.start)
        if search_window.owns.start <= begins < search_window.owns.end:
            lake.write_features(DAILY, day, row)


def searched(lake: Lake, search_window: SearchWindow, stamp: str) -> dict[str, Any] | None:
    """How a search window was searched, or None when that has to be done (again)."""
    facts = lake.read_features(SEARCHED, search_window.day, search_window.day)
    if facts.is_empty():
        return None
    row = facts.row(0, named=True)
    same = (
        row["owns_start"] == search_window.owns.start
        and row["owns_end"] == search_window.owns.end
        and row["sees_start"] == search_window.sees.start
        and row["sees_end"] == search_window.sees.end
        and row["stamp"] == stamp
    )
    return row if same else None


def forget(lake: Lake, days: Sequence[date]) -> None:
    """Let every search window that sees one of these UTC days be searched again."""
    if not days:
        return
    first, last = midnight(min(days)), midnight(max(days), 1)
    for day in lake.feature_days(SEARCHED):
        row = lake.read_features(SEARCHED, day, day).row(0, named=True)
        if row["sees_start"] < last and row["sees_end"] > first:
            lake.drop_features(SEARCHED, day)


def season_rows(parts: Sequence[tuple[SearchWindow, pl.DataFrame]]) -> list[Row]:
    """Findings of a season from those of its search windows, each told once.

    Parameters
    ----------
    parts : sequence of (SearchWindow, DataFrame)
        In order; findings as `keep` keeps them.

    Notes
    -----
    Two neighbours may see one loss start on different sides of their border. The earlier one's
    view is then told; without a counterpart, a finding is told by the search window it starts in.
    """
    rows = [frame.to_dicts() for _, frame in parts]
    facts = [[search_window.owns.start <= row["started"] < search_window.owns.end for row in of]
            for (search_window, _), of in zip(parts, rows, strict=True)]  # fmt: skip
    for n in range(1, len(parts)):
        border = parts[n][0].owns.start
        if parts[n - 1][0].owns.end != border:
            continue
        before = _near(rows[n - 1], border)
        after = _near(rows[n], border)
        known, new = ([of[i] for i in at] for of, at in ((rows[n - 1], before), (rows[n], after)))
        for i, j in pair_up(known, new).items():
            earlier, later = before[j], after[i]
            facts[n - 1][earlier], facts[n][later] = True, False
    return [
        row
        for of, tells in zip(rows, facts, strict=True)
        for row, tell in zip(of, tells, strict=True)
        if tell
    ]


def _near(rows: Sequence[Row], border: datetime) -> list[int]:
    return [n for n, row in enumerate(rows) if abs(row["started"] - border) <= _NEAR]
