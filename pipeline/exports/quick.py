"""The quick way through a clean export: long CSV in ISO times, or Parquet.

A block of rows is clean when its times, numbers, tags and quality words are all plain. Such a
block becomes arrays without a look at each row. Any other block goes the thorough way, row by row,
between its clean neighbours; an export of another kind altogether goes it from the start.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl

from pipeline.base import DataError
from pipeline.cells import latest_moment
from pipeline.exports.above import readings_above
from pipeline.exports.beside import note_assumptions, table_plan
from pipeline.exports.evidence import Evidence
from pipeline.exports.meanings import UNKNOWN, Meanings
from pipeline.exports.moment_rows import MillClock
from pipeline.exports.sample import Watch, may_be_filled
from pipeline.exports.table import TableReader
from pipeline.files import (
    PASSING,
    Block,
    ExportFile,
    NotPlainError,
    ParquetSource,
    Source,
    TextSource,
    batches,
    export_tables,
    is_plain,
)
from pipeline.lake import GOOD, Columns, Names, Tally
from pipeline.layouts import Plan
from pipeline.mill import ExportLayout, UnitChange

_OFFSET: Final = re.compile(r"(?:[Zz]|[+-]\d{2}:?\d{2})\s*$")
#: Blocks being parsed at a time; each holds about 50 MB.
_MOST_WAITING: Final = 3
#: Readings gathered before they are watched.
_MOST_SEEN: Final = 30_000


def quick_pieces(
    path: Path,
    layout: ExportLayout | None,
    clock: MillClock,
    tally: Tally,
    words: tuple[Names, Names],
    pool: Executor,
) -> Iterator[tuple[Columns | pl.DataFrame, int]]:
    """Readings of a clean export in pieces, and the bytes of it read so far.

    Parameters
    ----------
    path, layout, clock, tally
        As ``pipeline.exports.export.export_readings`` takes them.
    words : (Names, Names)
        Numbers of tags and of reasons in the arrays.
    pool : Executor
        Parses blocks.

    Yields
    ------
    Columns or polars.DataFrame
        Arrays of clean blocks, frames of others; in the order of the file.

    Raises
    ------
    NotPlainError
        The export is of another kind, now or from some row on: what was given so far must be
        forgotten, and the export be read the thorough way.
    """
    try:
        source, plan = _opened(path, layout, clock)
        bytes_read = 0
        reader = _Reader(plan, clock, tally, *words)
        for block in _parsed(source, pool):
            for piece in reader.readings(block, source):
                yield piece, block.bytes_read
            bytes_read = block.bytes_read
        reader.look()
        for piece in reader.rows.read(None):
            yield piece, bytes_read
        note_assumptions(clock, tally.known_tags, reader.evidence)
    except DataError as error:
        raise NotPlainError from error
    except PASSING:
        raise
    except BaseException as error:  # a panic of compiled code is no Exception
        raise NotPlainError from error  # the thorough way says what is wrong, and where
    tally.notes += reader.evidence.notes()


def _opened(path: Path, layout: ExportLayout | None, clock: MillClock) -> tuple[Source, Plan]:
    """Source of blocks of a plain export, and how to read it."""
    with export_tables(path, layout) as tables:
        table = next(tables)
        if not is_plain(table):
            raise NotPlainError
        first = next(batches(table))
        plan = table_plan(table, first, layout, clock)
        if readings_above(table.head, plan):
            raise NotPlainError
        return _source(table, plan, first), plan


def _source(table: ExportFile, plan: Plan, first: pl.DataFrame) -> Source:
    """Source of blocks of a table, unless its plan asks for more than the quick way knows."""
    apart = (plan.date, plan.unit, plan.half, plan.zone)
    several = any(c is not None for c in apart) or bool(plan.tag_columns or plan.one_tag)
    several = several or len(plan.qualities) > 1
    if plan.tag is None or plan.value is None or several or plan.fillers or first.is_empty():
        raise NotPlainError
    columns = [plan.time, plan.tag, plan.value, *([plan.quality] if plan.quality else [])]
    if table.text is None:
        return ParquetSource(table, columns)
    iso = bool(plan.time_formats) and plan.time_formats[0].startswith("%Y-%m-%d")
    usual_marks = plan.marks.decimal == "." and plan.marks.thousands in ("", ",")
    if not iso or plan.formats_given or not usual_marks:
        raise NotPlainError
    time = first[plan.time].drop_nulls().head(1).to_list()
    return TextSource(table, columns, in_utc=bool(time and _OFFSET.search(time[0])))


def _parsed(source: Source, pool: Executor) -> Iterator[Block]:
    """Blocks of a source in order, some of them parsed ahead."""
    waiting: deque[Future[Block]] = deque()
    # Unpacking is sequential: one thread runs ahead of those that parse.
    with ThreadPoolExecutor(1, "lostpol-unpack") as ahead:
        raw = source.raw_blocks()
        upcoming = ahead.submit(next, raw, None)
        while (piece := upcoming.result()) is not None:
            upcoming = ahead.submit(next, raw, None)
            waiting.append(pool.submit(source.parse, piece))
            if len(waiting) >= _MOST_WAITING:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


@dataclass(slots=True)
class _Reader:
    """Turns blocks into readings, asking the thorough way what words and local times mean."""

    plan: Plan
    clock: MillClock
    tally: Tally
    tags: Names
    reasons: Names
    evidence: Evidence = field(default_factory=Evidence)
    _watch: Watch = field(default_factory=Watch)
    _seen: list[pl.DataFrame] = field(default_factory=list)
    meanings: Meanings = field(init=False)
    rows: TableReader = field(init=False)

    def __post_init__(self) -> None:
        self.meanings = Meanings(self.plan, self.clock, self.tags, self.reasons)
        self.rows = TableReader(self.plan, self.clock, self.tally, self.evidence)
        for line in self.plan.why:
            self.evidence.note(line)

    def readings(self, block: Block, source: Source) -> Iterator[Columns | pl.DataFrame]:
        """Readings of a block; counted in the tally."""
        columns = self._quickly(block) if block.clean and not self.rows.holds else None
        if columns is not None:
            yield columns
            return
        self.look()
        yield from self.rows.read(source.thorough(block))
        if self.rows.plan != self.plan:
            raise NotPlainError  # other headings hold from here on

    def look(self) -> None:
        """Have what was seen of clean blocks watched, at one go: a look costs more than rows."""
        if self._seen:
            self.evidence.watch(pl.concat(self._seen))
            self._seen.clear()

    def _quickly(self, block: Block) -> Columns | None:
        """Arrays of a clean block; None where it turns out not to be."""
        time_us = self.meanings.moments(block)
        if time_us is None or (time_us > 1e6 * latest_moment().timestamp()).any():
            return None
        coded = self.meanings.coded(block)
        if coded is None:
            return None
        columns = Columns(time_us, coded[0], block.value, coded[1])
        unknown = columns.tag == UNKNOWN
        refused = int(np.count_nonzero(unknown))
        if refused and not self.tally.has_enough("tag_not_in_mill"):
            return None
        if refused:
            columns = columns.take(np.flatnonzero(~unknown))
        # Fillers are looked for in numbers as exported, levels in the inside unit.
        if may_be_filled(columns.value):
            return None
        columns = self._in_inside_unit(columns)
        seen = self._watch.worth_watching(columns, self.tags.words, self.reasons.words)
        self._seen.append(seen)
        if sum(frame.height for frame in self._seen) > _MOST_SEEN:
            self.look()
        self._count(block, columns, refused)
        return columns

    def _count(self, block: Block, columns: Columns, refused: int) -> None:
        """Enter a clean block in the tally."""
        tally = self.tally
        tally.rows += block.rows
        tally.refused["tag_not_in_mill"] += refused
        tags = {tag.strip() for tag in block.tags}
        tally.known_tags |= tags & self.clock.unit_changes.keys()
        tally.unknown_tags |= tags - self.clock.unit_changes.keys()
        bad = columns.reason[columns.reason != GOOD]
        for code, count in zip(*np.unique(bad, return_counts=True), strict=True):
            tally.bad[self.reasons.words[code]] += int(count)
        tally.pass_over(block.rows)

    def _in_inside_unit(self, columns: Columns) -> Columns:
        words = self.tags.words
        changes = [self.clock.unit_changes.get(word, UnitChange()) for word in words]
        value = columns.value
        if any(change != UnitChange() for change in changes):
            scale = np.array([change.scale for change in changes])
            offset = np.array([change.offset for change in changes])
            value = value * scale[columns.tag] + offset[columns.tag]
        # Adding zero turns -0.0 into 0.0: equal numbers must be equal bytes.
        return Columns(columns.time_us, columns.tag, value + 0.0, columns.reason)
