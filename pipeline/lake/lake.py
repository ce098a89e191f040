"""The lake: one Parquet file for each UTC day of readings, and one for each day of features.

A day is replaced whole or not at all, in a folder and in an object store alike
(``pipeline.lake.storage``). Same content, same bytes: sorted rows, fixed compression, no time of
writing inside.

Layout below the root::

    readings/date=2025-10-06/readings.parquet
    features/<kind>/date=2025-10-06/<kind>.parquet
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Collection, Hashable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import Final, TypeVar

import polars as pl

from features.base import Each, rows_by_tag
from pipeline.lake.intact import whole_bytes
from pipeline.lake.merge import READINGS_SCHEMA, DayMerge, conform, import_readings
from pipeline.lake.seal import digest_of
from pipeline.lake.sealing import frame_bytes
from pipeline.lake.storage import Storage, storage_at
from pipeline.lake.stored import read_stored, read_together, recent_day

_KIND: Final = re.compile(r"[a-z][a-z0-9_]{0,60}")
_DAY: Final = re.compile(r"date=(\d{4}-\d{2}-\d{2})")
#: Days of shorter spans are just opened, however far the lake: asking first takes as long.
_SHORT_SPAN: Final = 4
#: Files asked for at once where the lake is far away.
_AT_ONCE: Final = 8
#: Longer spans [days] are looked up among the days there are.
_LONG_SPAN: Final = 1000

_P = TypeVar("_P")
_T = TypeVar("_T")


class Lake:
    """Readings and features of one mill.

    Parameters
    ----------
    root : Path or str
        Folder of the lake, made when first written to, or its URL. One writer at a time.
    """

    def __init__(self, root: Path | str) -> None:
        self.storage: Final[Storage] = storage_at(root)

    @property
    def root(self) -> Path | str:
        """Folder of the lake, or its URL."""
        return self.storage.root

    # Readings ---------------------------------------------------------------------------------

    def days(self) -> list[date]:
        """UTC days with readings, oldest first."""
        return self._days("readings", "readings")

    def read_readings(
        self, first: date, last: date, tags: Sequence[str] | None = None, *, keep: bool = False
    ) -> pl.DataFrame:
        """Readings of the UTC days `first` to `last`, both included.

        Parameters
        ----------
        first, last : date
            UTC days; days without a file add nothing.
        tags : sequence of str, optional
            Only these tags.
        keep : bool
            Hold the last days with all their tags, for whoever asks for their neighbours next.

        Returns
        -------
        polars.DataFrame
            ts_utc, tag, value, bad, reason; sorted by tag and time.

        Raises
        ------
        DataError
            A stored day cannot be read.
        """
        if tags and not keep:
            names = self._files("readings", "readings", first, last)
            if (found := read_together(self.storage, names, tags, self._each)) is not None:
                return found
        parts = self.readings_by_tag(first, last, tags, keep=keep)
        return pl.concat(parts.values()) if parts else READINGS_SCHEMA.to_frame()

    def readings_by_tag(
        self,
        first: date,
        last: date,
        tags: Sequence[str] | None = None,
        *,
        keep: bool = False,
        each: Each | None = None,
    ) -> dict[str, pl.DataFrame]:
        """Readings of some days as `read_readings` gives them, each tag's in a frame of its own.

        `each` goes through the days, as ``map`` does.
        """
        wanted = None if tags is None else set(tags)
        parts: dict[str, list[pl.DataFrame]] = {}

        def read(name: str) -> dict[str, pl.DataFrame]:
            if keep:
                day = recent_day(self.storage, name)
            else:
                day = read_stored(self.storage, name, READINGS_SCHEMA, tags=wanted)
            return {} if day is None else rows_by_tag(day)

        names = self._files("readings", "readings", first, last)
        for day in (self._each if self.storage.far or each is None else each)(read, names):
            for tag, rows in day.items():
                if wanted is None or tag in wanted:
                    parts.setdefault(tag, []).append(rows)
        # Each stored day is in order of tag and time, so that nothing has to be sorted.
        return {tag: pl.concat(parts[tag]) for tag in sorted(parts)}

    def readings_hash(self, first: date, last: date) -> str:
        """Hash of the readings of some days; the same readings give the same hash.

        However the exports came, a day's file has the same bytes, and so has its hash.
        """
        digest = hashlib.sha256()
        for day in self.days():
            if first <= day <= last:
                digest.update(day.isoformat().encode())
                digest.update(digest_of(whole_bytes(self.storage, self.readings_name(day))))
        return digest.hexdigest()[:16]

    def merged_day(
        self,
        day: date,
        news: Sequence[pl.DataFrame],
        tags_repeated: Sequence[Collection[str]] = (),
        *,
        in_full: bool = False,
    ) -> tuple[pl.DataFrame, list[DayMerge], bool]:
        """Add several sets of readings to one UTC day, with counts for each, without writing it.

        Readings already stored change nothing; which of two stays: ``pipeline.lake.merge``.

        Parameters
        ----------
        day : date
            UTC day all readings must belong to.
        news : sequence of polars.DataFrame
            Readings, one frame for each import, the last import last.
        tags_repeated : sequence of collection of str
            For each import, the tags of which it is no news; none at all by default.
        in_full : bool
            The imports replace whatever is stored of their moments.

        Returns
        -------
        day : polars.DataFrame
            The day's readings.
        counts : list of DayMerge
            One for each import.
        changed : bool
            The day is not what it was.

        Raises
        ------
        ValueError
            Readings of another day, or readings that break the rules of the frame.
        DataError
            The stored day cannot be read.
        """
        stored = read_stored(self.storage, self.readings_name(day), READINGS_SCHEMA)
        if stored is None:
            stored = READINGS_SCHEMA.to_frame()
        current, counts = stored, []
        for new, known in zip(news, tags_repeated or [()] * len(news), strict=True):
            frame = conform(new)
            _require_day(frame, day)
            current, count = import_readings(current, frame, known, in_full=in_full)
            counts.append(count)
        return current, counts, not current.equals(stored)

    def readings_name(self, day: date) -> str:
        """Name of the file of a day of readings, there or not."""
        return _name("readings", day, "readings")

    # Features ---------------------------------------------------------------------------------

    def write_features(self, kind: str, day: date, frame: pl.DataFrame) -> bool:
        """Replace one day of a kind of features; True when its content changed."""
        name = _name(_folder(kind), day, kind)
        stored = read_stored(self.storage, name)
        if stored is not None and stored.equals(frame):
            return False
        self.storage.write(name, lambda file: file.write(frame_bytes(frame)))
        return True

    def write_days(self, frames: Iterable[tuple[str, date, pl.DataFrame]]) -> None:
        """Replace several days of several kinds, each as `write_features` does."""
        for _ in self._each(lambda piece: self.write_features(*piece), list(frames)):
            pass

    def read_features(
        self, kind: str, first: date, last: date, columns: Sequence[str] | None = None
    ) -> pl.DataFrame:
        """Features of one kind for days `first` to `last`, both included, in order of days.

        Parameters
        ----------
        columns : sequence of str, optional
            Only these, as far as they are there; a season in full may not fit into memory.

        Returns
        -------
        polars.DataFrame
            A column that some days lack is null there; without any day there are no columns.
        """
        names = self._files(_folder(kind), kind, first, last)
        read = self._each(partial(read_stored, self.storage, columns=columns), names)
        frames = [frame for frame in read if frame is not None]
        return pl.concat(frames, how="diagonal") if frames else pl.DataFrame()

    def _each(self, work: Callable[[_P], _T], pieces: Sequence[_P]) -> Iterable[_T]:
        """Go through pieces as ``map`` does; several at once where each answer takes its time."""
        if not self.storage.far or len(pieces) < _SHORT_SPAN:
            return map(work, pieces)
        with ThreadPoolExecutor(_AT_ONCE, "lostpol-lake") as pool:
            return list(pool.map(work, pieces))

    def feature_days(self, kind: str) -> list[date]:
        """Days stored of one kind of features, oldest first."""
        return self._days(_folder(kind), kind)

    def feature_signatures(self, kind: str) -> dict[date, Hashable]:
        """Signature of each stored day of a kind: who kept what was in it sees what changed."""
        found: dict[date, Hashable] = {}
        for day in self.feature_days(kind):
            with suppress(FileNotFoundError):  # replaced or taken away meanwhile
                found[day] = self.storage.signature(_name(_folder(kind), day, kind))
        return found

    def drop_features(self, kind: str, day: date) -> None:
        """Remove one day of a kind of features, there or not."""
        self.storage.delete(_name(_folder(kind), day, kind))

    # Care -------------------------------------------------------------------------------------

    def clean_leftovers(self) -> int:
        """Remove half-written files of a run that was stopped; returns how many there were."""
        leftovers = self.storage.leftovers()
        for name in leftovers:
            self.storage.delete(name)
        return len(leftovers)

    def _files(self, folder: str, stem: str, first: date, last: date) -> list[str]:
        """Files of the days of a span that have one, or of a span soon looked through, may have."""
        if (last - first).days > _LONG_SPAN:
            days = self._days(folder, stem)
            return [_name(folder, day, stem) for day in days if first <= day <= last]
        names = [_name(folder, first + timedelta(n), stem) for n in range((last - first).days + 1)]
        ask = self.storage.far and len(names) > _SHORT_SPAN  # else opening tells as soon
        return self.storage.existing(names) if ask else names

    def _days(self, folder: str, stem: str) -> list[date]:
        found = []
        for name in self.storage.find(f"{folder}/date=*/{stem}.parquet"):
            match = _DAY.fullmatch(name.split("/")[-2])
            with suppress(ValueError):
                if match:
                    found.append(date.fromisoformat(match[1]))
        return sorted(found)


def _folder(kind: str) -> str:
    if not _KIND.fullmatch(kind):
        raise ValueError(f"not a kind of features: {kind!r} (lower case, digits, underscores)")
    return f"features/{kind}"


def _name(folder: str, day: date, stem: str) -> str:
    return f"{folder}/date={day.isoformat()}/{stem}.parquet"


def _require_day(frame: pl.DataFrame, day: date) -> None:
    """Refuse readings that belong to another UTC day."""
    other = frame.filter(pl.col("ts_utc").dt.date() != day)
    if other.height:
        raise ValueError(f"{other.height} readings are not of {day}: the first {other.row(0)}")
