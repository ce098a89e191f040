"""Blocks of long Parquet."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.files.blocks import Block, NotPlainError, with_arrays
from pipeline.files.tables import ExportFile

#: Rows in a block.
PARQUET_ROWS: Final = 1 << 19


class ParquetSource:
    """Long Parquet with real times and numbers; `columns` as ``TextSource`` takes them."""

    def __init__(self, table: ExportFile, columns: list[str]) -> None:
        self._table = table
        self._file = pq.ParquetFile(table.path)
        schema = self._file.schema_arrow
        called = {name.strip(): name for name in schema.names}
        if len(called) < len(schema.names):
            raise NotPlainError
        self._names = {called[name]: name for name in columns if name}
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
        return with_arrays(block, columns, in_utc=self._in_utc, is_text=False)

    def thorough(self, block: Block) -> pl.DataFrame:
        """Rows of a block as a frame."""
        frame = pl.from_arrow(block.raw)
        assert isinstance(frame, pl.DataFrame)
        words = list(self._names)[1::2]
        return frame.with_columns(pl.col(words).cast(pl.String)).rename(self._names)


def _value_type(kind: pa.DataType) -> pa.DataType:
    return kind.value_type if pa.types.is_dictionary(kind) else kind
