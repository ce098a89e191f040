"""Which days have to be worked out again, and how one day is.

A derived day depends on the grids of that day, of the `WARM_UP_DAYS` before it and of the day
after it; a grid depends on the readings of its day and its two neighbours; and on nothing else.
So a day is the same whether a nightly run or a backfill worked it out.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

import polars as pl

from features.base import brix_pct, by_tag, lab_results, purity_pct
from features.flow import derive as derive_minutes
from features.signal import quality_counts, screen, second_day, sensor_day, to_grid
from pipeline.base import ONE_DAY, midnight
from pipeline.lake import GRID, HEALTH, SENSORS, STATION, ZONES, Lake
from pipeline.mill import Mill
from pipeline.store import Store

#: Days before a day whose readings may still be in the juice that leaves on that day: a weekend
#: stop and the hours the station takes.
WARM_UP_DAYS: Final = 2
#: How far past midnight the grid is read, to bridge gaps that span it.
BEYOND: Final = timedelta(hours=2)


def changed_days(mill: Mill, store: Store, waiting: set[date], span: set[date]) -> set[date]:
    """Days to work out again: all when the description is not what the last run used."""
    if not store.path.exists():
        return span
    runs = store.runs().filter(pl.col("state") == "finished").sort("finished_at")
    if runs.is_empty() or runs["config_hash"][-1] == mill.config_hash:
        return waiting
    return span


def reach_of(
    asked: set[date], span: set[date], gridded: set[date]
) -> tuple[list[date], list[date]]:
    """Days to grid and days to derive when the readings of `asked` changed."""
    changed = {day + n * ONE_DAY for day in asked for n in (-1, 0, 1)} & span
    reach = range(-1, WARM_UP_DAYS + 1)
    minutes = {day + n * ONE_DAY for day in changed for n in reach} & span
    needed = {day - n * ONE_DAY for day in minutes for n in reach} & span
    return sorted(changed | (needed - gridded)), sorted(minutes)


def days_of(lake: Lake) -> list[date]:
    """Every UTC day from the first to the last with readings; days without any stay in it."""
    days = lake.days()
    if not days:
        return []
    return [days[0] + n * ONE_DAY for n in range((days[-1] - days[0]).days + 1)]


def grid_day(mill: Mill, lake: Lake, day: date) -> None:
    """Screen and grid one UTC day; its neighbours carry values over midnight."""
    signals = mill.station.signals
    known = [*(s.tag for s in signals), *(s.tag for s in mill.station.lab)]
    sound = screen(
        lake.read_readings(day - ONE_DAY, day + ONE_DAY, known, keep=True),
        signals,
        mill.station.lab,
    )
    start, end = midnight(day), midnight(day, 1)
    parts = by_tag(sound)
    grid = to_grid(parts, signals, start, end)
    lab = lab_results(parts, mill.station)
    purity = purity_pct(grid["ts_utc"], lab, "mixed_juice")
    brix = brix_pct(grid["ts_utc"], lab, "mixed_juice")
    # Loss must stay known where the laboratory is silent, so the target stands in.
    purity = purity.fill_null(mill.station.targets.purity_pct)
    lake.write_features(
        GRID, day, grid.with_columns(purity_mixed_juice_pct=purity, brix_mixed_juice_lab_pct=brix)
    )
    of_day = sound.filter(pl.col("ts_utc").is_between(start, end, closed="left"))
    lake.write_features(HEALTH, day, quality_counts(of_day))
    counts = sensor_day(parts, signals, start, end)
    beside = second_day(grid, signals)
    lake.write_features(
        SENSORS, day, counts.join(beside, on="tag", how="left", maintain_order="left")
    )


def derive_day(mill: Mill, lake: Lake, day: date) -> None:
    """Work out one UTC day, warmed up on the days before; the day after ends gaps at midnight."""
    grid = lake.read_features(GRID, day - WARM_UP_DAYS * ONE_DAY, day + ONE_DAY)
    derived = derive_minutes(
        grid.filter(pl.col("ts_utc") < midnight(day, 1) + BEYOND), mill.station
    )
    of_day = pl.col("ts_utc").is_between(midnight(day), midnight(day, 1), closed="left")
    lake.write_features(STATION, day, derived.station_minutes.filter(of_day))
    lake.write_features(ZONES, day, derived.zone_minutes.filter(of_day))
