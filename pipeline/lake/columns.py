"""Readings as plain arrays, and the one way a day of them is written.

A day's file is the same bytes whenever its readings are the same: rows sorted by tag and time,
dictionaries that hold what is used and nothing else, fixed encodings, no time of writing inside.
The encodings suit what a historian keeps: even steps of time as differences, numbers with their
bytes regrouped so that the steady ones compress.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from pipeline.lake.merge import READINGS_SCHEMA
from pipeline.lake.seal import BLANK, KEY, sealed

#: Code of a reading without a reason, which is a good one.
GOOD: Final = -1
_SCHEMA: Final = pa.schema(
    [
        ("ts_utc", pa.timestamp("us", "UTC")),
        ("tag", pa.dictionary(pa.int32(), pa.string())),
        ("value", pa.float64()),
        ("bad", pa.bool_()),
        ("reason", pa.dictionary(pa.int32(), pa.string())),
    ]
)


@dataclass(slots=True)
class Names:
    """Words met so far, each with a number in the order of meeting."""

    words: list[str] = field(default_factory=list)
    _codes: dict[str, int] = field(default_factory=dict)

    def code(self, word: str) -> int:
        """Number of a word; a new one gets the next."""
        if word not in self._codes:
            self._codes[word] = len(self.words)
            self.words.append(word)
        return self._codes[word]

    def codes(self, column: pl.Series) -> NDArray[np.int32]:
        """Numbers of a column of words; `GOOD` for null."""
        if column.null_count() == len(column):
            return np.full(len(column), GOOD, np.int32)
        met = column.drop_nulls().unique(maintain_order=True).to_list()
        found = column.replace_strict(
            met, [self.code(word) for word in met], default=GOOD, return_dtype=pl.Int32
        )
        return found.to_numpy()


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings as arrays of one length.

    Attributes
    ----------
    time_us : ndarray of int64
        Moments [microseconds since 1970 UTC].
    tag, reason : ndarray of int32
        Numbers of words in two `Names`; a good reading has the reason `GOOD`.
    value : ndarray of float64
        Values [inside unit]; NaN where the reading has none (missing, in arrays).
    """

    time_us: NDArray[np.int64]
    tag: NDArray[np.int32]
    value: NDArray[np.float64]
    reason: NDArray[np.int32]

    def __len__(self) -> int:
        """Count of readings."""
        return len(self.time_us)

    def take(self, rows: NDArray[np.intp] | slice) -> Columns:
        """Some of the readings."""
        return Columns(self.time_us[rows], self.tag[rows], self.value[rows], self.reason[rows])


def join(parts: Iterable[Columns]) -> Columns:
    """One after the other, as one."""
    found = list(parts)
    if len(found) == 1:
        return found[0]
    return Columns(
        np.concatenate([part.time_us for part in found]),
        np.concatenate([part.tag for part in found]),
        np.concatenate([part.value for part in found]),
        np.concatenate([part.reason for part in found]),
    )


def from_frame(readings: pl.DataFrame, tags: Names, reasons: Names) -> Columns:
    """Arrays of a frame of readings (see ``pipeline.lake.merge.conform`` for its rules)."""
    value = readings["value"].fill_null(float("nan")).to_numpy()
    return Columns(
        readings["ts_utc"].to_physical().to_numpy(),
        tags.codes(readings["tag"]),
        value,
        reasons.codes(readings["reason"]),
    )


def to_frame(columns: Columns, tags: list[str], reasons: list[str]) -> pl.DataFrame:
    """Frame of readings from arrays."""
    frame = pl.from_arrow(_table(columns, tags, reasons))
    assert isinstance(frame, pl.DataFrame)
    return frame.cast(READINGS_SCHEMA)


def in_order(columns: Columns, tags: list[str]) -> tuple[Columns, bool]:
    """Sort readings by tag and time; also tells whether a moment of a tag occurs twice."""
    alphabet = np.argsort(np.array(tags, dtype=object), kind="stable").astype(np.int32)
    rank = np.empty(len(tags), _smallest(len(tags)))
    rank[alphabet] = np.arange(len(tags))
    # A stable sort of small whole numbers is a counting sort, which takes no comparisons; most
    # exports are in order of time, so that this is all it takes.
    places = rank[columns.tag]
    order = np.argsort(places, kind="stable")
    time_us = columns.time_us[order]
    counts = np.bincount(places, minlength=len(tags))
    starts = np.cumsum(counts)[:-1]
    later = time_us[1:] > time_us[:-1]
    later[starts[(starts > 0) & (starts < len(order))] - 1] = True  # the next tag begins anew
    repeats = False
    if not later.all():
        order = np.lexsort((columns.time_us, places))
        time_us = columns.time_us[order]
        same = time_us[1:] == time_us[:-1]
        same[starts[(starts > 0) & (starts < len(order))] - 1] = False
        repeats = bool(same.any())
    reason = columns.reason
    return Columns(
        time_us,
        np.repeat(alphabet, counts),
        columns.value[order],
        reason[order] if (reason != GOOD).any() else reason,
    ), repeats


def _smallest(count: int) -> type[np.unsignedinteger[Any]]:
    """Smallest kind of whole number that counts so far."""
    return np.uint8 if count <= 1 << 8 else np.uint16 if count <= 1 << 16 else np.uint32


