"""Tables written as text files and workbooks."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl
import xlsxwriter


@dataclass(frozen=True)
class Table:
    """Lines above (titles, headings, units), then rows; columns of `rows` in order of writing."""

    above: Sequence[Sequence[str]]
    rows: pl.DataFrame


def numbers(column: str | pl.Expr, comma: bool = False) -> pl.Expr:
    """A column of numbers as text, with a decimal comma where asked."""
    values = pl.col(column) if isinstance(column, str) else column
    text = values.cast(pl.String)
    return text.str.replace(".", ",", literal=True) if comma else text


def text_file(
    path: Path, table: Table, sep: str = ",", encoding: str = "utf-8", end: str = "\r\n"
) -> None:
    """Write a table of text columns, with what must be quoted in quotes."""
    with path.open("w", encoding=encoding, newline="") as file:
        writer = csv.writer(file, delimiter=sep, lineterminator=end)
        writer.writerows(table.above)
        writer.writerows(
            ["" if cell is None else cell for cell in row] for row in table.rows.iter_rows()
        )


def workbook(path: Path, sheets: Mapping[str, Table], stamp: str = "dd/mm/yyyy hh:mm:ss") -> None:
    """Write a workbook; times of day and numbers are cells of their own kind, texts stay texts."""
    with xlsxwriter.Workbook(path, {"constant_memory": True, "in_memory": False}) as book:
        book.set_properties({"created": datetime(2025, 1, 1)})  # noqa: DTZ001 (as a file says)
        shape = book.add_format({"num_format": stamp})
        for name, table in sheets.items():
            sheet = book.add_worksheet(name[:31])
            for i, line in enumerate(table.above):
                sheet.write_row(i, 0, line)
            for i, row in enumerate(table.rows.iter_rows(), len(table.above)):
                for j, cell in enumerate(row):
                    if isinstance(cell, datetime):
                        sheet.write_datetime(i, j, cell, shape)
                    elif isinstance(cell, str):
                        sheet.write_string(i, j, cell)
                    elif cell is not None:
                        sheet.write_number(i, j, cell)


def no_exports(folder: Path, note: str, words: str) -> list[Path]:
    """Files that lie among exports and are none: a note, a document, nothing, a chart alone."""
    texts = folder / f"{note}.txt"
    texts.write_text(words + "\n", encoding="utf-8")
    document = folder / f"{note}_p1.pdf"
    document.write_bytes(b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n" + bytes(range(256)) * 8 + b"\n%%EOF\n")
    empty = folder / f"{note}_tmp.csv"
    empty.write_bytes(b"")
    chart = folder / f"{note}_chart.xlsx"
    with xlsxwriter.Workbook(chart) as book:
        book.set_properties({"created": datetime(2025, 1, 1)})  # noqa: DTZ001
        sheet = book.add_worksheet("Chart")
        drawn = book.add_chart({"type": "line"})
        drawn.add_series({"values": "=Chart!$A$1:$A$2"})
        sheet.insert_chart("B2", drawn)
    return [texts, document, empty, chart]
