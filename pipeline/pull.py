"""Pulling exports into the lake: every row is kept, merged or refused, and counted as such.

All files are read to the end before anything is stored. A file that cannot be read therefore
leaves the lake as it was. Between reading and storing, readings wait on disk by day, so memory
does not grow with the length of the record.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Final, Protocol

import polars as pl

from pipeline.config_models import Exports
from pipeline.errors import DataError
from pipeline.lake import Lake
from pipeline.progress import Progress, silent
from pipeline.readers_export import export_readings
from pipeline.readers_layout import layout_for
from pipeline.readers_values import MillClock
from pipeline.refused import Tally

_STAGING: Final = "staging-"


class PullMill(MillClock, Protocol):
    """What pulling needs to know of a mill."""

    @property
    def exports(self) -> Exports:
        """Layouts of export files and how much may be refused."""

    @property
    def lake_path(self) -> Path:
        """Folder of the lake."""


@dataclass(frozen=True, slots=True)
class SourceLedger:
    """What became of one export file; ``rows_read = kept + merged + all refused``.

    Attributes
    ----------
    name : str
        File name, without its folder.
    sha256 : str
        Hash of the file's bytes.
    size_bytes : int
    layout : str
        Layout that was used; empty when the file was read as found.
    rows_read : int
        Rows of a long file; named cells other than times of a wide one.
    kept : int
        Readings of moments the lake did not have.
    merged : int
        Readings of moments it had, or that the file says twice.
    conflicts : int
        Moments for which two good readings differ (part of kept and merged).
    refused : mapping of str to int
        Rows that cannot be readings of this mill, by reason.
    bad : mapping of str to int
        Readings kept but bad on arrival, by reason (part of kept and merged).
    tags_not_in_mill : tuple of str
        Tags refused, sorted.
    first_utc, last_utc : datetime or None
        First and last moment of the readings.
    """

    name: str
    sha256: str
    size_bytes: int
    layout: str
    rows_read: int
    kept: int
    merged: int
    conflicts: int
    refused: Mapping[str, int]
    bad: Mapping[str, int]
    tags_not_in_mill: tuple[str, ...]
    first_utc: datetime | None
    last_utc: datetime | None


@dataclass(frozen=True, slots=True)
class PullResult:
    """What a pull did.

    Attributes
    ----------
    days_changed : tuple of date
        UTC days whose readings are not what they were, oldest first.
    sources : tuple of SourceLedger
        One for each file, in the order given.
    missing_tags : tuple of str
        Tags and lab series of the mill that none of these files has.
    """

    days_changed: tuple[date, ...]
    sources: tuple[SourceLedger, ...]
    missing_tags: tuple[str, ...]


@dataclass(slots=True)
class _Staged:
    """One file read to the end, its readings waiting on disk by day."""

    path: Path
    folder: Path
    layout: str
    sha256: str = ""
    size_bytes: int = 0
    tally: Tally = field(default_factory=Tally)
    first_utc: datetime | None = None
    last_utc: datetime | None = None
    kept: int = 0
    merged: int = 0
    conflicts: int = 0

    def days(self) -> list[date]:
        return [date.fromisoformat(path.name) for path in self.folder.iterdir()]

    def readings(self, day: date) -> pl.DataFrame | None:
        parts = sorted((self.folder / day.isoformat()).glob("*.parquet"))
        return pl.concat([pl.read_parquet(part.read_bytes()) for part in parts]) if parts else None

    def ledger(self) -> SourceLedger:
        return SourceLedger(
            name=self.path.name,
            sha256=self.sha256,
            size_bytes=self.size_bytes,
            layout=self.layout,
            rows_read=self.tally.rows,
            kept=self.kept,
            merged=self.merged,
            conflicts=self.conflicts,
            refused=_counted(self.tally.refused),
            bad=_counted(self.tally.bad),
            tags_not_in_mill=tuple(sorted(self.tally.unknown_tags)),
            first_utc=self.first_utc,
            last_utc=self.last_utc,
        )


def pull_files(
    mill: PullMill,
    files: Sequence[Path],
    progress: Progress = silent,
    *,
    corrects: bool = False,
) -> PullResult:
    """Read export files and add their readings to the mill's lake.

    Parameters
    ----------
    mill : PullMill
        Zone, tags, layouts and lake of the mill.
    files : sequence of Path
        Parquet or delimited text, plain or gzipped, in any order.
    progress : callable, optional
        Called with a file's name or a day, how many are done, and how many there are.
    corrects : bool
        Readings of these files replace stored ones of the same tag and moment; where two of
        the files differ the one named later holds. Otherwise order has no part in the result
        (``pipeline.lake_merge`` tells which reading stays).

    Raises
    ------
    DataError
        A file cannot be read, or too much of it makes no sense; then nothing is stored.
    """
    lake = Lake(mill.lake_path)
    lake.root.mkdir(parents=True, exist_ok=True)
    _remove_old_staging(lake.root)
    lake.clean_leftovers()
    with tempfile.TemporaryDirectory(prefix=_STAGING, dir=lake.root) as folder:
        staged = []
        for number, path in enumerate(files):
            progress(path.name, number, len(files))
            staged.append(_stage(mill, path, Path(folder) / str(number)))
        changed = _store(lake, staged, progress, corrects=corrects)
    found = set().union(*(source.tally.known_tags for source in staged))
    return PullResult(
        days_changed=tuple(changed),
        sources=tuple(source.ledger() for source in staged),
        missing_tags=tuple(sorted(mill.unit_changes.keys() - found)),
    )


def survey_files(mill: PullMill, files: Sequence[Path]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Compare the tags of some exports with the mill's; nothing is stored.

    Returns
    -------
    missing, unknown : tuple of str
        Tags of the mill that none of the files has, and tags of the files that the mill does
        not have; both sorted.

    Raises
    ------
    DataError
        A file cannot be read, or too much of it makes no sense.
    """
    tally = Tally()
    for path in files:
        for _ in _read(mill, path, tally):
            pass
    missing = mill.unit_changes.keys() - tally.known_tags
    return tuple(sorted(missing)), tuple(sorted(tally.unknown_tags))


