"""Days of the lake put one behind the other: hours and stops of a whole season."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from pipeline.stages import DAY_MIN, Day


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
