"""A season is searched in stretches, so that a night's work does not grow with the season.

A stretch owns some weeks and sees a halo of weeks on either side: enough for the slow baseline, the
usual loss and the multiplier. Its findings are those that start in what it owns. Where stretches
lie follows from the first day with readings, the end of data and the look-back alone, and what one
says from the readings it sees alone. So it makes no difference whether a season came night by
night, late or in one piece: only stretches that see a changed day are searched again, and what the
others said stands in the lake.

The last stretch owns everything up to the end of data. It is parted only when the part left behind
sees its whole halo and no more days that the next nights work out again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

import polars as pl

from models.find import Losses
from pipeline.config import Mill
from pipeline.errors import ConfigError
from pipeline.lake import Lake
from pipeline.matching import Row, pair_up
from pipeline.report.days import bare_sums
from pipeline.sensors import judged_sensors
from pipeline.windows import (
    DAILY,
    LOSSES,
    NOTICES,
    ONE_DAY,
    STATION,
    Window,
    data_bounds,
    midnight,
    short_hash,
    stamp_of,
    worked_out,
)

#: Kinds in the lake, filed under the first day that a stretch owns.
FOUND: Final = "found"
SEARCHED: Final = "searched"
SENSOR_DAYS: Final = "sensor_days"
SHARPNESS: Final = "sharpness"
SUMS: Final = "sums"
#: Shortest halo [days]: the slow baseline takes a week either side, and an episode its own length.
_LEAST_HALO: Final = 14
#: Days that later readings may still change (`stages.WARM_UP_DAYS` and their neighbours).
_UNSETTLED: Final = 4
#: Silence between two seasons, which are then searched apart.
BETWEEN_SEASONS: Final = 21 * ONE_DAY
#: Findings this near to the border of a stretch may start on its other side for the neighbour.
_NEAR: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a season that is searched on its own.

    Attributes
    ----------
    owns : Window
        Findings that start in it are told by this stretch.
    sees : Window
        What is searched.
    open : bool
        It reaches to the end of data.
    """

    owns: Window
    sees: Window
    open: bool

    @property
    def day(self) -> date:
        """Day under which the lake files what it says."""
        return self.owns.start.date()


@dataclass(frozen=True, slots=True)
class SearchPlan:
    """What a search of the season has to do.

    Attributes
    ----------
    window : Window
        The whole season.
    inputs, stamp : str
        Hashes of its readings, and of description and versions.
    stretches : tuple of Stretch
        All of them, in order.
    anew : tuple of (Stretch, str)
        Those to search, each with the hash of the readings it sees.
    """

    window: Window
    inputs: str
    stamp: str
    stretches: tuple[Stretch, ...]
    anew: tuple[tuple[Stretch, str], ...]


def plan(mill: Mill, lake: Lake) -> list[Stretch]:
    """Stretches of all days worked out, in order.

    Raises
    ------
    DataError
        Nothing was worked out yet.
    """
    days = worked_out(mill, lake)
    begin, end = data_bounds(mill, lake, days)
    read = [day for day in lake.days() if days[0] <= day <= days[-1]] or days
    seasons = _seasons(read)
    found: list[Stretch] = []
    for first, last in seasons:
        start = begin if first == seasons[0][0] else midnight(first)
        over = end if last == seasons[-1][1] else midnight(last, 1)
        found += stretches(Window(start, over), mill.detection.look_back_days, open_=over == end)
    return found


def _seasons(days: Sequence[date]) -> list[tuple[date, date]]:
    """First and last day of each run of days without a long silence."""
    seasons: list[tuple[date, date]] = []
    for day in days:
        if seasons and day - seasons[-1][1] <= BETWEEN_SEASONS:
            seasons[-1] = (seasons[-1][0], day)
        else:
            seasons.append((day, day))
    return seasons


