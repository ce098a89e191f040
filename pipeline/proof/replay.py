"""What a nightly run would have listed every morning, worked out again without any writing.

The lake of a whole season is derived once. For each morning only what the missing future would
have changed is worked out anew, in memory and by the same stages: the block of days that the
morning lies in, and the one before it while the day after that is not complete. Older blocks reach
no reading past the morning.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, time
from pathlib import Path

import polars as pl

from features.base import Each
from models.find import FINDING_COLUMNS
from models.judge import NightlyList
from pipeline import stages
from pipeline.base import ONE_DAY, Progress, Window, silent
from pipeline.lake import Lake, lake_of
from pipeline.mill import Mill
from pipeline.stages import SearchWindow, owned_findings, plan, season_rows
from pipeline.store import Row, merge_findings


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

    def readings_by_tag(
        self,
        first: date,
        last: date,
        tags: Sequence[str] | None = None,
        *,
        keep: bool = False,
        each: Each | None = None,
    ) -> dict[str, pl.DataFrame]:
        """Readings that had arrived, by tag; see `Lake.readings_by_tag`."""
        parts = super().readings_by_tag(first, last, tags, keep=keep, each=each)
        arrived = {tag: part.filter(self._arrived) for tag, part in parts.items()}
        return {tag: part for tag, part in arrived.items() if not part.is_empty()}

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
    span = stages.days_of(lake)
    for block in stages.blocks_reached(span[-1:], span):
        stages.work_out(mill, lake, block)
