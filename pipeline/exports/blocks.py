"""Blocks of rows of a clean export, parsed into arrays without a look at single rows."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import IO, Any, Final, Protocol

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq
from numpy.typing import NDArray

from pipeline.exports.layout import Plan
from pipeline.files import LONGEST_ROW, ExportFile, check_unpacked, parse_block

#: Bytes of text and rows of Parquet in a block.
TEXT_BYTES: Final = 1 << 24
PARQUET_ROWS: Final = 1 << 19
#: Bytes of text parsed at a time: what fits the processor's cache is parsed a fifth faster.
_CACHED_BYTES: Final = 1 << 21
_GZIP: Final = b"\x1f\x8b"
_PACKED: Final = (b"PK", b"\x28\xb5")
_OFFSET: Final = re.compile(r"(?:[Zz]|[+-]\d{2}:?\d{2})\s*$")
_WORD: Final = pa.dictionary(pa.int32(), pa.string())
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


def open_source(table: ExportFile, plan: Plan, first: pl.DataFrame) -> Source:
    """Source of blocks of a table read by a plan.

    Raises
    ------
    NotPlainError
        The plan asks for more than the quick way knows.
    """
    plain = (
        plan.shape == "long"
        and plan.date is None
        and plan.unit is None
        and not plan.fillers
        and not first.is_empty()
    )
    if not plain:
        raise NotPlainError
    if table.text is None:
        return _ParquetSource(table, plan)
    iso = bool(plan.time_formats) and plan.time_formats[0].startswith("%Y-%m-%d")
    if (
        not iso
        or plan.formats_given
        or plan.marks.decimal != "."
        or plan.marks.thousands not in ("", ",")
    ):
        raise NotPlainError
    time = first[plan.time].drop_nulls().head(1).to_list()
    return _TextSource(table, plan, in_utc=bool(time and _OFFSET.search(time[0])))


class _TextSource:
    """Long text, plain or gzipped."""

    def __init__(self, table: ExportFile, plan: Plan, *, in_utc: bool) -> None:
        assert table.text is not None and table.head is not None
        self._table, self._plan, self._in_utc = table, plan, in_utc
        self._text, self._head = table.text, table.head
        moment = pa.timestamp("us", "UTC") if in_utc else pa.timestamp("us")
        kinds = {plan.time: moment, plan.tag: _WORD, plan.value: pa.float64()}
        self._wanted = [plan.time, plan.tag, plan.value] + [plan.quality] * bool(plan.quality)
        self._convert = pc.ConvertOptions(
            column_types=kinds | ({plan.quality: _WORD} if plan.quality else {}),
            include_columns=self._wanted,
            null_values=[""],
            strings_can_be_null=True,
            check_utf8=False,  # each distinct word is decoded anyway
        )

    def raw_blocks(self) -> Iterator[Block]:
        """Whole lines, about `TEXT_BYTES` at a time."""
        packed = self._table.path.stat().st_size
        unpacked = 0
        with self._table.path.open("rb") as file:
            is_packed = file.read(2) == _GZIP
            file.seek(0)
            stream: IO[bytes] = pa.CompressedInputStream(file, "gzip") if is_packed else file
            rest, to_skip = b"", self._text.skip_lines
            while piece := stream.read(TEXT_BYTES):
                unpacked += len(piece)
                if is_packed:
                    check_unpacked(unpacked, packed, self._table.where)
                start = 0
                while to_skip and (line := piece.find(b"\n", start)) >= 0:
                    rest, start, to_skip = b"", line + 1, to_skip - 1
                cut = 0 if to_skip else piece.rfind(b"\n", start) + 1
                whole, tail = memoryview(piece)[start:cut], memoryview(piece)[max(start, cut) :]
                lines = b"".join((rest, whole)) if cut else b""
                rest = bytes(tail) if cut else b"".join((rest, tail))
                if len(rest) > LONGEST_ROW:
                    raise NotPlainError  # the thorough way says what is wrong with it
                if lines:
                    yield self._block(lines, file.tell())
            if rest and not to_skip:
                yield self._block(rest, file.tell())

    def _block(self, lines: bytes, bytes_read: int) -> Block:
        """Block of lines, unless a quoted cell may go on in the next."""
        if self._text.quotes and b'"' in lines and lines.count(b'"') % 2:
            raise NotPlainError
        return Block(lines, bytes_read)

    def parse(self, block: Block) -> Block:
        """Arrays of a block of lines, where all of them are plain."""
        raw = block.raw
        assert isinstance(raw, bytes)
        # A carriage return that ends no line, or a quotation mark, may part rows otherwise.
        if b'"' in raw or (b"\r" in raw and raw.count(b"\r") != raw.count(b"\r\n")):
            return block
        try:
            table = pc.read_csv(
                pa.py_buffer(raw),
                read_options=pc.ReadOptions(
                    use_threads=False, block_size=_CACHED_BYTES, column_names=self._head.names
                ),
                parse_options=pc.ParseOptions(delimiter=self._text.delimiter, quote_char=False),
                convert_options=self._convert,
            )
        except (pa.ArrowInvalid, pa.ArrowKeyError):
            return block
        # Times shorter than hours and minutes mean something else to the thorough way.
        colons = int(np.count_nonzero(np.frombuffer(raw, np.uint8) == ord(":")))
        if not table.num_rows or colons < (1 if not self._in_utc else 2) * table.num_rows:
            return block
        columns = [table.column(name).combine_chunks() for name in self._wanted]
        try:
            return _arrays(block, columns, in_utc=self._in_utc, is_text=True)
        except UnicodeDecodeError:
            return block

    def thorough(self, block: Block) -> pl.DataFrame:
        """Cells of a block of lines, all of them text."""
        assert isinstance(block.raw, bytes)
        text = block.raw.decode("utf-8").replace("\r\n", "\n").replace("\r", "\n")
        return parse_block(text, self._text, self._head, self._table.where)


class _ParquetSource:
    """Long Parquet with real times and numbers."""

    def __init__(self, table: ExportFile, plan: Plan) -> None:
        self._table = table
        self._file = pq.ParquetFile(table.path)
        schema = self._file.schema_arrow
        called = {name.strip(): name for name in schema.names}
        wanted = [plan.time, plan.tag, plan.value] + [plan.quality] * bool(plan.quality)
        if len(called) < len(schema.names):
            raise NotPlainError
        self._names = {called[name]: name for name in wanted if name}
        kinds = [_value_type(schema.field(name).type) for name in self._names]
        plain = (
            pa.types.is_timestamp(kinds[0])
            and (pa.types.is_floating(kinds[2]) or pa.types.is_integer(kinds[2]))
            and all(pa.types.is_string(k) or pa.types.is_large_string(k) for k in kinds[1::2])
        )
        if not plain:
            raise NotPlainError
        self._in_utc = kinds[0].tz is not None
        words = list(self._names)[1::2]
        self._file = pq.ParquetFile(table.path, read_dictionary=words, pre_buffer=False)

    def raw_blocks(self) -> Iterator[Block]:
        """Rows, about `PARQUET_ROWS` at a time."""
        size = self._table.path.stat().st_size
        total, done = max(self._file.metadata.num_rows, 1), 0
        for batch in self._file.iter_batches(PARQUET_ROWS, columns=list(self._names)):
            done += batch.num_rows
            yield Block(batch, size * done // total)

    def parse(self, block: Block) -> Block:
        """Arrays of a block of rows."""
        batch = block.raw
        assert isinstance(batch, pa.RecordBatch)
        columns = [batch.column(name) for name in self._names]
        if not batch.num_rows:
            return block
        try:
            columns[0] = columns[0].cast(pa.timestamp("us", columns[0].type.tz), safe=False)
            columns[2] = columns[2].cast(pa.float64())
            columns[1::2] = [
                column if pa.types.is_dictionary(column.type) else column.dictionary_encode()
                for column in columns[1::2]
            ]
        except pa.ArrowInvalid:
            return block
        return _arrays(block, columns, in_utc=self._in_utc, is_text=False)

    def thorough(self, block: Block) -> pl.DataFrame:
        """Rows of a block as a frame."""
        frame = pl.from_arrow(block.raw)
        assert isinstance(frame, pl.DataFrame)
        words = list(self._names)[1::2]
        return frame.with_columns(pl.col(words).cast(pl.String)).rename(self._names)


def _value_type(kind: pa.DataType) -> pa.DataType:
    return kind.value_type if pa.types.is_dictionary(kind) else kind


def _plain(array: pa.Array, kind: type[Any]) -> NDArray[Any]:
    """Numbers of an array without nulls, where they lie."""
    numbers = np.frombuffer(array.buffers()[1], kind)
    return numbers[array.offset : array.offset + len(array)]


def _has_odd(number: NDArray[np.float64], missing: int) -> bool:
    """Tell whether some numbers are infinite, or NaN and not `missing`."""
    if not missing:
        return not np.isfinite(number.sum())  # one odd number makes the sum odd
    return int(np.count_nonzero(~np.isfinite(number))) != missing


def _arrays(block: Block, columns: list[pa.Array], *, in_utc: bool, is_text: bool) -> Block:
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