def _stage(mill: PullMill, path: Path, folder: Path) -> _Staged:
    """Read one file to the end and leave its readings on disk, parted by day."""
    folder.mkdir()
    layout = layout_for(path, mill.exports.layout)
    staged = _Staged(path, folder, layout.name if layout else "")
    for number, readings in enumerate(_read(mill, path, staged.tally)):
        _note_span(staged, readings)
        for (day,), part in readings.group_by(pl.col("ts_utc").dt.date()):
            home = folder / str(day)
            home.mkdir(exist_ok=True)
            part.write_parquet(home / f"{number:06d}.parquet", compression="lz4")
    with path.open("rb") as file:
        staged.sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    staged.size_bytes = path.stat().st_size
    return staged


def _read(mill: PullMill, path: Path, tally: Tally) -> Iterator[pl.DataFrame]:
    """Readings of one file, batch by batch; refuses a file that makes too little sense."""
    layout = layout_for(path, mill.exports.layout)
    rows_before, unreadable_before = tally.rows, tally.unreadable
    yield from export_readings(path, layout, mill, tally)
    rows = tally.rows - rows_before
    unreadable = tally.unreadable - unreadable_before
    if unreadable * 100.0 > rows * mill.exports.most_refused_pct:
        raise DataError(
            f"{unreadable} of {rows} readings have a time, tag or value that cannot be read.",
            f"{path}\n{_refusals(tally)}",
            "Describe this kind of file in an [[exports.layout]] (time_format, decimal, "
            "no_result_words), or raise exports.most_refused_pct.",
        )


def _refusals(tally: Tally) -> str:
    """Counts of what could not be read, in words."""
    counts = {**_counted(tally.refused), **_counted(tally.bad)}
    return ", ".join(f"{reason.replace('_', ' ')}: {count}" for reason, count in counts.items())


def _store(lake: Lake, staged: Sequence[_Staged], tell: Progress, *, corrects: bool) -> list[date]:
    """Merge all files into the lake, one write a day; returns the days that changed."""
    changed = []
    days = sorted({day for source in staged for day in source.days()})
    for number, day in enumerate(days):
        tell(day.isoformat(), number, len(days))
        parts = [(s, r) for s in staged if (r := s.readings(day)) is not None]
        counts, day_changed = lake.merge_day_counted(
            day, [readings for _, readings in parts], overrule=corrects
        )
        for (source, _), count in zip(parts, counts, strict=True):
            source.kept += count.kept
            source.merged += count.merged
            source.conflicts += count.conflicts
        if day_changed:
            changed.append(day)
    return changed


def _note_span(staged: _Staged, readings: pl.DataFrame) -> None:
    """Widen the first and last moment of a file."""
    if readings.is_empty():
        return
    first, last = readings.select(pl.col("ts_utc").min(), last=pl.col("ts_utc").max()).row(0)
    staged.first_utc = min(first, staged.first_utc or first)
    staged.last_utc = max(last, staged.last_utc or last)


def _counted(counts: Mapping[str, int]) -> dict[str, int]:
    """Counts above zero, by name."""
    return {name: counts[name] for name in sorted(counts) if counts[name]}


def _remove_old_staging(root: Path) -> None:
    """Remove what a pull that was stopped left behind."""
    for folder in root.glob(f"{_STAGING}*"):
        shutil.rmtree(folder, ignore_errors=True)