def stretches(season: Window, look_back_days: int, *, open_: bool = True) -> list[Stretch]:
    """Part a season.

    Parameters
    ----------
    season : Window
        From the first reading to the end of data.
    look_back_days : int
        What a stretch owns [days]; the last one owns more. A halo is half of it, two weeks at
        least.
    open_ : bool
        More readings are expected.
    """
    anchor = midnight(season.start.date())
    halo = max(look_back_days // 2, _LEAST_HALO) * ONE_DAY
    core = look_back_days * ONE_DAY
    parted = max((season.end - anchor - halo - _UNSETTLED * ONE_DAY) // core, 0)
    found = []
    for n in range(parted + 1):
        last = n == parted
        owns = Window(
            max(anchor + n * core, season.start), season.end if last else anchor + (n + 1) * core
        )
        sees = Window(max(owns.start - halo, season.start), min(owns.end + halo, season.end))
        found.append(Stretch(owns, sees, open_ and last))
    return found


def plan_search(mill: Mill, lake: Lake, first: date | None = None) -> SearchPlan:
    """Tell which stretches of the season have to be searched; see `pipeline.stages.detect`.

    Raises
    ------
    DataError
        Nothing was worked out yet.
    ConfigError
        The first day lies after the end of data.
    """
    planned = plan(mill, lake)
    window = Window(planned[0].owns.start, planned[-1].owns.end)
    anew = mill.day_start_utc(first) if first is not None else window.end
    if first is not None and anew >= window.end:
        raise ConfigError(
            f"The window starts on {first}, after the end of data.",
            f"data end at {window.end.astimezone(mill.tz):%Y-%m-%d %H:%M} local time",
            "Give an earlier first day, or pull newer exports.",
        )
    stamp, hashes, stale = stamp_of(mill), [], []
    for stretch in planned:
        known = searched(lake, stretch, stamp) if stretch.sees.end <= anew else None
        inputs = known["inputs"] if known else lake.readings_hash(*stretch.sees.days)
        hashes.append(inputs)
        if known is None:
            stale.append((stretch, inputs))
    inputs = hashes[0] if len(hashes) == 1 else short_hash(hashes)
    return SearchPlan(window, inputs, stamp, tuple(planned), tuple(stale))


# What a stretch said ------------------------------------------------------------------------------


def keep(mill: Mill, lake: Lake, stretch: Stretch, losses: Losses, stamp: str, inputs: str) -> None:
    """Keep what the search of a stretch said: for the report, and for the findings of the season.

    The row that makes it count is written last.

    Parameters
    ----------
    stamp : str
        Hash of description and versions.
    inputs : str
        Hash of the readings it saw.
    """
    _keep_series(lake, stretch, losses)
    _keep_daily(mill, lake, stretch, losses.daily)
    sensors = judged_sensors(mill, stretch.owns, losses)
    if sensors is not None:
        lake.write_features(SENSOR_DAYS, stretch.day, sensors)
    lake.write_features(SHARPNESS, stretch.day, losses.sharpness)
    lake.write_features(SUMS, stretch.day, _sums(mill, lake, stretch, losses.minutes))
    lake.write_features(FOUND, stretch.day, told_findings(stretch, losses))
    lake.write_features(SEARCHED, stretch.day, _told(stretch, losses, stamp, inputs))


def told_findings(stretch: Stretch, losses: Losses) -> pl.DataFrame:
    """Findings a stretch may tell: those that start in what it owns, or near to it."""
    near = pl.col("started").is_between(stretch.owns.start - _NEAR, stretch.owns.end + _NEAR)
    going_on = pl.col("open") & stretch.open
    return losses.findings.filter(near).with_columns(open=going_on)


def _told(stretch: Stretch, losses: Losses, stamp: str, inputs: str) -> pl.DataFrame:
    """How a stretch was searched; its hypotheses are counted for what it owns."""
    owned = (stretch.owns.end - stretch.owns.start) / (stretch.sees.end - stretch.sees.start)
    row = {
        "owns_start": stretch.owns.start,
        "owns_end": stretch.owns.end,
        "sees_start": stretch.sees.start,
        "sees_end": stretch.sees.end,
        "stamp": stamp,
        "inputs": inputs,
        "cells": losses.cells * owned,
        "minutes": round(losses.minutes.height * owned),
        "multiplier": losses.multiplier.value,
        "multiplier_low": losses.multiplier.low,
        "multiplier_high": losses.multiplier.high,
        "multiplier_pairs": losses.multiplier.pairs,
    }
    return pl.DataFrame([row], infer_schema_length=None)


def _keep_series(lake: Lake, stretch: Stretch, losses: Losses) -> None:
    """Keep the drawn series and the notices, one file a day; a notice belongs to its first day."""
    first, last = stretch.owns.days
    for n in range((last - first).days + 1):
        day = first + n * ONE_DAY
        lake.write_features(LOSSES, day, _of_day(losses.minutes, "ts_utc", day))
        lake.write_features(NOTICES, day, _of_day(losses.notices, "started", day))


def season_days(mill: Mill, lake: Lake) -> pl.DataFrame:
    """Sums of each local day of the season, see `pipeline.report.days.bare_sums`.

    What its stretches said of their own days; only a stretch that never said it is summed here,
    so that a report costs the same on every day of a season.
    """
    parts = [_sums_of(mill, lake, stretch) for stretch in plan(mill, lake)]
    # A local day may lie on both sides of a border.
    return pl.concat(parts).group_by("day_local").sum().sort("day_local")


def _sums_of(mill: Mill, lake: Lake, stretch: Stretch) -> pl.DataFrame:
    said = lake.read_features(SUMS, stretch.day, stretch.day)
    if not said.is_empty():
        return said
    losses = lake.read_features(LOSSES, *stretch.owns.days)
    return _sums(mill, lake, stretch, losses)


def _sums(mill: Mill, lake: Lake, stretch: Stretch, losses: pl.DataFrame) -> pl.DataFrame:
    """Sums of the minutes that a stretch owns, by local day."""
    fed = lake.read_features(STATION, *stretch.owns.days, ("ts_utc", "sucrose_feed_kg_h"))
    owned = pl.col("ts_utc").is_between(stretch.owns.start, stretch.owns.end, closed="left")
    minutes = (
        losses.filter(owned)
        .join(fed, on="ts_utc", how="left")
        .with_columns(day_local=pl.col("ts_utc").dt.convert_time_zone(mill.zone).dt.date())
    )
    return bare_sums(minutes, ["day_local"])


def _of_day(frame: pl.DataFrame, column: str, day: date) -> pl.DataFrame:
    return frame.filter(pl.col(column).is_between(midnight(day), midnight(day, 1), closed="left"))


def _keep_daily(mill: Mill, lake: Lake, stretch: Stretch, daily: pl.DataFrame) -> None:
    """Keep the laboratory's day beside that of kinetics, one file a local day.

    A local day is told by the stretch in which it begins; the first one may begin before any data.
    """
    for (day,), row in daily.partition_by("day", as_dict=True).items():
        begins = max(mill.day_start_utc(day), stretch.sees.start)
        if stretch.owns.start <= begins < stretch.owns.end:
            lake.write_features(DAILY, day, row)


def searched(lake: Lake, stretch: Stretch, stamp: str) -> dict[str, Any] | None:
    """How a stretch was searched, or None when that has to be done (again)."""
    told = lake.read_features(SEARCHED, stretch.day, stretch.day)
    if told.is_empty():
        return None
    row = told.row(0, named=True)
    same = (
        row["owns_start"] == stretch.owns.start
        and row["owns_end"] == stretch.owns.end
        and row["sees_start"] == stretch.sees.start
        and row["sees_end"] == stretch.sees.end
        and row["stamp"] == stamp
    )
    return row if same else None


def forget(lake: Lake, days: Sequence[date]) -> None:
    """Let every stretch that sees one of these UTC days be searched again."""
    if not days:
        return
    first, last = midnight(min(days)), midnight(max(days), 1)
    for day in lake.feature_days(SEARCHED):
        row = lake.read_features(SEARCHED, day, day).row(0, named=True)
        if row["sees_start"] < last and row["sees_end"] > first:
            lake.drop_features(SEARCHED, day)


def season_rows(parts: Sequence[tuple[Stretch, pl.DataFrame]]) -> list[Row]:
    """Findings of a season from those of its stretches, each told once.

    Parameters
    ----------
    parts : sequence of (Stretch, DataFrame)
        In order; findings as `keep` keeps them.

    Notes
    -----
    Two neighbours may see one loss start on different sides of their border. The earlier one's
    view is then told; without a counterpart, a finding is told by the stretch it starts in.
    """
    rows = [frame.to_dicts() for _, frame in parts]
    told = [[stretch.owns.start <= row["started"] < stretch.owns.end for row in of]
            for (stretch, _), of in zip(parts, rows, strict=True)]  # fmt: skip
    for n in range(1, len(parts)):
        border = parts[n][0].owns.start
        if parts[n - 1][0].owns.end != border:
            continue
        before = _near(rows[n - 1], border)
        after = _near(rows[n], border)
        known, new = ([of[i] for i in at] for of, at in ((rows[n - 1], before), (rows[n], after)))
        for i, j in pair_up(known, new).items():
            earlier, later = before[j], after[i]
            told[n - 1][earlier], told[n][later] = True, False
    return [
        row
        for of, tells in zip(rows, told, strict=True)
        for row, tell in zip(of, tells, strict=True)
        if tell
    ]


def _near(rows: Sequence[Row], border: datetime) -> list[int]:
    return [n for n, row in enumerate(rows) if abs(row["started"] - border) <= _NEAR]
