"""Delimited text: encoding, delimiter and quotes found out, rows split and counted.

A quotation mark that is opened and never closed would swallow rows. Where that is seen, marks
are read as plain characters, so that each line stays a row of its own and none is lost.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

import polars as pl

from pipeline.base import DataError, said
from pipeline.files.archives import unpacked
from pipeline.files.head import TOP_ROWS, Head, find_head
from pipeline.files.limits import LONGEST_ROW, check_columns, too_long_row
from pipeline.files.uneven import (
    UnevenError,
    needed_cells,
    parse_ragged,
    split_rows,
    with_short,
    with_unheaded,
)
from pipeline.mill import ExportLayout

_DELIMITERS: Final = (";", "\t", ",", "|")
_SNIFF_BYTES: Final = 1 << 20
_SEPARATOR_LINE: Final = re.compile(r"\s*sep=([;,|:\t ^~])\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class TextTable:
    """How a delimited text is written.

    Attributes
    ----------
    member : str
        Entry of an archive; empty for a file of its own.
    encoding, delimiter : str
    quotes : bool
        Quotation marks enclose cells (False: they are plain characters).
    skip_lines : int
        Lines above the first reading.
    """

    member: str
    encoding: str
    delimiter: str
    quotes: bool
    skip_lines: int


def open_text(
    path: Path, member: str, where: str, layout: ExportLayout | None
) -> tuple[TextTable, list[list[str]]]:
    """Find out how a text is written; also its first rows.

    Raises
    ------
    DataError
        Empty, not text, or without rows of a sensible length.
    """
    with unpacked(path, member) as plain:
        sample = plain.read(_SNIFF_BYTES)
    if not sample.strip(b" \t\r\n\x00"):
        raise DataError(said("The export is empty."), where, said("Export it again."))
    encoding = _encoding(sample, layout, where)
    whole = len(sample) < _SNIFF_BYTES
    # The sample may end inside a character: an incremental decoder waits for the rest.
    text = codecs.getincrementaldecoder(encoding)("replace").decode(sample)
    text = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    if not whole and text.rfind("\n") < 0:
        raise too_long_row(where)
    text = text if whole else text[: text.rfind("\n") + 1]
    given = layout.delimiter if layout else None
    hint = _SEPARATOR_LINE.fullmatch(text.split("\n", 1)[0])
    delimiter = given or (hint[1] if hint else _delimiter(text, where, layout))
    quotes = _has_quotes(text, delimiter)
    rows, ends = _top(text, delimiter, quotes=quotes, where=where)
    if hint:
        rows[0] = []
    head = find_head(rows, layout.heading_row - 1 if layout and layout.heading_row else None)
    skip = ends[head.first_row - 1]
    return TextTable(member, encoding, delimiter, quotes, skip), rows


def text_batches(
    path: Path, table: TextTable, head: Head, block_chars: int, where: str
) -> Iterator[pl.DataFrame]:
    """Rows below the headings, some at a time, all columns String."""
    raw = unpacked(path, table.member)
    with raw, io.TextIOWrapper(raw, encoding=table.encoding) as text:
        for _ in range(table.skip_lines):
            text.readline()
        given = False
        for block in _blocks(text, block_chars, quotes=table.quotes, where=where):
            yield parse_block(block, table, head, where)
            given = True
        if not given:
            yield parse_block("", table, head, where)


def _blocks(text: IO[str], size: int, *, quotes: bool, where: str) -> Iterator[str]:
    """Whole rows, about `size` characters at a time."""
    rest = ""
    while block := text.read(size):
        block = rest + block
        cut = block.rfind("\n") + 1
        # A line break inside quotes is not the end of a row: wait for the closing quote.
        if quotes and block.count('"', 0, cut) % 2:
            cut = block.rfind("\n", 0, block.rfind('"', 0, cut)) + 1
        rest = block[cut:]
        if cut:
            yield block[:cut]
        if len(rest) > LONGEST_ROW:
            newline = rest.find("\n") + 1
            if not 0 < newline <= LONGEST_ROW:
                raise too_long_row(where)
            # The quote opened here is not closed within any sensible row: read it as a mark.
            whole = rest.rfind("\n") + 1
            yield rest[:whole]
            rest = rest[whole:]
    if rest:
        yield rest


def parse_block(block: str, table: TextTable, head: Head, where: str) -> pl.DataFrame:
    """Split whole rows of text into columns."""
    width = max(len(head.names), 1)
    if table.quotes and '"' in block and block.count('"') % 2:
        return _parse(block, table.delimiter, head, quotes=False, where=where)
    frame = _parse(block, table.delimiter, head, quotes=table.quotes, where=where)
    if table.quotes and '"' in block and _swallows(frame, table.delimiter, width):
        frame = _parse(block, table.delimiter, head, quotes=False, where=where)
    return frame


def _parse(block: str, delimiter: str, head: Head, *, quotes: bool, where: str) -> pl.DataFrame:
    names = [f"c{k}" for k in range(max(len(head.names), 1))]
    needed = needed_cells(head)
    heading = delimiter.join(names) + "\n"
    try:
        frame = pl.read_csv(
            (heading + block).encode("utf-8", "replace"),
            separator=delimiter,
            quote_char='"' if quotes else None,
            infer_schema=False,
            raise_if_empty=False,
        )
        if frame.columns != names:
            raise pl.exceptions.ComputeError("ragged")
        frame = frame.filter(~pl.all_horizontal(pl.col(names).is_null()))
        frame = with_short(frame, block, delimiter, needed)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, UnevenError):
        frame = parse_ragged(block, delimiter, names, needed, quotes=quotes, where=where)
        frame = frame.filter(~pl.all_horizontal(pl.col(names).is_null()))
    frame = frame.rename(dict(zip(names, head.names, strict=False)))
    return with_unheaded(frame, head)


def _swallows(frame: pl.DataFrame, delimiter: str, width: int) -> bool:
    """Whether a quoted cell holds whole rows: a quote somewhere was never meant as one."""
    for column in frame.iter_columns():
        if column.dtype != pl.String:
            continue
        long = column.filter(column.str.contains("\n", literal=True).fill_null(value=False))
        for cell in long.head(1000):
            if any(line.count(delimiter) >= max(width - 1, 1) for line in cell.split("\n")):
                return True
    return False


def _encoding(sample: bytes, layout: ExportLayout | None, where: str) -> str:
    """Encoding of a text file: from its first bytes, its layout, or by trial."""
    if sample.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    even, odd = sample[:4096:2].count(0), sample[1:4096:2].count(0)
    if b"\x00" in sample:
        # Western text in UTF-16 without its mark: every other byte is zero.
        if max(even, odd) > len(sample[:4096]) * 0.3 and min(even, odd) == 0:
            return "utf-16-le" if odd else "utf-16-be"
        raise DataError(
            said("The file is neither text nor Parquet nor a workbook."),
            where,
            said("Export it as CSV, Parquet or .xlsx."),
        )
    if layout and "encoding" in layout.model_fields_set and layout.encoding != "utf-8":
        return layout.encoding
    try:
        codecs.getincrementaldecoder("utf-8")().decode(sample)
    except UnicodeDecodeError:
        # Only what a layout says of the encoding is no guess; a layout for its dates says nothing.
        if layout is not None and "encoding" in layout.model_fields_set:
            raise
        return "cp1252"
    return "utf-8-sig"


def _delimiter(text: str, where: str, layout: ExportLayout | None) -> str:
    """Delimiter under which the headings are surest and have most columns; first of equals."""
    best, choice = (-1, -1), _DELIMITERS[0]
    heading = layout.heading_row - 1 if layout and layout.heading_row else None
    for delimiter in _DELIMITERS:
        rows, _ = _top(text, delimiter, quotes=True, where=where)
        head = find_head(rows, heading)
        score = (head.sure, sum(1 for name in head.names if name))
        if score > best:
            best, choice = score, delimiter
    return choice


def _has_quotes(text: str, delimiter: str) -> bool:
    """Quotation marks enclose cells, unless they only ever stand inside them (5" pipe)."""
    start = re.compile(rf'(?:^|[{re.escape(delimiter)}\n])[ ]*"')
    return '"' not in text or bool(start.search(text))


def _top(
    text: str, delimiter: str, *, quotes: bool, where: str
) -> tuple[list[list[str]], list[int]]:
    """First rows, and the line each of them ends in."""
    reader = split_rows(text, delimiter, quotes=quotes)
    rows, ends = [], []
    try:
        for row in reader:
            rows.append(row)
            ends.append(reader.line_num)
            if len(rows) >= TOP_ROWS + 30:
                break
    except csv.Error as error:
        if not rows:
            raise too_long_row(where) from error
    check_columns(max((len(row) for row in rows), default=0), where)
    return (rows, ends) if rows else ([[""]], [0])