def write_columns(
    path: Path, columns: Columns, tags: list[str], reasons: list[str], *, light: bool = False
) -> None:
    """Write readings, sorted and without repeats, as a day's file, and see it on disk.

    `light` they are written as they are, unpacked and without a hash: for a file that is soon read
    once more and never kept.
    """
    with path.open("wb") as file:
        if light:
            table = _table(columns, tags, reasons)
            pq.write_table(table, file, compression="none", use_dictionary=["tag", "reason"],
                           write_statistics=False, store_schema=False)  # fmt: skip
        else:
            file.write(_day_bytes(columns, tags, reasons))
        file.flush()
        os.fsync(file.fileno())


def write_frame(path: Path, readings: pl.DataFrame, *, light: bool = False) -> None:
    """Write a frame of readings as `write_columns` does."""
    tags, reasons = Names(), Names()
    columns = from_frame(readings, tags, reasons)
    write_columns(path, columns, tags.words, reasons.words, light=light)


def write_by_tag(path: Path, parts: Mapping[str, pl.DataFrame]) -> None:
    """Write readings of a day, each tag's in order of time, as `write_columns` does."""
    tags, reasons = sorted(parts), Names()
    frame = pl.concat([parts[tag] for tag in tags])
    columns = Columns(
        frame["ts_utc"].to_physical().to_numpy(),
        np.repeat(np.arange(len(tags), dtype=np.int32), [parts[tag].height for tag in tags]),
        frame["value"].fill_null(float("nan")).to_numpy(),
        reasons.codes(frame["reason"]),
    )
    write_columns(path, columns, tags, reasons.words)


def day_bytes(readings: pl.DataFrame) -> bytes:
    """Frame of readings, sorted and without repeats, as the bytes of a day's file."""
    tags, reasons = Names(), Names()
    columns = from_frame(readings, tags, reasons)
    return _day_bytes(columns, tags.words, reasons.words)


def _day_bytes(columns: Columns, tags: list[str], reasons: list[str]) -> bytes:
    """A day's file, with its hash in it."""
    content = BytesIO()
    _dump(_day_table(columns, tags, reasons), content)
    return sealed(content.getvalue())


def _day_table(columns: Columns, tags: list[str], reasons: list[str]) -> pa.Table:
    """Readings as a day's file has them; see the head of this module."""
    used_tags, tag = _used(columns.tag, tags)
    used_reasons, reason = _used(columns.reason, reasons)
    sound = Columns(columns.time_us, tag, columns.value, reason)
    return _table(sound, used_tags, used_reasons)


def _used(codes: NDArray[np.int32], words: list[str]) -> tuple[list[str], NDArray[np.int32]]:
    """Words that occur, in alphabetical order, and the numbers that then stand for them."""
    counts = np.bincount(codes + 1, minlength=len(words) + 1)  # the first place is that of GOOD
    used = sorted(word for word, count in zip(words, counts[1:], strict=True) if count)
    if used == words or not used:
        return used, codes
    renumber = np.full(len(words) + 1, GOOD, np.int32)
    storage = {word: n for n, word in enumerate(used)}
    for n, word in enumerate(words):
        renumber[n] = storage.get(word, GOOD)
    return used, renumber[codes]


def _table(columns: Columns, tags: list[str], reasons: list[str]) -> pa.Table:
    bad = columns.reason != GOOD
    missing = np.isnan(columns.value)
    arrays = [
        _array(columns.time_us, pa.timestamp("us", "UTC")),
        pa.DictionaryArray.from_arrays(_array(columns.tag, pa.int32()), _words(tags)),
        _array(columns.value, pa.float64(), missing),
        _array(np.packbits(bad, bitorder="little"), pa.bool_(), count=len(bad)),
        pa.DictionaryArray.from_arrays(_array(columns.reason, pa.int32(), ~bad), _words(reasons)),
    ]
    return pa.Table.from_arrays(arrays, schema=_SCHEMA)


def _words(words: list[str]) -> pa.Array:
    """Array of words."""
    return pl.Series(words, dtype=pl.String).to_arrow().cast(pa.string())


def _array(
    numbers: NDArray[Any],
    kind: pa.DataType,
    missing: NDArray[np.bool_] | None = None,
    count: int | None = None,
) -> pa.Array:
    """Array over the same memory; ``pa.array`` would load pandas, where it is installed."""
    there = None
    if missing is not None and missing.any():
        there = pa.py_buffer(np.packbits(~missing, bitorder="little"))
    data = pa.py_buffer(np.ascontiguousarray(numbers))
    return pa.Array.from_buffers(kind, len(numbers) if count is None else count, [there, data])


def _dump(table: pa.Table, file: BinaryIO) -> None:
    with pq.ParquetWriter(
        file,
        table.schema,
        compression="zstd",
        compression_level=1,
        use_dictionary=["tag", "reason"],
        column_encoding={"ts_utc": "DELTA_BINARY_PACKED", "value": "BYTE_STREAM_SPLIT"},
        write_statistics=["ts_utc"],
        store_schema=False,
    ) as writer:
        writer.write_table(table, row_group_size=1 << 20)
        writer.add_key_value_metadata({KEY: BLANK})
