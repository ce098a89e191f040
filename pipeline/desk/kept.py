"""What the desk keeps of a mill in memory, read anew only where store or lake changed."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final, TypeVar

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Signal
from pipeline.base import DataError, midnight
from pipeline.desk.by_day import stops, whole_hours
from pipeline.desk.tiers import Tiers
from pipeline.lake import (
    DAILY,
    NOTICES,
    SEARCHED,
    UNCALIBRATED,
    Lake,
    lake_of,
)
from pipeline.mill import Mill
from pipeline.stages import (
    DAY_MIN,
    Day,
    Extremes,
    extremes_of,
    hours_marks,
    hours_of_days,
    joined_extremes,
    kept_hours,
    kept_readings,
    level_course,
    minutes_of_days,
    readings_marks,
)
from pipeline.store import published_store_of
from pipeline.words import said

#: Accounts of periods kept, for their pages, tables and files.
_MOST_MADE: Final = 3
Made = TypeVar("Made")


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


class Once:
    """Something made when first asked for, by whoever asks first.

    Parameters
    ----------
    make : callable
    """

    def __init__(self, make: Callable[[], NDArray[np.float32]]) -> None:
        self._make = make
        self._lock = threading.Lock()
        self._made: NDArray[np.float32] | None = None

    def get(self) -> NDArray[np.float32]:
        """It."""
        with self._lock:
            if self._made is None:
                self._made = self._make()
            return self._made


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
        self._minutes: dict[date, tuple[str, NDArray[np.float32]]] = {}
        self._minutes_lock = threading.Lock()
        self._extremes: dict[date, tuple[str, Extremes]] = {}
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
        """Readings of every signal, in tiers; a day is read again where its file changed."""
        with self._readings_lock:
            published = _signature(self.mill)
            if self._readings is None or self._readings[0] != published:
                self._readings = published, self._read_readings()
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
                said("Nothing was worked out yet, so there is nothing to look at."),
                str(mill.lake_path),
                said(
                    "Pull exports with lostpol pull, then run lostpol backfill {path}.",
                    path=mill.config_path,
                ),
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
        """Bring the days up to date: at first as a run kept them, then from the lake."""
        lake = lake_of(self.mill)
        marks = hours_marks(lake)
        known = self._days or kept_hours(self.mill)
        self._days = {day: kept for day, kept in known.items() if marks.get(day) == kept.of}
        stale = [day for day in marks if day not in self._days]
        self._days |= hours_of_days(lake, stale, marks)

    def _read_readings(self) -> Readings:
        lake, signals = lake_of(self.mill), tuple(self.mill.station.signals)
        names = [signal.name for signal in signals]
        marks = readings_marks(lake, names)
        if not marks:
            raise DataError(
                said("There are no readings by minute yet."),
                str(self.mill.lake_path),
                said("Run lostpol backfill {path}.", path=self.mill.config_path),
            )
        known = self._extremes or kept_readings(self.mill, names)
        fresh = {day: kept for day, kept in known.items() if marks.get(day) == kept[0]}
        stale = self._minutes_of(names, marks, [day for day in marks if day not in fresh])
        fresh |= {day: (marks[day], extremes_of(fine)) for day, fine in stale.items()}
        self._extremes = fresh
        coarse, (first, last) = joined_extremes({d: kept[1] for d, kept in fresh.items()})
        fine = Once(lambda: self._joined(names, marks, first, last))
        return Readings(midnight(first), signals, Tiers(*coarse, fine.get))

    def _joined(
        self, names: Sequence[str], marks: Mapping[date, str], first: date, last: date
    ) -> NDArray[np.float32]:
        """Readings by minute of the whole season; asked for only where somebody looks closely."""
        days = self._minutes_of(names, marks, marks)
        count = (last - first).days + 1
        fine = np.full((len(names), count * DAY_MIN), np.nan, dtype=np.float32)
        for day, values in days.items():
            at = (day - first).days * DAY_MIN
            fine[:, at : at + DAY_MIN] = values
            self._minutes[day] = marks[day], fine[:, at : at + DAY_MIN]
        return fine

    def _minutes_of(
        self, names: Sequence[str], marks: Mapping[date, str], days: Iterable[date]
    ) -> dict[date, NDArray[np.float32]]:
        """Readings of some days; one is read again where its file changed."""
        with self._minutes_lock:
            self._minutes = {d: k for d, k in self._minutes.items() if marks.get(d) == k[0]}
            wanted = list(days)
            stale = [day for day in wanted if day not in self._minutes]
            read = minutes_of_days(lake_of(self.mill), names, stale)
            self._minutes |= {day: (marks[day], fine) for day, fine in read.items()}
            return {day: self._minutes[day][1] for day in wanted if day in self._minutes}


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
