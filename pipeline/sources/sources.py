"""Direct sources: history read window by window, handed on as export files.

What a source answers is written down as an export and pulled like any other, so that stage,
ledger and lake are the same whatever readings come from. The moment of the last reading is noted
once its window is stored; the next run starts a little before it, because history may arrive
late, and an interrupted run goes on from there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final

import polars as pl

from pipeline import stages
from pipeline.base import ConfigError, Progress, needing, now, private_folder, silent
from pipeline.mill import ExportLayout, Mill, OpcUaSource, Source
from pipeline.pull import PullResult
from pipeline.sources.frames import has_quality
from pipeline.store import store_of
from pipeline.words import said

_FOLDER: Final = "arriving"


@dataclass(frozen=True, slots=True)
class SourceResult:
    """What reading one source did.

    Attributes
    ----------
    source : str
    start, end : datetime
        What was asked for, in UTC.
    pulls : tuple of PullResult
        One for each window that held rows.
    problems : dict of str to str
        Tags that could not be read, and why.
    """

    source: str
    start: datetime
    end: datetime
    pulls: tuple[PullResult, ...]
    problems: dict[str, str]

    @property
    def days_changed(self) -> set[date]:
        """UTC days whose readings are not what they were."""
        return {day for pulled in self.pulls for day in pulled.days_changed}


def pull_sources(
    mill: Mill, first: date | None = None, last: date | None = None, progress: Progress = silent
) -> list[SourceResult]:
    """Read every source of a mill.

    Parameters
    ----------
    first, last : date, optional
        Local days; without them from the last reading known (less the overlap) until now.

    Raises
    ------
    ConfigError
        The mill names no source, a secret is not set, or the days are in the wrong order.
    DataError
        A source cannot be reached or read; what was stored before stays.
    """
    if not mill.sources:
        raise ConfigError(
            said("The description names no direct source."),
            str(mill.config_path),
            said("Add a [[source]] section, or name export files after lostpol pull MILL."),
        )
    return [pull_source(mill, source, first, last, progress) for source in mill.sources]


def pull_source(
    mill: Mill,
    source: Source,
    first: date | None = None,
    last: date | None = None,
    progress: Progress = silent,
) -> SourceResult:
    """Read one source into the lake; see `pull_sources`."""
    store = store_of(mill)
    mark = store.source_mark(source.name)
    start, end = _span(mill, source, mark, first, last)
    windows = list(_windows(start, end, timedelta(hours=source.window_h)))
    pulls: list[PullResult] = []
    problems: dict[str, str] = {}
    for number, (begin, until) in enumerate(windows):
        progress(f"{source.label}: {begin:%Y-%m-%d %H:%M} UTC", number, len(windows))
        frame, troubles = _read(mill, source, begin, until)
        problems |= troubles
        pulled = _hand_on(mill, source, frame, begin, until) if frame.height else None
        if pulled is None:
            continue
        pulls.append(pulled)
        seen = max((s.last_utc for s in pulled.sources if s.last_utc), default=None)
        # Only what follows on without a hole may move the mark.
        if seen is not None and (mark is None or start <= mark < seen):
            mark = min(seen, until)
            store.set_source_mark(source.name, mark)
    progress(source.label, len(windows), len(windows))
    return SourceResult(source.name, start, end, tuple(pulls), problems)


def source_summary(mill: Mill, result: SourceResult) -> list[str]:
    """What reading a source did, in lines for a person."""
    ledgers = [ledger for pulled in result.pulls for ledger in pulled.sources]
    read, kept, merged = (
        sum(getattr(ledger, name) for ledger in ledgers) for name in ("rows_read", "kept", "merged")
    )
    refused = read - kept - merged
    start, end = (f"{t.astimezone(mill.tz):%Y-%m-%d %H:%M}" for t in (result.start, result.end))
    lines = [
        said(
            "source {source}, {start} to {end}: {read} rows read, {kept} new, {merged} known "
            "already, {refused} refused",
            source=result.source,
            start=start,
            end=end,
            read=read,
            kept=kept,
            merged=merged,
            refused=refused,
        )
    ]
    if conflicts := sum(ledger.conflicts for ledger in ledgers):
        lines.append(
            said(
                "- {conflicts} good readings contradict others; the last import holds",
                conflicts=conflicts,
            )
        )
    return lines + [
        said("- {tag}: not read ({why})", tag=tag, why=why)
        for tag, why in sorted(result.problems.items())
    ]


def _span(
    mill: Mill, source: Source, mark: datetime | None, first: date | None, last: date | None
) -> tuple[datetime, datetime]:
    """What to ask for: the days named, else from the mark on."""
    end = min(mill.day_span_utc(last, last)[1], now()) if last else now()
    if first is not None:
        start = mill.day_start_utc(first)
    elif mark is not None:
        start = mark - timedelta(hours=source.overlap_h)
    elif source.first_day is not None:
        start = mill.day_start_utc(source.first_day)
    else:
        start = end - timedelta(days=mill.detection.look_back_days)
    if start >= end:
        raise ConfigError(
            said(
                "There is nothing to read from {start} to {end} UTC.",
                start=f"{start:%Y-%m-%d %H:%M}",
                end=f"{end:%Y-%m-%d %H:%M}",
            ),
            said("--from and --to, {label}", label=source.label),
            said("Give days in order, the first one not in the future."),
        )
    return start, end


def _windows(
    start: datetime, end: datetime, length: timedelta
) -> Iterator[tuple[datetime, datetime]]:
    while start < end:
        until = min(start + length, end)
        yield start, until
        start = until


def _read(
    mill: Mill, source: Source, start: datetime, end: datetime
) -> tuple[pl.DataFrame, dict[str, str]]:
    """Ask the source for one window; the libraries are loaded by mills that need them only."""
    if isinstance(source, OpcUaSource):
        with needing("opcua", source.label):
            from pipeline.sources.opcua import read_history  # noqa: PLC0415
        return read_history(mill, source, start, end)
    with needing("sql", source.label):
        from pipeline.sources.sql import read_table  # noqa: PLC0415
    return read_table(mill, source, start, end), {}


def _hand_on(
    mill: Mill, source: Source, frame: pl.DataFrame, start: datetime, end: datetime
) -> PullResult:
    """Write one window as an export and pull it; the file goes once its readings are stored."""
    folder = mill.store_path / _FOLDER
    private_folder(folder)
    path = folder / f"{source.name}_{start:%Y%m%dT%H%M%S}_{end:%Y%m%dT%H%M%S}.parquet"
    frame.write_parquet(path, compression="zstd")
    # What a source answers now is its latest word, even when it said the same some time ago.
    result = stages.pull(_with_layout(mill, source, path), [path], again=True)
    path.unlink()
    return result


def _with_layout(mill: Mill, source: Source, path: Path) -> Mill:
    """Mill that reads this file as the source wrote it, whatever its layouts say."""
    layout = ExportLayout(
        name=source.label,
        match=path.name,
        shape="long",
        time_column="time",
        tag_column="tag",
        value_column="value",
        quality_column="quality" if has_quality(source) else None,
        time_zone=getattr(source, "time_zone", None),
        good_words=source.good_words,
    )
    exports = mill.exports.model_copy(update={"layout": (layout, *mill.exports.layout)})
    return replace(mill, exports=exports)
