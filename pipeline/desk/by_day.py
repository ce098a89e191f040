"""Days of the lake as the desk keeps them: sums of hours, minutes of stops, readings as arrays."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.account import bare_sums
from pipeline.base import ONE_DAY, midnight

DAY_MIN: Final = 1440
#: What tells how sure a sum is.
ERRORS: Final = ("level_log_sd", "ph_sd", "ph_memory_h")


@dataclass
class Day:
    """What is kept of a UTC day of the lake, and of which files it is."""

    of: Hashable
    hours: pl.DataFrame
    stopped: NDArray[np.bool_]


def runs_of(days: Iterable[date]) -> list[list[date]]:
    """Days that follow one another, together: read in one go."""
    runs: list[list[date]] = []
    for day in sorted(days):
        if runs and day - runs[-1][-1] == ONE_DAY:
            runs[-1].append(day)
        else:
            runs.append([day])
    return runs


def days_of(
    minutes: pl.DataFrame, fed: pl.DataFrame
) -> dict[date, tuple[pl.DataFrame, NDArray[np.bool_]]]:
    """Sums of each hour, and the minutes of stops, by UTC day."""
    # Days that an older version searched do not say how sure they are.
    lacking = [n for n in ERRORS if n not in minutes.columns]
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


def minutes_of(
    frame: pl.DataFrame, names: Sequence[str], days: Sequence[date]
) -> dict[date, NDArray[np.float32]]:
    """Readings by signal and minute of days that follow one another; NaN where there is none."""
    out = np.full((len(names), len(days) * DAY_MIN), np.nan, dtype=np.float32)
    at = (frame["ts_utc"] - midnight(days[0])).dt.total_minutes().to_numpy()
    inside = (at >= 0) & (at < out.shape[1])
    for number, name in enumerate(names):
        if name in frame.columns:
            # Missing is NaN in arrays, and a column of nothing has no numbers at all.
            values = frame[name].cast(pl.Float32).fill_null(float("nan")).to_numpy()
            out[number, at[inside]] = values[inside]
    return {d: out[:, n * DAY_MIN : (n + 1) * DAY_MIN] for n, d in enumerate(days)}


def whole_hours(days: dict[date, Day], start: datetime, end: datetime) -> pl.DataFrame:
    """Every hour of the season once, null where nothing was worked out."""
    axis = pl.datetime_range(start, end, "1h", eager=True, closed="left", time_unit="us")
    hours = pl.concat([days[day].hours for day in sorted(days)])
    return pl.DataFrame({"hour": axis.dt.replace_time_zone(None).dt.replace_time_zone("UTC")}).join(
        hours, on="hour", how="left", maintain_order="left"
    )


def stops(days: dict[date, Day], start: datetime, end: datetime) -> list[tuple[datetime, datetime]]:
    """Stops of the station, from its minutes."""
    count = round((end - start) / timedelta(minutes=1))
    stopped = np.zeros(count + 2, dtype=np.int8)
    for day, kept in days.items():
        at = 1 + (day - start.date()).days * DAY_MIN
        stopped[at : at + DAY_MIN] = kept.stopped
    change = np.diff(stopped)
    begins, ends = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    return [
        (start + timedelta(minutes=int(a)), start + timedelta(minutes=int(b)))
        for a, b in zip(begins, ends, strict=True)
    ]
