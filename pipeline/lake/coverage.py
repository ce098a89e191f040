"""Which days and readings the lake of a mill holds."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Final

import polars as pl

from features.base import polars_schema
from features.signal import QUALITY_COLUMNS
from pipeline.base import ONE_DAY, DataError, midnight, said
from pipeline.lake.kinds import HEALTH, SEARCHED, STATION
from pipeline.lake.lake import Lake
from pipeline.mill import Mill

#: Silence between two seasons, which are then searched apart.
BETWEEN_SEASONS: Final = 21 * ONE_DAY


def lake_of(mill: Mill) -> Lake:
    """Lake of a mill."""
    return Lake(mill.lake_path)


def worked_out(mill: Mill, lake: Lake) -> list[date]:
    """UTC days that can be searched: of each season the last ones that follow one another.

    Of seasons before the last one only those that no search has seen, so that a night does not
    plan ten years anew.

    Raises
    ------
    DataError
        Nothing was worked out yet.
    """
    seasons = seasons_of(lake.feature_days(STATION))
    if not seasons:
        raise DataError(
            said("Nothing was worked out yet, so there is nothing to search."),
            str(mill.lake_path),
            said("Pull exports with lostpol pull, then run lostpol backfill."),
        )
    known = lake.feature_days(SEARCHED)
    asked = [
        days
        for days in seasons
        if days is seasons[-1] or not any(days[0] <= day <= days[-1] for day in known)
    ]
    return [day for days in asked for day in _unbroken(days)]


def seasons_of(days: Sequence[date]) -> list[list[date]]:
    """Days in runs without a long silence."""
    seasons: list[list[date]] = []
    for day in sorted(days):
        if seasons and day - seasons[-1][-1] <= BETWEEN_SEASONS:
            seasons[-1].append(day)
        else:
            seasons.append([day])
    return seasons


def _unbroken(days: Sequence[date]) -> list[date]:
    """Keep the last days that follow one another: a search needs every minute."""
    kept: list[date] = []
    for day in reversed(days):
        if kept and kept[-1] - day != ONE_DAY:
            break
        kept.append(day)
    return kept[::-1]


def tag_health(mill: Mill, first: date, last: date) -> pl.DataFrame:
    """Count readings and bad ones of every tag of the mill over some UTC days.

    Returns
    -------
    polars.DataFrame
        tag, readings, bad, reasons (bad ones by reason in words, most frequent first); a tag
        without readings has zeros.
    """
    counts = lake_of(mill).read_features(HEALTH, first, last)
    if counts.is_empty():
        counts = polars_schema(QUALITY_COLUMNS).to_frame()
    by_reason = (
        counts.group_by("tag", "reason")
        .agg(pl.col("readings").sum())
        .sort("readings", "reason", descending=[True, False])
    )
    words = pl.format("{} {}", "readings", pl.col("reason").str.replace_all("_", " ", literal=True))
    is_bad = pl.col("reason") != "good"
    totals = by_reason.group_by("tag", maintain_order=True).agg(
        pl.col("readings").sum(),
        bad=pl.col("readings").filter(is_bad).sum(),
        reasons=words.filter(is_bad).str.join(", "),
    )
    known = pl.DataFrame({"tag": sorted(mill.unit_changes)}, schema={"tag": pl.String})
    return known.join(totals, on="tag", how="left", maintain_order="left").with_columns(
        pl.col("readings", "bad").fill_null(0), pl.col("reasons").fill_null("")
    )


def data_bounds(mill: Mill, lake: Lake, days: Sequence[date]) -> tuple[datetime, datetime]:
    """First minute with a reading, and the end of the last one, among days worked out."""
    tags = [s.tag for s in mill.station.signals if not s.beside]
    first = last = None
    for day in days:
        if isinstance(first := lake.read_readings(day, day, tags)["ts_utc"].min(), datetime):
            break
    for day in reversed(days):  # the laboratory may be days ahead of the plant's exports
        if isinstance(last := lake.read_readings(day, day, tags)["ts_utc"].max(), datetime):
            break
    if not isinstance(first, datetime) or not isinstance(last, datetime):
        return midnight(days[0]), midnight(days[-1], 1)
    begin, end = (edge.replace(second=0, microsecond=0) for edge in (first, last))
    return begin, end + timedelta(minutes=1)
