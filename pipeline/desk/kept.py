"""What the desk keeps of a mill in memory, read anew only where store or lake changed."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final, TypeVar

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Signal
from pipeline.base import DataError, midnight
from pipeline.desk.by_day import (
    DAY_MIN,
    ERRORS,
    Day,
    days_of,
    minutes_of,
    runs_of,
    stops,
    whole_hours,
)
from pipeline.desk.tiers import Tiers, tiers_of
from pipeline.lake import (
    DAILY,
    GRID,
    LOSSES,
    NOTICES,
    SEARCHED,
    STATION,
    UNCALIBRATED,
    Lake,
    lake_of,
)
from pipeline.mill import Mill
from pipeline.stages import level_course
from pipeline.store import published_store_of

#: Accounts of periods kept, for their pages, tables and files.
_MOST_MADE: Final = 3
Made = TypeVar("Made")
_LOSS: Final = ("ts_utc", "unavoidable_kg_h", "excess_kg_h", "measured", *ERRORS)
_STATION: Final = ("ts_utc", "sucrose_feed_kg_h", "stopped")


@dataclass(frozen=True)
class Snapshot:
    """One published state of a mill.

    Attributes
    ----------
    start, end : datetime
        Whole UTC days that are worked out.
    hours : polars.DataFrame
        One row an hour: ``hour``, then ``models.account.SUM_COLUMNS``, ``stopped_min``.
    level : polars.DataFrame
        Level of the kinetics week by week (``models.level.COURSE_COLUMNS``).
    findings, verdicts, sensors, notices, daily, searched, uncalibrated : polars.DataFrame
        As store and lake hold them; findings with those taken back.
    run : dict
        Latest finished run.
    stops : tuple of (datetime, datetime)
        Stops, from the minutes of the station.
    data_end : datetime
        End of what the latest run judged.
    """

    start: datetime
    end: datetime
    hours: pl.DataFrame
    level: pl.DataFrame
    findings: pl.DataFrame
    verdicts: pl.DataFrame
    sensors: pl.DataFrame
    notices: pl.DataFrame
    daily: pl.DataFrame
    searched: pl.DataFrame
    uncalibrated: pl.DataFrame
    run: dict[str, Any]
    stops: tuple[tuple[datetime, datetime], ...]
    data_end: datetime


@dataclass(frozen=True)
class Readings:
    """Minutes of every signal of the season."""

    start: datetime
    signals: tuple[Signal, ...]
    tiers: Tiers


class Kept:
    """Snapshot and readings of one mill, each made when first asked for, then kept.

    Parameters
    ----------
    mill : Mill
    """

    def __init__(self, mill: Mill) -> None:
        self.mill: Final = mill
        self._lock = threading.Lock()
        self._readings_lock = threading.Lock()
        self._of: Hashable = None
        self._snapshot: Snapshot | None = None
        self._days: dict[date, Day] = {}
        self._minutes: dict[date, tuple[Hashable, NDArray[np.float32]]] = {}
        self._made: dict[Hashable, object] = {}
        self._readings: tuple[Hashable, Readings] | None = None

    def now(self) -> Snapshot:
        """The state last published.

        Raises
        ------
        DataError
            Nothing was worked out yet.
        """
        with self._lock:
            published = _signature(self.mill)
            if self._snapshot is None or published != self._of:
                self._snapshot = self._read()
                self._of = published
            return self._snapshot

    def readings(self) -> Readings:
        """Minutes of every signal, in tiers; a day is read again where its file changed."""
        with self._readings_lock:
            published = _signature(self.mill)
            if self._readings is None or self._readings[0] != published:
                self._readings = published, self._read_minutes()
            return self._readings[1]

    def once(self, of: Hashable, make: Callable[[], Made]) -> Made:
        """Something made once of each published state; the last few are kept."""
        name = (_signature(self.mill), of)
        if name not in self._made:
            made = make()
            while len(self._made) >= _MOST_MADE:
                self._made.pop(next(iter(self._made)), None)
            self._made[name] = made
            return made
        return self._made[name]  # type: ignore[return-value]

    def _read(self) -> Snapshot:
        mill, lake, store = self.mill, lake_of(self.mill), published_store_of(self.mill)
        runs = store.runs().filter(pl.col("state") == "finished")
        self._read_days()
        if not self._days or runs.is_empty():
            raise DataError(
                "Nothing was worked out yet, so there is nothing to look at.",
                str(mill.lake_path),
                f"Pull exports with lostpol pull, then run lostpol backfill {mill.config_path}.",
            )
        first, last = min(self._days), max(self._days)
        start, end = midnight(first), midnight(last, 1)
        run = runs.row(-1, named=True)
        kinds = (NOTICES, DAILY, SEARCHED, UNCALIBRATED)
        notices, daily, searched, doubts = (_every_day(lake, kind) for kind in kinds)
        return Snapshot(
            start=start,
            end=end,
            hours=whole_hours(self._days, start, end),
            level=level_course(mill, lake, end)[0],
            findings=store.findings(withdrawn=True),
            verdicts=store.verdicts(),
            sensors=store.sensors(first, last),
            notices=notices,
            daily=daily,
            searched=searched,
            uncalibrated=doubts,
            run=run,
            stops=tuple(stops(self._days, start, end)),
            data_end=run["window_end"],
        )

    def _read_days(self) -> None:
        lake = lake_of(self.mill)
        losses, station = (lake.feature_signatures(kind) for kind in (LOSSES, STATION))
        marks = {day: (mark, station.get(day)) for day, mark in losses.items()}
        self._days = {day: kept for day, kept in self._days.items() if day in marks}
        for part in runs_of(d for d, m in marks.items() if self._mark(d) != m):
            span = (part[0], part[-1])
            minutes = lake.read_features(LOSSES, *span, _LOSS)
            fed = lake.read_features(STATION, *span, _STATION)
            for day, kept in days_of(minutes, fed).items():
                self._days[day] = Day(marks[day], *kept)

    def _mark(self, day: date) -> Hashable:
        kept = self._days.get(day)
        return None if kept is None else kept.of

    def _read_minutes(self) -> Readings:
        lake, signals = lake_of(self.mill), tuple(self.mill.station.signals)
        marks = lake.feature_signatures(GRID)
        names = [signal.name for signal in signals]
        self._minutes = {d: kept for d, kept in self._minutes.items() if d in marks}
        stale = (d for d, m in marks.items() if d not in self._minutes or self._minutes[d][0] != m)
        for part in runs_of(stale):
            frame = lake.read_features(GRID, part[0], part[-1], ["ts_utc", *names])
            for day, values in minutes_of(frame, names, part).items():
                self._minutes[day] = marks[day], values
        days = sorted(self._minutes)
        if not days:
            raise DataError(
                "There are no readings by minute yet.",
                str(self.mill.lake_path),
                f"Run lostpol backfill {self.mill.config_path}.",
            )
        count = (days[-1] - days[0]).days + 1
        fine = np.full((len(names), count * DAY_MIN), np.nan, dtype=np.float32)
        for day, (_, values) in self._minutes.items():
            at = (day - days[0]).days * DAY_MIN
            fine[:, at : at + DAY_MIN] = values
            self._minutes[day] = marks[day], fine[:, at : at + DAY_MIN]
        return Readings(midnight(days[0]), signals, tiers_of(fine))


def _every_day(lake: Lake, kind: str) -> pl.DataFrame:
    """All of a kind that has few rows; some of it lies under days before the season."""
    days = lake.feature_days(kind)
    return lake.read_features(kind, days[0], days[-1]) if days else pl.DataFrame()


def _signature(mill: Mill) -> Hashable:
    """Which published copy lies there now; none where nothing was published."""
    try:
        facts = published_store_of(mill).published.stat()
    except FileNotFoundError:
        return "none"
    return facts.st_ino, facts.st_mtime_ns, facts.st_size
