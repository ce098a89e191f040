"""A season at a glance, kept in two small files beside the findings for whoever only looks.

The first view of a season should not wait for half a year of minutes. When a run ends, the sums of
each hour and the extremes of each quarter of an hour are kept; each row says of which files of the
lake it is. What has changed since is read from the lake, so that these files may be old, damaged or
gone: looking then takes longer, and shows the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from models.account import SUM_COLUMNS
from pipeline.base import LostpolError, keep_private
from pipeline.lake import lake_of, replace_file
from pipeline.mill import Mill
from pipeline.stages.glance_days import (
    COARSE_MIN,
    DAY_MIN,
    Day,
    extremes_of,
    hours_marks,
    hours_of_days,
    minutes_of_days,
    readings_marks,
)

#: Lowest and highest reading of each quarter of an hour of a day, by signal.
Extremes = tuple[NDArray[np.float32], NDArray[np.float32]]
_CELLS: Final = DAY_MIN // COARSE_MIN
_HOUR_COLUMNS: Final = ("hour", *SUM_COLUMNS, "stopped_min")


def hours_path(mill: Mill) -> Path:
    """File of the sums of each hour."""
    return mill.store_path / "season_hours.parquet"


def readings_path(mill: Mill) -> Path:
    """File of the extremes of each quarter of an hour."""
    return mill.store_path / "season_readings.parquet"


def keep_season(mill: Mill) -> None:
    """Bring both files up to date; a run does not fail where that cannot be done."""
    with suppress(LostpolError, OSError):
        _keep_hours(mill)
        _keep_readings(mill)


def _keep_hours(mill: Mill) -> None:
    lake, kept = lake_of(mill), kept_hours(mill)
    marks = hours_marks(lake)
    fresh = {day: kept[day] for day in kept if marks.get(day) == kept[day].of}
    stale = [day for day in marks if day not in fresh]
    if stale or len(fresh) != len(kept):
        _write(hours_path(mill), _hours_table(fresh | hours_of_days(lake, stale, marks)))


def _hours_table(days: Mapping[date, Day]) -> pl.DataFrame:
    parts = []
    for day in sorted(days):
        minute = days[day].stopped.reshape(24, 60)
        bits = (minute * (1 << np.arange(60, dtype=np.uint64))).sum(axis=1, dtype=np.uint64)
        at = days[day].hours["hour"].dt.hour().to_numpy()
        parts.append(
            days[day].hours.with_columns(
                stopped=pl.Series(bits[at]), mark=pl.lit(days[day].of, dtype=pl.String)
            )
        )
    return pl.concat(parts) if parts else pl.DataFrame()


def kept_hours(mill: Mill) -> dict[date, Day]:
    """Days as they were kept last; empty where none are, or the file cannot be used."""
    frame = _read(hours_path(mill))
    if not {*_HOUR_COLUMNS, "stopped", "mark"} <= set(frame.columns):
        return {}
    found = {}
    days = frame.with_columns(day=pl.col("hour").dt.date())
    for (day,), part in days.partition_by("day", as_dict=True, maintain_order=True).items():
        stopped = np.zeros((24, 60), dtype=bool)
        bits = part["stopped"].to_numpy()[:, np.newaxis] >> np.arange(60, dtype=np.uint64)
        stopped[part["hour"].dt.hour().to_numpy()] = (bits & np.uint64(1)).astype(bool)
        hours = part.select(_HOUR_COLUMNS)
        found[day] = Day(part["mark"][0], hours, stopped.ravel())
    return found


def _keep_readings(mill: Mill) -> None:
    lake = lake_of(mill)
    names = [signal.name for signal in mill.station.signals]
    marks = readings_marks(lake, names)
    kept = kept_readings(mill, names)
    fresh = {day: kept[day] for day in kept if marks.get(day) == kept[day][0]}
    stale = [day for day in marks if day not in fresh]
    if not stale and len(fresh) == len(kept):
        return
    minutes = minutes_of_days(lake, names, stale)
    new = {day: (marks[day], extremes_of(fine)) for day, fine in minutes.items()}
    _write(readings_path(mill), _readings_table(names, fresh | new))


def _readings_table(
    names: Sequence[str], days: Mapping[date, tuple[str, Extremes]]
) -> pl.DataFrame:
    order = sorted(days)
    columns: dict[str, pl.Series] = {
        "day": pl.Series([d for d in order for _ in range(_CELLS)], dtype=pl.Date),
        "mark": pl.Series([days[d][0] for d in order for _ in range(_CELLS)], dtype=pl.String),
    }
    for side, which in (("low", 0), ("high", 1)):
        values = [days[d][1][which] for d in order]
        whole = np.concatenate(values, axis=1) if values else np.zeros((len(names), 0))
        # By number: a name of a signal may hold anything.
        for n in range(len(names)):
            columns[f"{side}_{n}"] = pl.Series(whole[n].astype(np.float32))
    return pl.DataFrame(columns)


def kept_readings(mill: Mill, names: Sequence[str]) -> dict[date, tuple[str, Extremes]]:
    """Extremes of each day as they were kept last, with their mark; empty where none are."""
    frame = _read(readings_path(mill))
    sides = [[f"{side}_{n}" for n in range(len(names))] for side in ("low", "high")]
    if not names or not {"day", "mark", *sides[0], *sides[1]} <= set(frame.columns):
        return {}
    low, high = (np.ascontiguousarray(frame.select(side).to_numpy().T) for side in sides)
    days, marks = (frame[name].gather_every(_CELLS).to_list() for name in ("day", "mark"))
    return {
        day: (mark, (low[:, at : at + _CELLS], high[:, at : at + _CELLS]))
        for day, mark, at in zip(days, marks, range(0, frame.height, _CELLS), strict=True)
    }


def _read(path: Path) -> pl.DataFrame:
    """A kept file; empty where it is not there or cannot be read, as the lake holds it all."""
    try:
        return pl.read_parquet(path)
    except (OSError, pl.exceptions.PolarsError):
        return pl.DataFrame()


def _write(path: Path, frame: pl.DataFrame) -> None:
    keep_private()
    part = path.with_name(f".{path.name}.part")
    frame.write_parquet(part)
    replace_file(part, path)


def joined_extremes(days: Mapping[date, Extremes]) -> tuple[Extremes, tuple[date, date]]:
    """Extremes of a season, day after day, and its first and last day; NaN in days without any."""
    order = sorted(days)
    count = (order[-1] - order[0]).days + 1
    shape = (len(days[order[0]][0]), count * _CELLS)
    low, high = (np.full(shape, np.nan, dtype=np.float32) for _ in range(2))
    for day in order:
        at = (day - order[0]).days * _CELLS
        low[:, at : at + _CELLS], high[:, at : at + _CELLS] = days[day]
    return (low, high), (order[0], order[-1])
