"""Which series each row is of, where more than one column says it."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipeline.layouts import Plan


def series_of(plan: Plan) -> pl.Expr:
    """Tag of each row of a long table."""
    if plan.one_tag:
        return pl.lit(plan.one_tag)
    if plan.tag_columns:
        return _joined(plan.tag_columns)
    return pl.col(plan.tag or "").cast(pl.String).str.strip_chars()


def pooled(raw: pl.DataFrame, plan: Plan, kept: Sequence[str | pl.Expr]) -> pl.DataFrame:
    """Rows of a wide table whose series are told by columns and headings, one reading a row.

    Parameters
    ----------
    raw : polars.DataFrame
    plan : Plan
    kept : sequence of str or polars.Expr
        Further columns to keep.

    Returns
    -------
    polars.DataFrame
        `kept`, tag, raw (String), quality (null), unit; cells without anything are left in.
    """
    parts = []
    for column in plan.tags:
        heading = pl.lit(plan.tag_names.get(column, column))
        parts.append(
            raw.select(
                *kept,
                tag=pl.concat_str(_joined(plan.tag_columns), heading, separator=" "),
                raw=pl.col(column).cast(pl.String),
                quality=pl.lit(None, pl.String),
                unit=pl.lit(plan.tag_units.get(column) or None, pl.String),
            )
        )
    return pl.concat(parts)


def _joined(columns: Sequence[str]) -> pl.Expr:
    cells = [pl.col(name).cast(pl.String).str.strip_chars() for name in columns]
    return pl.concat_str(cells, separator=" ")
