"""The quick way through a clean export: long CSV in ISO times, or Parquet.

A block of rows is clean when its times, numbers, tags and quality words are all plain. Such a
block becomes arrays without a look at each row. What a tag, a quality word or a local time means
is asked of ``pipeline.exports.values`` once for each distinct one, so that there is one meaning
and not two. Any other block goes the thorough way, row by row, between its clean neighbours; an
export that is of another kind altogether goes it from the start.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
import polars as pl
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.base import DataError
from pipeline.cells import latest_moment
from pipeline.exports.blocks import Block, NotPlainError, Source, is_plain, open_source
from pipeline.exports.evidence import Evidence
from pipeline.exports.layout import Plan, plan_for
from pipeline.exports.passes import repeated
from pipeline.exports.refused import Tally
from pipeline.exports.sample import Watch, may_be_filled
from pipeline.exports.table import TableReader
from pipeline.exports.values import MillClock, to_readings
from pipeline.files import batches, export_tables
from pipeline.lake import GOOD, Columns, Names
from pipeline.mill import ExportLayout, UnitChange

#: Blocks being parsed at a time; each holds about 50 MB.
_MOST_WAITING: Final = 3
_QUARTER_US: Final = 900_000_000
#: Moments for which zones change their offset at whole quarters of an hour only [microseconds],
#: 1972 to 2099.
_SAFE_US: Final = (63_072_000_000_000, 4_070_908_800_000_000)
_MOST_PAIRS: Final = 20_000
#: Readings gathered before they are watched.
_MOST_SEEN: Final = 30_000
#: Any moment will do to ask about words [s since 1970].
_ASKED_S: Final = 1_000_000_000
_UNKNOWN: Final = -1


@dataclass(frozen=True, slots=True)
class _Meaning:
    """What a tag with a quality word means: code of the tag, reasons with and without a value."""

    tag: int
    reason: int = GOOD
    reason_empty: int = GOOD


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
        source, plan = _opened(path, layout)
        bytes_read = 0
        reader = _Reader(plan, clock, tally, *words)
        for block in _parsed(source, pool):
            for piece in reader.readings(block, source):
                yield piece, block.bytes_read
            bytes_read = block.bytes_read
        reader.look()
        for piece in reader.rows.read(None):
            yield piece, bytes_read
    except (DataError, OSError, pa.ArrowException, pl.exceptions.PolarsError) as error:
        raise NotPlainError from error  # the thorough way says what is wrong, and where
    tally.notes += reader.evidence.notes()


def _opened(path: Path, layout: ExportLayout | None) -> tuple[Source, Plan]:
    """Source of blocks of a plain export, and how to read it."""
    with export_tables(path, layout) as tables:
        table = next(tables)
        if not is_plain(table):
            raise NotPlainError
        first = next(batches(table))
        plan = plan_for(table.where, first, layout, head=table.head, delimiter=table.delimiter)
        return open_source(table, plan, first), plan


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
    _meanings: dict[tuple[str, str | None], _Meaning | None] = field(default_factory=dict)
    _quarters: dict[int, int] = field(default_factory=dict)
    _twice: set[int] = field(default_factory=set)
    _watch: Watch = field(default_factory=Watch)
    _seen: list[pl.DataFrame] = field(default_factory=list)
    rows: TableReader = field(init=False)

    def __post_init__(self) -> None:
        self.rows = TableReader(self.plan, self.clock, self.tally, self.evidence)

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
        time_us = self._moments(block)
        if time_us is None or (time_us > 1e6 * latest_moment().timestamp()).any():
            return None
        if len(block.tags) * len(block.qualities) > _MOST_PAIRS:
            return None
        pairs = [(tag, word) for tag in block.tags for word in block.qualities]
        self._ask({pair for pair in pairs if pair not in self._meanings}, as_text=block.is_text)
        meanings = [self._meanings[pair] for pair in pairs]
        known = [meaning for meaning in meanings if meaning is not None]
        if len(known) < len(meanings):
            return None
        tag, reason = _coded(block, known)
        columns = Columns(time_us, tag, block.value, reason)
        some_unknown = any(meaning.tag == _UNKNOWN for meaning in known)
        unknown = tag == _UNKNOWN if some_unknown else np.zeros(0, bool)
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

    def _ask(self, pairs: set[tuple[str, str | None]], *, as_text: bool) -> None:
        """Find out what tags with quality words mean, by having rows of them read."""
        if not pairs:
            return
        asked = sorted(pairs, key=str)
        rows = [(tag, word, value) for tag, word in asked for value in (1.5, None)]
        frame = pl.DataFrame(
            {
                self.plan.time: pl.Series(
                    [_ASKED_S * 1_000_000 + k * 1_000_000 for k in range(len(rows))]
                ).cast(pl.Datetime("us", "UTC")),
                self.plan.tag or "": [tag for tag, _, _ in rows],
                self.plan.value or "": pl.Series([value for *_, value in rows], dtype=pl.Float64),
                self.plan.quality or " none": pl.Series([w for _, w, _ in rows], dtype=pl.String),
            }
        )
        if as_text:
            frame = frame.with_columns(pl.col(self.plan.value or "").cast(pl.String))
        scratch = Tally()
        answers = to_readings(frame, self.plan, self.clock, scratch, Evidence())
        sure = scratch.refused.keys() <= {"tag_not_in_mill"}
        order = answers["ts_utc"].dt.epoch("s") - _ASKED_S
        by_row = dict(zip(order.to_list(), answers.to_dicts(), strict=True))
        for k, pair in enumerate(asked):
            both = by_row.get(2 * k), by_row.get(2 * k + 1)
            self._meanings[pair] = self._meaning(both, scratch) if sure else None

    def _meaning(
        self, answers: tuple[dict[str, Any] | None, dict[str, Any] | None], scratch: Tally
    ) -> _Meaning | None:
        full, empty = answers
        if full is None and empty is None:
            return _Meaning(_UNKNOWN)
        if full is None or empty is None or empty["value"] is not None or not empty["bad"]:
            return None
        change = self.clock.unit_changes[full["tag"]]
        if full["value"] != 1.5 * change.scale + change.offset:
            return None
        reasons = [full["reason"], empty["reason"]]
        if any(word is not None and word not in scratch.bad for word in reasons):
            return None
        codes = [GOOD if word is None else self.reasons.code(word) for word in reasons]
        return _Meaning(self.tags.code(full["tag"]), *codes)

    def _moments(self, block: Block) -> NDArray[np.int64] | None:
        """Moments in UTC; local times are asked about once a quarter of an hour."""
        time_us = block.time_us
        if time_us.min() < _SAFE_US[0] or time_us.max() > _SAFE_US[1]:
            return None
        if block.in_utc:
            return time_us
        quarter = time_us // _QUARTER_US
        starts = np.flatnonzero(np.diff(quarter, prepend=quarter[0] - 1))
        met = quarter[starts]
        news = sorted({int(q) for q in met} - self._quarters.keys())
        if news and not self._ask_clock(news):
            return None
        # Rows of an hour that comes twice are looked at together, one by one.
        if self._twice and not self._twice.isdisjoint(met.tolist()):
            return None
        shift = np.array([self._quarters[int(q)] for q in met], np.int64)
        return time_us + np.repeat(shift, np.diff(starts, append=len(quarter)))

    def _ask_clock(self, quarters: list[int]) -> bool:
        """Find out what some local quarters of an hour are in UTC; False when some are refused."""
        tag = next(iter(self.clock.unit_changes))
        local = pl.Series([q * _QUARTER_US for q in quarters]).cast(pl.Datetime("us"))
        frame = pl.DataFrame({self.plan.time: local}).with_columns(
            pl.lit(tag).alias(self.plan.tag or ""),
            pl.lit(1.5).alias(self.plan.value or ""),
            pl.lit("good").alias(self.plan.quality or " none"),
        )
        answers = to_readings(frame, self.plan, self.clock, Tally(), Evidence())
        if answers.height < len(quarters):
            return False
        zone = self.plan.time_zone or self.clock.zone
        self._twice |= {q for q, two in zip(quarters, repeated(local, zone), strict=True) if two}
        moments = answers["ts_utc"].to_physical().to_list()
        self._quarters |= {
            q: moment - q * _QUARTER_US for q, moment in zip(quarters, moments, strict=True)
        }
        return True


def _coded(block: Block, meanings: list[_Meaning]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Numbers of tag and reason of each row; `meanings` of every tag with every quality."""
    shape = len(block.tags), len(block.qualities)
    tags = np.array([m.tag for m in meanings], np.int32).reshape(shape)
    full = np.array([m.reason for m in meanings], np.int32).reshape(shape)
    empty = np.array([m.reason_empty for m in meanings], np.int32).reshape(shape)
    # A tag is known or not whatever the quality says.
    tag = np.ascontiguousarray(tags[:, 0])[block.tag]
    reason = np.full(len(tag), GOOD, np.int32)
    if block.quality is None:
        poor = np.flatnonzero((full[:, 0] != GOOD)[block.tag]) if (full != GOOD).any() else None
    else:
        poor = np.flatnonzero((full != GOOD).any(axis=0)[block.quality])
    quality = np.zeros(len(tag), np.int32) if block.quality is None else block.quality
    if poor is not None and len(poor):
        reason[poor] = full[block.tag[poor], quality[poor]]
    if block.some_missing:
        rows = np.flatnonzero(np.isnan(block.value))
        reason[rows] = empty[block.tag[rows], quality[rows]]
    return tag, reason
