"""Blocks of long text, whole lines at a time."""

from __future__ import annotations

from collections.abc import Iterator
from typing import IO, Final

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.csv as pc

from pipeline.files.blocks import Block, NotPlainError, with_arrays
from pipeline.files.limits import LONGEST_ROW, check_unpacked
from pipeline.files.tables import ExportFile
from pipeline.files.text import parse_block

#: Bytes of text in a block.
TEXT_BYTES: Final = 1 << 24
#: Bytes of text parsed at a time: what fits the processor's cache is parsed a fifth faster.
_CACHED_BYTES: Final = 1 << 21
_GZIP: Final = b"\x1f\x8b"
_WORD: Final = pa.dictionary(pa.int32(), pa.string())


class TextSource:
    """Long text, plain or gzipped; `columns` are those of time, tag, value and, if any, quality."""

    def __init__(self, table: ExportFile, columns: list[str], *, in_utc: bool) -> None:
        assert table.text is not None and table.head is not None
        self._table, self._wanted, self._in_utc = table, columns, in_utc
        self._text, self._head = table.text, table.head
        moment = pa.timestamp("us", "UTC") if in_utc else pa.timestamp("us")
        kinds = (moment, _WORD, pa.float64(), _WORD)
        self._convert = pc.ConvertOptions(
            column_types=dict(zip(columns, kinds, strict=False)),
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
            return with_arrays(block, columns, in_utc=self._in_utc, is_text=True)
        except UnicodeDecodeError:
            return block

    def thorough(self, block: Block) -> pl.DataFrame:
        """Cells of a block of lines, all of them text."""
        assert isinstance(block.raw, bytes)
        text = block.raw.decode("utf-8").replace("\r\n", "\n").replace("\r", "\n")
        return parse_block(text, self._text, self._head, self._table.where)
