"""Blocks of rows of a clean long table, as arrays that took no look at single rows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final, Protocol

import numpy as np
import polars as pl
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.files.tables import ExportFile

_PACKED: Final = (b"PK", b"\x28\xb5")
_NO_ROWS: Final = np.empty(0, np.int64)


class NotPlainError(Exception):
    """The export is of a kind that has to be read the thorough way."""


@dataclass(frozen=True, slots=True)
class Block:
    """Some rows, as arrays where they are clean.

    Attributes
    ----------
    raw : bytes or pyarrow.RecordBatch
        The rows as they came.
    bytes_read : int
        Bytes of the file read so far.
    clean : bool
        Times, numbers, tags and quality are as plain as they come; without it nothing follows.
    is_text, in_utc : bool
        Rows of text; times with a zone.
    rows : int
    time_us, value : ndarray
        Times [microseconds] in UTC or as the clock showed; numbers, NaN for none.
    some_missing : bool
        Some values are NaN.
    tag, quality : ndarray of int32
        Places in `tags` and `qualities`; no quality at all is None.
    tags, qualities : list
        Words as they came; None for no quality.
    """

    raw: bytes | pa.RecordBatch
    bytes_read: int
    clean: bool = False
    is_text: bool = True
    in_utc: bool = True
    rows: int = 0
    time_us: NDArray[np.int64] = field(default_factory=lambda: _NO_ROWS)
    value: NDArray[np.float64] = field(default_factory=lambda: _NO_ROWS.astype(float))
    some_missing: bool = False
    tag: NDArray[np.int32] = field(default_factory=lambda: _NO_ROWS.astype(np.int32))
    quality: NDArray[np.int32] | None = None
    tags: tuple[str, ...] = ()
    qualities: tuple[str | None, ...] = (None,)


class Source(Protocol):
    """Where blocks come from."""

    def raw_blocks(self) -> Iterator[Block]:
        """Blocks not yet parsed, in order."""

    def parse(self, block: Block) -> Block:
        """The block with its arrays, or as it was when it is not clean."""

    def thorough(self, block: Block) -> pl.DataFrame:
        """Rows of a block as ``pipeline.files.tables.batches`` gives them."""


def is_plain(table: ExportFile) -> bool:
    """Tell whether a table may go the quick way, as far as its form tells."""
    if table.sheet is not None:
        return False
    if table.text is None:
        return True
    with table.path.open("rb") as file:
        packed = file.read(2) in _PACKED
    plain_text = table.text.encoding in ("utf-8", "utf-8-sig", "ascii")
    return not packed and not table.text.member and plain_text and table.head is not None


def _plain(array: pa.Array, kind: type[Any]) -> NDArray[Any]:
    """Numbers of an array without nulls, where they lie."""
    numbers = np.frombuffer(array.buffers()[1], kind)
    return numbers[array.offset : array.offset + len(array)]


def _has_odd(number: NDArray[np.float64], missing: int) -> bool:
    """Tell whether some numbers are infinite, or NaN and not `missing`."""
    if not missing:
        return not np.isfinite(number.sum())  # one odd number makes the sum odd
    return int(np.count_nonzero(~np.isfinite(number))) != missing


def with_arrays(block: Block, columns: list[pa.Array], *, in_utc: bool, is_text: bool) -> Block:
    """Block with the arrays of its time, tag, value and quality, when nothing is odd in them."""
    time, tag, value = columns[:3]
    quality = columns[3] if len(columns) > 3 else None
    number = _plain(value.fill_null(float("nan")) if value.null_count else value, np.float64)
    if time.null_count or tag.null_count or _has_odd(number, value.null_count):
        return block
    words: tuple[str | None, ...] = (None,)
    places = None
    if quality is not None:
        words = (*quality.dictionary.to_pylist(), None)
        index = quality.indices
        index = index.fill_null(len(words) - 1) if index.null_count else index
        places = _plain(index, np.int32)
    return Block(
        block.raw,
        block.bytes_read,
        clean=True,
        is_text=is_text,
        in_utc=in_utc,
        rows=len(tag),
        time_us=_plain(time, np.int64),
        value=number,
        some_missing=value.null_count > 0,
        tag=_plain(tag.indices, np.int32),
        quality=places,
        tags=tuple(tag.dictionary.to_pylist()),
        qualities=words,
    )
