"""Rows with more or fewer cells than the headings: found and marked, never shifted, never cut."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Final

import polars as pl

from pipeline.files.head import Head
from pipeline.files.limits import too_long_row

if TYPE_CHECKING:
    from _csv import Reader

#: Columns that are True in rows with more cells than the headings, and the number of cells in rows
#: with fewer (else null). Names from a file have no blanks at their ends.
EXTRA: Final = " extra"
SHORT: Final = " short"


class UnevenError(Exception):
    """Rows have to be split one by one to tell how many cells each has."""


def needed_cells(head: Head) -> int:
    """Cells that a row must have: up to the last column with a heading."""
    return max((k for k, name in enumerate(head.tags, start=1) if name), default=1)


def with_short(frame: pl.DataFrame, block: str, delimiter: str, needed: int) -> pl.DataFrame:
    """Mark rows with fewer cells than `needed`.

    Raises
    ------
    UnevenError
        Quotes or odd line ends leave open which line a row is.
    """
    if frame.is_empty() or not frame[frame.columns[needed - 1]].null_count():
        return frame
    if '"' in block:
        raise UnevenError
    lines = pl.Series(block.split("\n"), dtype=pl.String)
    lines = lines.filter(lines.str.strip_chars(delimiter + "\r") != "")
    if len(lines) != frame.height:
        raise UnevenError
    cells = lines.str.count_matches(delimiter, literal=True).cast(pl.Int64) + 1
    few = cells < needed
    if not few.any():
        return frame
    return frame.with_columns(
        pl.Series(SHORT, cells.zip_with(few, pl.Series([None], dtype=pl.Int64).new_from_index(
            0, len(cells))))
    )  # fmt: skip


def with_unheaded(frame: pl.DataFrame, head: Head) -> pl.DataFrame:
    """Mark rows with something in the cells beyond the headings that are empty in the others."""
    beyond = head.names[len(head.names) - head.unheaded :] if head.unheaded else ()
    if not beyond or all(frame[name].null_count() == frame.height for name in beyond):
        return frame
    filled = pl.any_horizontal(
        (pl.col(name).str.strip_chars() != "").fill_null(value=False) for name in beyond
    )
    if EXTRA in frame.columns:
        filled |= pl.col(EXTRA)
    return frame.with_columns(filled.alias(EXTRA))


def parse_ragged(
    block: str, delimiter: str, names: list[str], needed: int, *, quotes: bool, where: str
) -> pl.DataFrame:
    """Split rows of which some have more, or fewer, cells than the headings."""
    rows = split_rows(block, delimiter, quotes=quotes)
    width = len(names)
    cells: list[list[str | None]] = [[] for _ in names]
    extra: list[bool] = []
    short: list[int | None] = []
    try:
        for row in rows:
            for k in range(width):
                cells[k].append((row[k] or None) if k < len(row) else None)
            extra.append(any(row[width:]))
            short.append(len(row) if len(row) < needed else None)
            if extra[-1] and not any(row[:width]):
                cells[0][-1] = ""
    except csv.Error as error:
        if quotes:
            # An open quote has swallowed far more than a cell.
            return parse_ragged(block, delimiter, names, needed, quotes=False, where=where)
        raise too_long_row(where) from error
    frame = pl.DataFrame(
        {
            name: pl.Series(column, dtype=pl.String)
            for name, column in zip(names, cells, strict=True)
        }
    )
    if any(extra):
        frame = frame.with_columns(pl.Series(EXTRA, extra, dtype=pl.Boolean))
    if any(count is not None for count in short):
        frame = frame.with_columns(pl.Series(SHORT, short, dtype=pl.Int64))
    return frame


def split_rows(text: str, delimiter: str, *, quotes: bool) -> Reader:
    """Rows of a text as lists of cells."""
    lines = io.StringIO(text, newline="")
    if quotes:
        return csv.reader(lines, delimiter=delimiter, quoting=csv.QUOTE_MINIMAL)
    return csv.reader(lines, delimiter=delimiter, quoting=csv.QUOTE_NONE)
