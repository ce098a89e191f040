"""Books of a laboratory in the forms that mills keep them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from first_hour.laboratory import lab_truth
from first_hour.spec import Content, LabSpec, LabTruth, Written
from first_hour.tables import Table, text_file, workbook


@dataclass(frozen=True)
class Book:
    """How a book is written: words of its columns, moments, marks, and who works there.

    `sample` holds the headings of (date, clock) or (moment,); `point` that of the sampling point;
    `more` headings of analyst, shift and method, as many as there are; `method` the words of the
    method of a grab and of a composite.
    """

    sample: tuple[str, ...] = ("Sampled",)
    point: str = "Sample point"
    more: tuple[str, ...] = ()
    analysts: tuple[str, ...] = ("RM", "TL", "JO")
    method: tuple[str, str] = ("grab", "24 h composite")
    moment: str = "%Y-%m-%d %H:%M"
    sep: str = ","
    comma: bool = False
    encoding: str = "utf-8"
    title: tuple[str, ...] = ()


def _told(content: Content, book: Book) -> pl.DataFrame:
    """Determinations with texts of the book: moment, date, clock, analyst, shift, method."""
    local = content.local(content.results)
    day, _, clock = book.moment.partition(" ")
    hour = pl.col("local").dt.hour()
    daily = pl.Series([s.hours >= 24 for s in content.spec.lab])
    composite = pl.Series("composite", daily.gather(content.results["series"]))
    points = pl.Series("point", [s.point for s in content.spec.lab])
    headings = pl.Series("heading", [s.heading for s in content.spec.lab])
    units = pl.Series("unit", [s.unit for s in content.spec.lab])
    turns = pl.Series(book.analysts)
    series = content.results["series"]
    return local.with_columns(
        pl.col("local").dt.strftime(book.moment).alias("moment"),
        pl.col("local").dt.strftime(day).alias("date"),
        pl.col("local").dt.strftime(clock or "%H:%M").alias("clock"),
        ((hour - 6) % 24 // 8 + 1).cast(pl.String).alias("shift"),
        turns.gather(
            (local["local"].dt.ordinal_day() + local["local"].dt.hour() // 8) % len(turns)
        ).alias("analyst"),
        pl.when(composite).then(pl.lit(book.method[1])).otherwise(pl.lit(book.method[0])).alias(
            "method"
        ),
        (pl.col("text").str.replace(r"(\d)\.(\d)", "$1,$2") if book.comma else pl.col("text"))
        .alias("told"),
        points.gather(series),
        headings.gather(series),
        units.gather(series),
    )  # fmt: skip


def _when(book: Book) -> list[str]:
    return ["date", "clock"] if len(book.sample) == 2 else ["moment"]


def truth_of(content: Content, *, pooled: bool, only: Sequence[int] = ()) -> pl.DataFrame:
    """Readings of a book: name, ts_utc, value; a repeat is a second row of the same moment."""
    names = [lab_truth(s, pooled=pooled).names[0] for s in content.spec.lab]
    rows = content.results
    if only:
        rows = rows.filter(pl.col("series").is_in(list(only)))
    return rows.select(
        pl.Series("names", names).gather(rows["series"]).alias("name"),
        pl.col("time").alias("ts_utc"),
        "value",
    )


def truths(lab: Sequence[LabSpec], *, pooled: bool) -> tuple[LabTruth, ...]:
    """What the series of a book are; columns that are no analyte of the tool are left out."""
    return tuple(lab_truth(spec, pooled=pooled) for spec in lab if spec.analyte)


def _pooled(told: pl.DataFrame, book: Book, headings: Sequence[str]) -> pl.DataFrame:
    """A row for each sample, a column for each analyte."""
    index = ["time", *_when(book), "point", *("analyst", "shift", "method")[: len(book.more)],
             "turn"]  # fmt: skip
    wide = told.pivot("heading", index=index, values="told", aggregate_function="first")
    wide = wide.sort("time", "turn", maintain_order=True)
    return wide.select(*index[1:-1], *headings)


def pooled_rows(content: Content, book: Book) -> Table:
    """Table with a column for the sampling point and one for each analyte."""
    headings = list(dict.fromkeys(spec.heading for spec in content.spec.lab))
    rows = _pooled(_told(content, book), book, headings)
    above = [[line] for line in book.title]
    above += [[*book.sample, book.point, *book.more, *headings]]
    return Table(above, rows)


def pooled_book(content: Content, path: Path, book: Book) -> list[Written]:
    """A text file or workbook with a column for the sampling point."""
    table = pooled_rows(content, book)
    if path.suffix == ".xlsx":
        workbook(path, {"Lab": table})
    else:
        text_file(path, table, book.sep, book.encoding)
    return [Written(path, truth_of(content, pooled=True))]


def long_book(
    content: Content, path: Path, columns: Sequence[tuple[str, str]], book: Book
) -> list[Written]:
    """One result a row; `columns` are (heading, what it holds)."""
    told = _told(content, book).select(what for _, what in columns)
    above = [[line] for line in book.title] + [[heading for heading, _ in columns]]
    if path.suffix == ".xlsx":
        workbook(path, {"Results": Table(above, told)})
    else:
        text_file(path, Table(above, told), book.sep, book.encoding)
    return [Written(path, truth_of(content, pooled=True))]


def _series_wide(told: pl.DataFrame, book: Book, headings: Sequence[str]) -> pl.DataFrame:
    index = ["time", *_when(book), "turn"]
    wide = told.pivot("heading", index=index, values="told", aggregate_function="first")
    return wide.sort("time", "turn").select(*index[1:-1], *headings)


def wide_book(content: Content, path: Path, book: Book) -> list[Written]:
    """One column for each series: headings are told whole in the descriptions of the series."""
    headings = [spec.heading for spec in content.spec.lab]
    rows = _series_wide(_told(content, book), book, headings)
    above = [[line] for line in book.title] + [[*book.sample, *headings]]
    text_file(path, Table(above, rows), book.sep, book.encoding)
    return [Written(path, truth_of(content, pooled=False))]


def _as_cells(rows: pl.DataFrame, first: int) -> pl.DataFrame:
    """Numbers as numbers from column `first`, texts such as ``n.d.`` as they are."""
    cells = {
        name: pl.Series(name, [_cell(t) for t in rows[name]], dtype=pl.Object)
        for name in rows.columns[first:]
    }
    return rows.with_columns(**cells) if cells else rows


def _cell(text: str | None) -> float | str | None:
    try:
        return None if text is None else float(text)
    except ValueError:
        return text


def sheet_a_point(content: Content, path: Path, book: Book) -> list[Written]:
    """A workbook with a sheet for each juice, named after it."""
    told, sheets = _told(content, book), {}
    for point in dict.fromkeys(spec.point for spec in content.spec.lab):
        headings = [s.heading for s in content.spec.lab if s.point == point]
        rows = _series_wide(told.filter(pl.col("point") == point), book, headings)
        above = [[line] for line in book.title] + [[*book.sample, *headings]]
        sheets[point] = Table(above, _as_cells(rows, len(book.sample)))
    workbook(path, sheets)
    return [Written(path, truth_of(content, pooled=True))]


def sheet_a_month(content: Content, path: Path, book: Book) -> list[Written]:
    """A workbook with a sheet for each month, each with a column for the sampling point."""
    table = pooled_rows(content, book)
    told = _told(content, book)
    months = told.select("moment", pl.col("local").dt.strftime("%m-%Y").alias("month")).unique()
    rows = table.rows.join(months, on="moment", how="left", maintain_order="left")
    first = len(book.sample) + 1 + len(book.more)
    sheets = {
        str(key[0]): Table(table.above, _as_cells(part.drop("month"), first))
        for key, part in rows.group_by("month", maintain_order=True)
    }
    workbook(path, sheets)
    return [Written(path, truth_of(content, pooled=True))]
