"""Readings of one export parted by UTC day, on their way into the lake.

Readings gather in memory until there are enough; then the days that the export seems to have
left behind are sorted and written, each in the form in which the lake keeps a day. An export in
order of time so leaves one finished file a day; one in any other order leaves several, which
are merged later. Neither shows in the lake.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Executor, Future, wait
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl

from pipeline.lake.columns import (
    Columns,
    Names,
    from_frame,
    in_order,
    join,
    to_frame,
    write_columns,
    write_frame,
)
from pipeline.lake.merge import READINGS_SCHEMA, conform, merge_readings
from pipeline.lake.rivals import Rivals, rivals_of, told, without_rivals

#: Readings held in memory before some are written: 24 bytes each.
_MOST_HELD: Final = 3_000_000
#: Days being written at a time; each holds its readings until it is done.
_MOST_WAITING: Final = 2
#: How the names of parts end that are not packed as a day's file is.
LIGHT: Final = "_light.parquet"
_DAY_US: Final = 86_400_000_000
_EPOCH: Final = date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class Part:
    """Some readings of one day, written.

    Attributes
    ----------
    day : date
    name : str
        File below the folder of the parts.
    rows : int
        Readings in it.
    merged : int
        Readings that said the same moment again and are not in it.
    conflicts : int
        Moments for which two good readings differed.
    rivals : Rivals
        Those of them that have no number now; not known of parts that were found written.
    """

    day: date
    name: str
    rows: int
    merged: int
    conflicts: int
    rivals: Rivals = field(default_factory=Rivals)


@dataclass(slots=True)
class DayParts:
    """Writes readings, as they come, into parts of one day each.

    Parameters
    ----------
    folder : Path
        Where the parts go; made by the caller.
    pool : Executor
        Sorts and writes them.
    best_of_two : bool
        Of two good values of one moment one is kept by rank; else none of them is.
    light : bool
        Parts are not packed: other exports of the same days will be added to them.
    """

    folder: Path
    pool: Executor
    best_of_two: bool = False
    light: bool = False
    tags: Names = field(default_factory=Names)
    reasons: Names = field(default_factory=Names)
    first_us: int | None = None
    last_us: int | None = None
    _held: dict[int, list[Columns]] = field(default_factory=dict)
    _rows_held: int = 0
    _waiting: deque[Future[Part]] = field(default_factory=deque)
    _parts: list[Part] = field(default_factory=list)
    _named: int = 0

    def add_frame(self, readings: pl.DataFrame) -> None:
        """Add a frame of readings (ts_utc, tag, value, bad, reason)."""
        if readings.height:
            self.add(from_frame(conform(readings), self.tags, self.reasons))

    def add(self, columns: Columns) -> None:
        """Add readings whose words are numbered by `tags` and `reasons`."""
        if not len(columns):
            return
        times = columns.time_us
        in_order = bool((times[1:] >= times[:-1]).all())
        first, last = (
            (int(times[0]), int(times[-1])) if in_order else (int(times.min()), int(times.max()))
        )
        self.first_us = min(first, first if self.first_us is None else self.first_us)
        self.last_us = max(last, last if self.last_us is None else self.last_us)
        touched = set()
        days = range(first // _DAY_US, last // _DAY_US + 1)
        for day, part in _by_day(columns, days, in_order=in_order):
            self._held.setdefault(day, []).append(part)
            touched.add(day)
        self._rows_held += len(columns)
        if self._rows_held > _MOST_HELD:
            self._write(sorted(self._held.keys() - touched))
        if self._rows_held > _MOST_HELD:
            self._write(sorted(self._held))

    def finish(self) -> list[Part]:
        """Write what is left; the parts, by day and in order of writing."""
        self._write(sorted(self._held))
        while self._waiting:
            self._parts.append(self._waiting.popleft().result())
        return sorted(self._parts, key=lambda part: (part.day, part.name))

    def drop(self) -> None:
        """Let go of everything; on return nothing writes to the folder any more."""
        self._held.clear()
        wait(self._waiting)

    def span(self) -> tuple[datetime, datetime] | None:
        """First and last moment of all readings."""
        if self.first_us is None or self.last_us is None:
            return None
        ends = pl.Series([self.first_us, self.last_us]).cast(READINGS_SCHEMA["ts_utc"])
        return ends[0], ends[1]

    def _write(self, days: list[int]) -> None:
        for day in days:
            pieces = self._held.pop(day)
            self._rows_held -= sum(len(piece) for piece in pieces)
            while len(self._waiting) >= _MOST_WAITING:
                self._parts.append(self._waiting.popleft().result())
            of = f"{_EPOCH + timedelta(days=day)}_{self._named:06d}"
            name = f"{of}{LIGHT if self.light else '.parquet'}"
            self._named += 1
            self._waiting.append(self._submit(day, name, pieces))

    def _submit(self, day: int, name: str, pieces: list[Columns]) -> Future[Part]:
        # The words known now: the lists grow while the pool works.
        tags, reasons = list(self.tags.words), list(self.reasons.words)
        path, of = self.folder / name, _EPOCH + timedelta(days=day)
        how = {"best_of_two": self.best_of_two, "light": self.light}
        return self.pool.submit(_write_part, path, of, pieces, tags, reasons, **how)


def _write_part(
    path: Path,
    day: date,
    pieces: list[Columns],
    tags: list[str],
    reasons: list[str],
    *,
    best_of_two: bool,
    light: bool,
) -> Part:
    """Sort and write readings of one day, each moment of a tag once."""
    columns, repeats = in_order(join(pieces), tags)
    if not repeats:
        write_columns(path, columns, tags, reasons, light=light)
        return Part(day, path.name, len(columns), 0, 0)
    frame = to_frame(columns, tags, reasons)
    single, counts = merge_readings(READINGS_SCHEMA.to_frame(), frame)
    rivals = rivals_of(frame) if counts.conflicts and not best_of_two else None
    if rivals is not None and rivals.height:
        single = without_rivals(single, rivals)
    write_frame(path, single, light=light)
    merged = frame.height - single.height
    return Part(
        day,
        path.name,
        single.height,
        merged,
        counts.conflicts,
        Rivals() if rivals is None else told(rivals, single),
    )


def _by_day(columns: Columns, days: range, *, in_order: bool) -> Iterator[tuple[int, Columns]]:
    """Part readings by day; `in_order` of time, they are only cut."""
    if len(days) == 1:
        yield days[0], columns
        return
    if not in_order:
        columns = columns.take(np.argsort(columns.time_us // _DAY_US, kind="stable"))
        of_row = columns.time_us // _DAY_US
        cuts = np.flatnonzero(np.diff(of_row)) + 1
    else:
        midnights = [day * _DAY_US for day in days[1:]]
        # The first and last day have readings, so that no cut lies at an end.
        cuts = np.unique(np.searchsorted(columns.time_us, midnights))
    for start, end in zip([0, *cuts], [*cuts, len(columns)], strict=True):
        yield int(columns.time_us[start] // _DAY_US), columns.take(slice(int(start), int(end)))
