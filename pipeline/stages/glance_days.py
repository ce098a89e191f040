"""Days of the lake brought down to what a glance at a season shows: hours, stops, extremes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.account import bare_sums
from pipeline.base import ONE_DAY, midnight
from pipeline.lake import GRID, LOSSES, STATION, Lake

DAY_MIN: Final = 1440
#: Minutes in a cell of the extremes of readings.
COARSE_MIN: Final = 15
#: What tells how sure a sum is.
_ERRORS: Final = ("level_log_sd", "ph_sd", "ph_memory_h")
_LOSS: Final = ("ts_utc", "unavoidable_kg_h", "excess_kg_h", "measured", *_ERRORS)
_STATION: Final = ("ts_utc", "sucrose_feed_kg_h", "stopped")
#: Most days read at once: a season in full takes gigabytes.
_AT_ONCE: Final = 30


@dataclass
class Day:
    """What is kept of a UTC day of the lake, and of which files it is."""

    of: str
    hours: pl.DataFrame
    stopped: NDArray[np.bool_]


def hours_marks(lake: Lake) -> dict[date, str]:
    """What tells one content of the days of losses and station from another."""
    losses, station = (lake.feature_signatures(kind) for kind in (LOSSES, STATION))
    return {day: repr((mark, station.get(day))) for day, mark in losses.items()}


def readings_marks(lake: Lake, names: Sequence[str]) -> dict[date, str]:
    """What tells one content of the days of readings of some signals from another."""
    return {day: repr((mark, *names)) for day, mark in lake.feature_signatures(GRID).items()}


def hours_of_days(lake: Lake, days: Iterable[date], marks: Mapping[date, str]) -> dict[date, Day]:
    """Sums of each hour and minutes of stops of some days, from the minutes in the lake."""
    found = {}
    for part in _runs_of(days):
        span = (part[0], part[-1])
        minutes = lake.read_features(LOSSES, *span, _LOSS)
        fed = lake.read_features(STATION, *span, _STATION)
        for day, kept in _summed(minutes, fed).items():
            found[day] = Day(marks[day], *kept)
    return found


def _runs_of(days: Iterable[date]) -> list[list[date]]:
    """Days that follow one another, together: read in one go."""
    runs: list[list[date]] = []
    for day in sorted(days):
        if runs and day - runs[-1][-1] == ONE_DAY and len(runs[-1]) < _AT_ONCE:
            runs[-1].append(day)
        else:
            runs.append([day])
    return runs


def _summed(
    minutes: pl.DataFrame, fed: pl.DataFrame
) -> dict[date, tuple[pl.DataFrame, NDArray[np.bool_]]]:
    """Sums of each hour, and the minutes of stops, by UTC day."""
    # Days that an older version searched do not say how sure they are.
    lacking = [n for n in _ERRORS if n not in minutes.columns]
    minutes = minutes.with_columns(pl.lit(None, dtype=pl.Float64).alias(n) for n in lacking)
    joined = minutes.join(fed, on="ts_utc", how="left").with_columns(
        hour=pl.col("ts_utc").dt.truncate("1h"), stopped=pl.col("stopped").fill_null(value=False)
    )
    stops = joined.group_by("hour").agg(stopped_min=pl.col("stopped").sum().cast(pl.Int64))
    hours = bare_sums(joined, ["hour"]).join(stops, on="hour", how="left").sort("hour")
    by_day = hours.with_columns(day=pl.col("hour").dt.date()).partition_by("day", as_dict=True)
    found = {}
    stood = joined.filter(pl.col("stopped")).select(
        day=pl.col("ts_utc").dt.date(),
        at=pl.col("ts_utc").dt.hour().cast(pl.Int64) * 60 + pl.col("ts_utc").dt.minute(),
    )
    at = {key[0]: part["at"].to_numpy() for key, part in stood.partition_by(
        "day", as_dict=True).items()}  # fmt: skip
    for (day,), part in by_day.items():
        stopped = np.zeros(DAY_MIN, dtype=bool)
        stopped[at.get(day, [])] = True
        found[day] = part.drop("day"), stopped
    return found


def minutes_of_days(
    lake: Lake, names: Sequence[str], days: Iterable[date]
) -> dict[date, NDArray[np.float32]]:
    """Readings by signal and minute of some days; NaN where there is none."""
    found = {}
    for part in _runs_of(days):
        frame = lake.read_features(GRID, part[0], part[-1], ["ts_utc", *names])
        found.update(_as_arrays(frame, names, part))
    return found


def _as_arrays(
    frame: pl.DataFrame, names: Sequence[str], days: Sequence[date]
) -> dict[date, NDArray[np.float32]]:
    out = np.full((len(names), len(days) * DAY_MIN), np.nan, dtype=np.float32)
    at = (frame["ts_utc"] - midnight(days[0])).dt.total_minutes().to_numpy()
    inside = (at >= 0) & (at < out.shape[1])
    for number, name in enumerate(names):
        if name in frame.columns:
            # Missing is NaN in arrays, and a column of nothing has no numbers at all.
            values = frame[name].cast(pl.Float32).fill_null(float("nan")).to_numpy()
            out[number, at[inside]] = values[inside]
    return {d: out[:, n * DAY_MIN : (n + 1) * DAY_MIN] for n, d in enumerate(days)}


def extremes_of(
    fine: NDArray[np.float32],
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Lowest and highest reading of each quarter of an hour, by signal; NaN where there is none."""
    blocks = fine.reshape(len(fine), -1, COARSE_MIN)
    return np.fmin.reduce(blocks, axis=2), np.fmax.reduce(blocks, axis=2)
