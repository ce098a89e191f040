"""Columns of numbers without a heading: perhaps the decimals of the numbers before them."""

from __future__ import annotations

from itertools import pairwise

import polars as pl

from pipeline.base import DataError
from pipeline.exports.columns import Places
from pipeline.files import EXTRA, SHORT
from pipeline.mill import ExportLayout


def check_unnamed(where: str, first: pl.DataFrame, given: ExportLayout, at: Places) -> None:
    """Ask about a column of numbers without a heading behind one of values.

    Such a column may hold the decimals of the numbers before it, parted from them by a comma.
    """
    if given.unnamed_columns == "ignore":
        return
    names = [name for name in first.columns if name not in (EXTRA, SHORT)]
    used = {at.time, at.date, at.half, at.zone, at.tag, at.unit}
    for before, name in pairwise(names):
        unnamed = not name or name.startswith("_duplicated_")
        if not unnamed or name in used or before in used or not before:
            continue
        whole = r"^\s*[<>]?\s*[+-]?\d+\s*$"
        both = first.select(a=pl.col(before).cast(pl.String), b=pl.col(name).cast(pl.String))
        digits = both.filter(pl.col("b").str.contains(r"^\s*\d+\s*$"))
        digits = digits.filter(pl.col("a").str.contains(whole).fill_null(value=False))
        if digits.is_empty():
            continue
        a, b = (cell.strip() for cell in digits.row(0))
        raise DataError(
            f'A column without a heading behind "{before[:40]}" holds numbers: "{a}" and "{b}" '
            f"can be one number, {a},{b}, or two.",
            where,
            "Export the file again with another delimiter or decimal mark; or, if that column is "
            'not wanted, unnamed_columns = "ignore" in its [[exports.layout]].',
        )
