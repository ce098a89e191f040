"""What a nightly run would have listed every morning, worked out again without any writing.

The lake of a whole season is derived once. For each morning only what the missing future would
have changed is worked out anew, in memory and by the same stages: the grids of the last two UTC
days and the minutes of the last three. Older days reach no reading past the morning.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Final

import polars as pl

from models.find import FINDING_COLUMNS
from models.judge import NightlyList
from pipeline import stages
from pipeline.base import ONE_DAY, Progress, Window, silent
from pipeline.lake import Lake, lake_of
from pipeline.mill import Mill
from pipeline.stages import SearchWindow, owned_findings, plan, season_rows
from pipeline.store import Row, merge_findings

#: Days whose grids, and whose minutes, may rest on readings of the morning's own day.
_GRIDS_REACHED: Final = 2
_MINUTES_REACHED: Final = 3


class LakeAsOf(Lake):
    """A lake as it stood at some moment; what is written stays in memory.

    Parameters
    ----------
    root : Path or str
        Lake of the whole season, every day derived.
    until : datetime
        Readings at or after this moment had not arrived.
    """

    def __init__(self, root: Path | str, until: datetime) -> None:
        super().__init__(root)
        self.until = until
        self._arrived = pl.col("ts_utc") < until
        self._fresh: dict[tuple[str, date], pl.DataFrame] = {}
        whole = Lake(root)
        self._known = [day for day in whole.days() if day <= until.date()]
        while self._known and self._nothing_arrived(whole, self._known[-1]):
            self._known.pop()

    def _nothing_arrived(self, whole: Lake, day: date) -> bool:
        return whole.read_readings(day, day).filter(self._arrived).is_empty()

    def days(self) -> list[date]:
        """UTC days with readings that had arrived, oldest first."""
        return self._known

    def read_readings(
        self, first: date, last: date, tags: Sequence[str] | None = None, *, keep: bool = False
    ) -> pl.DataFrame:
        """Readings that had arrived; see `Lake.read_readings`."""
        return super().read_readings(first, last, tags, keep=keep).filter(self._arrived)

    def write_features(self, kind: str, day: date, frame: pl.DataFrame) -> bool:
        """Keep one day of features in memory."""
        self._fresh[kind, day] = frame
        return True

    def read_features(
        self, kind: str, first: date, last: date, columns: Sequence[str] | None = None
    ) -> pl.DataFrame:
        """Features as they stood; see `Lake.read_features`."""
        days = [day for day in self.feature_days(kind) if first <= day <= last]
        frames = [self._of_day(kind, day) for day in days]
        if columns is not None:
            frames = [f.select([name for name in columns if name in f.columns]) for f in frames]
        return pl.concat(frames, how="diagonal") if frames else pl.DataFrame()

    def _of_day(self, kind: str, day: date) -> pl.DataFrame:
        fresh = self._fresh.get((kind, day))
        return super().read_features(kind, day, day) if fresh is None else fresh

    def feature_days(self, kind: str) -> list[date]:
        """Days of one kind of features, none after the last with readings."""
        last = self._known[-1] if self._known else date.min
        return [day for day in super().feature_days(kind) if day <= last]


def nightly_moments(mill: Mill) -> list[datetime]:
    """Moments of the nightly run, from the first after the data begin to the first after they end.

    Parameters
    ----------
    mill : Mill
        With a lake.
    """
    lake = lake_of(mill)
    days = lake.days()
    if not days:
        return []
    first = lake.read_readings(days[0], days[0])["ts_utc"].min()
    last = lake.read_readings(days[-1], days[-1])["ts_utc"].max()
    hour, minute = (int(part) for part in mill.schedule.nightly.split(":"))
    day, out = mill.local_day(_moment(first)), list[datetime]()
    while not out or out[-1] <= _moment(last):
        at = datetime.combine(day, time(hour, minute), tzinfo=mill.tz).astimezone(UTC)
        out += [at] if at > _moment(first) else []
        day += ONE_DAY
    return out


def _moment(found: object) -> datetime:
    if not isinstance(found, datetime):
        raise TypeError(f"a stored day of readings holds no time, but {found!r}")
    return found


def replay(mill: Mill, progress: Progress = silent) -> Iterator[NightlyList]:
    """Search on what had arrived by each morning, in order.

    Parameters
    ----------
    mill : Mill
        Pulled and derived, all days.

    Yields
    ------
    Morning
        Findings on the list that morning, with all columns; the same that ``lostpol nightly``
        would have kept had it run that morning with every reading at hand.
    """
    known: dict[str, Row] = {}
    facts: dict[SearchWindow, pl.DataFrame] = {}
    moments = nightly_moments(mill)
    for done, at_utc in enumerate(moments):
        progress("Replaying the mornings", done, len(moments))
        lake = LakeAsOf(mill.lake_path, at_utc)
        _work_out(mill, lake)
        planned = plan(mill, lake)
        # A search window that was parted off sees no day that a later morning changes.
        parts = {s: facts[s] if s in facts else _searched(mill, lake, s) for s in planned}
        facts = {s: frame for s, frame in parts.items() if not s.open}
        window = Window(planned[0].owns.start, planned[-1].owns.end)
        found = [
            stages.finding_row(mill, row) | {"mill": mill.key}
            for row in season_rows(list(parts.items()))
        ]
        bounds = (window.start, window.end)
        merged = merge_findings(list(known.values()), found, bounds, window.end, "")
        known |= {row["finding_id"]: row for row in merged}
        shown = [row for row in known.values() if row["status"] != "withdrawn"]
        schema = {name: c.dtype for name, c in FINDING_COLUMNS.items() if name != "open"}
        yield NightlyList(at_utc, pl.DataFrame(shown, schema=schema, infer_schema_length=None))
    progress("Replaying the mornings", len(moments), len(moments))


def _searched(mill: Mill, lake: Lake, search_window: SearchWindow) -> pl.DataFrame:
    return owned_findings(search_window, stages.search(mill, lake, search_window.sees))


def _work_out(mill: Mill, lake: LakeAsOf) -> None:
    """Work out again the days whose result the future changed."""
    first, last = lake.days()[0], lake.days()[-1]
    for reached, stage in (
        (_GRIDS_REACHED, stages.grid_day),
        (_MINUTES_REACHED, stages.derive_day),
    ):
        for back in range(reached - 1, -1, -1):
            if last - back * ONE_DAY >= first:
                stage(mill, lake, last - back * ONE_DAY)
