"""Workbooks: every cell as text, merged cells filled, nothing guessed away.

Cells come one by one with the type they have, never a type of their column: a column of numbers
that holds ``<0.05`` keeps it. Before a workbook is opened its parts are unpacked once under a
limit and the extent of its sheets is taken from the cells themselves, not from what it claims.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Final

import polars as pl
from python_calamine import CalamineWorkbook, SheetVisibleEnum

from pipeline.base import DataError, figure, said
from pipeline.files.archives import opened_archive, opened_entry
from pipeline.files.limits import (
    MOST_CELLS,
    MOST_MEMBERS,
    MOST_WORKBOOK_BYTES,
    check_columns,
    check_member,
    check_unpacked,
)

_CHUNK: Final = 1 << 20
_CELL: Final = re.compile(rb'<(?:c|row|mergeCell|dimension)\b[^>]{0,200}?r(?:ef)?="([A-Z:0-9]+)"')
_PLACE: Final = re.compile(rb"([A-Z]{0,3})([0-9]{0,7})")
_COMMA: Final = re.compile(r"\s*[<>~]?\s*[+-]?\d+,\d+\D{0,4}")
_THOUSANDS: Final = re.compile(r"\s*[+-]?[1-9]\d{0,2}(?:,\d{3})+\s*")
_POINT: Final = re.compile(r"\s*[<>~]?\s*[+-]?\d+\.\d+\D{0,4}")


@dataclass(frozen=True, slots=True)
class Sheet:
    """Cells of one sheet as text.

    Attributes
    ----------
    name : str
    rows : list of list of str
        All of the same length; merged cells all hold what the first of them holds.
    decimal : str
        Decimal mark of the texts, and of the numbers written out beside them.
    merges : tuple of ((row, column), (row, column))
        Corners of merged cells.
    hidden : bool
        Whoever opens the workbook does not see it.
    """

    name: str
    rows: list[list[str]]
    decimal: str
    merges: tuple[tuple[tuple[int, int], tuple[int, int]], ...]
    hidden: bool = False

    def upper_heading(self, row: int) -> Sequence[str]:
        """Second level of headings above a row: cells merged over some of its columns."""
        above = row - 1
        if above < 0:
            return ()
        width = len(self.rows[row])
        spans = [(a[1], b[1]) for a, b in self.merges if a[0] <= above <= b[0] and b[0] < row]
        groups = [s for s in spans if 0 < s[1] - s[0] < width - 1]
        if not groups:
            return ()
        return [
            self.rows[above][k] if self.rows[above][k] != self.rows[row][k] else ""
            for k in range(width)
        ]

    def frame(self, names: Sequence[str], first_row: int) -> pl.DataFrame:
        """Rows from `first_row` as columns of text; empty cells are null."""
        body = [row for row in self.rows[first_row:] if any(row)]
        return pl.DataFrame(
            {
                name: pl.Series([row[k] if k < len(row) and row[k] else None for row in body],
                                dtype=pl.String)
                for k, name in enumerate(names)
            }
        )  # fmt: skip


def read_workbook(path: Path, where: str, decimal: str | None) -> list[Sheet]:
    """All sheets of a workbook that hold anything.

    Raises
    ------
    DataError
        Damaged, not a workbook, or larger than is read.
    """
    _check_size(path, where)
    book = CalamineWorkbook.from_path(str(path))
    hidden = {
        facts.name for facts in book.sheets_metadata if facts.visible != SheetVisibleEnum.Visible
    }
    return [
        replace(sheet, hidden=name in hidden)
        for name in book.sheet_names
        if (sheet := _sheet(book, name, decimal)) is not None
    ]


def _sheet(book: CalamineWorkbook, name: str, decimal: str | None) -> Sheet | None:
    sheet = book.get_sheet_by_name(name)
    cells = sheet.to_python(skip_empty_area=False)
    if not cells:
        return None
    width = max(len(row) for row in cells)
    texts = [c for row in cells for c in row if isinstance(c, str)]
    mark = decimal or _decimal(texts)
    rows = [[_text(c, mark) for c in row] + [""] * (width - len(row)) for row in cells]
    merges = tuple(sheet.merged_cell_ranges or ())
    for (top, left), (bottom, right) in merges:
        if top >= len(rows) or left >= width:
            continue
        for row in rows[top : bottom + 1]:
            row[left : min(right, width - 1) + 1] = [rows[top][left]] * (
                min(right, width - 1) + 1 - left
            )
    return Sheet(name, rows, mark, merges) if any(any(row) for row in rows) else None


def _decimal(texts: Sequence[str]) -> str:
    """Decimal mark of numbers that stand as text, such as ``1,2 *``."""
    commas = sum(
        bool(_COMMA.fullmatch(t)) and not _THOUSANDS.fullmatch(t) for t in texts if len(t) < 40
    )
    points = sum(bool(_POINT.fullmatch(t)) for t in texts if len(t) < 40)
    return "," if commas > points else "."


def _text(cell: object, mark: str) -> str:
    """One cell as text; moments as ISO 8601, numbers in full."""
    match cell:
        case str():
            text = cell.strip()
        case bool():
            text = "true" if cell else "false"
        case float():
            whole = cell.is_integer() and abs(cell) < 1e15
            text = (repr(int(cell)) if whole else repr(cell)).replace(".", mark)
        case datetime():
            text = _rounded(cell).isoformat(" ")
        case date() | time():
            text = cell.isoformat()
        case timedelta():
            seconds = round(cell.total_seconds())
            text = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
        case _:
            text = "" if cell is None else str(cell)
    return text


def _rounded(moment: datetime) -> datetime:
    """Whole millisecond: a spreadsheet keeps moments as days, which blurs the last digits."""
    return (moment + timedelta(microseconds=500)).replace(
        microsecond=(moment + timedelta(microseconds=500)).microsecond // 1000 * 1000
    )


def _check_size(path: Path, where: str) -> None:
    """Unpack all parts once, count bytes and look how far the cells reach."""
    packed, total = path.stat().st_size, 0
    with opened_archive(path) as book:
        entries = book.infolist()
        if len(entries) > MOST_MEMBERS:
            raise _too_large(where, said("{n} parts", n=figure(len(entries), ",")))
        for entry in entries:
            check_member(entry.filename, where)
            reach = _Reach()
            with opened_entry(book, entry) as part:
                while chunk := part.read(_CHUNK):
                    total += len(chunk)
                    check_unpacked(total, packed, where)
                    if total > MOST_WORKBOOK_BYTES:
                        raise _too_large(where, said("too much once unpacked"))
                    if "worksheets/" in entry.filename:
                        reach.look(chunk)
            check_columns(
                reach.column, said("{where}\n{entry}", where=where, entry=entry.filename[:80])
            )
            if reach.row * reach.column > MOST_CELLS:
                raise _too_large(
                    where,
                    said(
                        "{rows} rows by {columns} columns",
                        rows=figure(reach.row, ","),
                        columns=figure(reach.column, ","),
                    ),
                )


def _too_large(where: str, what: str) -> DataError:
    return DataError(
        said("The workbook is too large to be read: {what}.", what=what),
        where,
        said("Remove what is not needed, or export as CSV or Parquet."),
    )


class _Reach:
    """Furthest row and column that the cells of a sheet name."""

    def __init__(self) -> None:
        self.row = self.column = 0
        self._rest = b""

    def look(self, chunk: bytes) -> None:
        """Look through the next piece of the sheet's text."""
        text = self._rest + chunk
        self._rest = text[-256:]
        for found in set(_CELL.findall(text)):
            for place in found.split(b":"):
                if parts := _PLACE.fullmatch(place):
                    self.row = max(self.row, int(parts[2] or 0))
                    self.column = max(self.column, _number(parts[1]))


def _number(letters: bytes) -> int:
    """Number of a column named by letters."""
    number = 0
    for letter in letters:
        number = 26 * number + letter - 64
    return number
