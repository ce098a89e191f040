"""Rows of text, sheets and Parquet from readings."""

from __future__ import annotations

import csv
import gzip
import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import polars as pl
import xlsxwriter
from dialect_truth import SAO_PAULO, Reading

#: Writes a local moment.
Stamp = Callable[[datetime], str]
Rows = list[list[str]]


@dataclass(frozen=True)
class Marks:
    """How a dialect parts cells and writes numbers."""

    delimiter: str = ","
    decimal: str = "."
    thousands: str = ""

    def number(self, text: str) -> str:
        """The same digits with these marks."""
        sign, digits = ("-", text[1:]) if text.startswith("-") else ("", text)
        whole, _, part = digits.partition(".")
        groups = [whole[max(0, k - 3) : k] for k in range(len(whole), 0, -3)]
        return sign + self.thousands.join(reversed(groups)) + (self.decimal + part) * bool(part)


PLAIN = Marks()
SEMI = Marks(";", ",")


def stamp(pattern: str) -> Stamp:
    """Moments by a strftime pattern."""
    return lambda moment: moment.strftime(pattern)


ISO = stamp("%Y-%m-%d %H:%M:%S")


def named(pattern: str, months: Sequence[str]) -> Stamp:
    """Month names of another language where the pattern says ``%b``."""
    return lambda m: m.strftime(pattern.replace("%b", months[m.month - 1]))


def local(readings: Iterable[Reading], zone: str) -> list[tuple[datetime, Reading]]:
    """Readings with their moment in a zone (``ZoneInfo`` name, or UTC)."""
    where = UTC if zone == "UTC" else ZoneInfo(zone)
    return [(r.utc.astimezone(where), r) for r in readings]


def wide(
    readings: Iterable[Reading],
    when: Stamp = ISO,
    marks: Marks = PLAIN,
    zone: str = SAO_PAULO,
    heading: str = "time",
) -> Rows:
    """Headings and rows of a wide table."""
    found = local(readings, zone)
    tags = list(dict.fromkeys(r.tag for _, r in found))
    by_moment: dict[datetime, dict[str, str]] = {}
    for moment, r in found:
        by_moment.setdefault(moment, {})[r.tag] = "" if r.text is None else marks.number(r.text)
    rows = [[when(m), *(cells.get(t, "") for t in tags)] for m, cells in by_moment.items()]
    return [[heading, *tags], *rows]


def long(
    readings: Iterable[Reading],
    when: Stamp = ISO,
    marks: Marks = PLAIN,
    zone: str = SAO_PAULO,
    headings: Sequence[str] = ("time", "tag", "value"),
) -> Rows:
    """Headings and rows of a long table."""
    rows = [
        [when(m), r.tag, "" if r.text is None else marks.number(r.text)]
        for m, r in local(readings, zone)
    ]
    return [list(headings), *rows]


def with_column(rows: Rows, heading: str, cells: Iterable[str], at: int | None = None) -> Rows:
    """Rows with one more column, at the end or before column `at`."""
    told = [heading, *cells]
    place = len(rows[0]) if at is None else at
    return [[*row[:place], cell, *row[place:]] for row, cell in zip(rows, told, strict=True)]


def text(
    rows: Iterable[Sequence[str]],
    marks: Marks | str = PLAIN,
    *,
    eol: str = "\n",
    encoding: str = "utf-8",
    quote: bool = False,
    tail: str = "",
    above: str = "",
) -> bytes:
    """Delimited text; `tail` ends every row, `above` stands before the first."""
    out = io.StringIO(newline="")
    delimiter = marks if isinstance(marks, str) else marks.delimiter
    quoting = csv.QUOTE_ALL if quote else csv.QUOTE_MINIMAL
    csv.writer(out, delimiter=delimiter, lineterminator=tail + eol, quoting=quoting).writerows(rows)
    return (above + out.getvalue()).encode(encoding)


def raw_text(rows: Iterable[Sequence[str]], delimiter: str = ",", encoding: str = "utf-8") -> bytes:
    """Cells put side by side without any quotes, as careless writers do."""
    return ("\n".join(delimiter.join(row) for row in rows) + "\n").encode(encoding)


def packed(data: bytes) -> bytes:
    """The same in a gzip member, the same bytes every time."""
    return gzip.compress(data, mtime=0)


def book(sheets: Sequence[tuple[str, Rows, bool]], *, numbers: bool = True) -> bytes:
    """A workbook of (name, rows, hidden); texts that are numbers are written as numbers."""
    out = io.BytesIO()
    workbook = xlsxwriter.Workbook(out, {"in_memory": True})
    workbook.set_properties({"created": datetime(2025, 3, 15, tzinfo=UTC).replace(tzinfo=None)})
    shown = False
    for name, rows, hidden in sheets:
        sheet = workbook.add_worksheet(name)
        for y, row in enumerate(rows):
            for x, cell in enumerate(row):
                _put(sheet, y, x, cell, numbers=numbers)
        if hidden:
            sheet.hide()
        elif not shown:
            sheet.activate()
            sheet.set_first_sheet()
        shown = shown or not hidden
    workbook.close()
    return out.getvalue()


def _put(
    sheet: xlsxwriter.worksheet.Worksheet, y: int, x: int, cell: str, *, numbers: bool
) -> None:
    try:
        number = float(cell) if numbers else None
    except ValueError:
        number = None
    if number is None:
        sheet.write_string(y, x, cell)
    else:
        sheet.write_number(y, x, number)


def parquet(frame: pl.DataFrame) -> bytes:
    """A Parquet file of a frame."""
    out = io.BytesIO()
    frame.write_parquet(out)
    return out.getvalue()


def frame_long(readings: Iterable[Reading]) -> pl.DataFrame:
    """Readings as a frame: time (UTC), tag, value."""
    found = list(readings)
    return pl.DataFrame(
        {
            "time": [r.utc for r in found],
            "tag": [r.tag for r in found],
            "value": [float(r.text or "nan") for r in found],
        }
    )
