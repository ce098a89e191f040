"""Several values of one series at one moment: a determination made twice, or several juices."""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
import polars as pl

from pipeline.intake.apart import joined
from pipeline.intake.columns import numbers

#: Two values at one moment, apart by less than this share of the spread of the series, are one
#: determination made twice (estimate).
_ONE_SAMPLE: Final = 0.35
#: Moments with values far apart, and their share, that are a pattern and no slip (estimates).
_LEAST: Final = 3
_TWICE: Final = 0.05


def series_twice(
    rows: pl.DataFrame,
    moments: pl.Series,
    naming: tuple[str, ...],
    values: list[str],
    *,
    long: bool,
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Series with several values at one moment.

    Parameters
    ----------
    rows : polars.DataFrame
    moments : polars.Series
        Time of each row, as text.
    naming, values : sequence of str
        Columns that name the series, and columns of numbers.
    long : bool
        The columns alone name a series; otherwise the heading does so too.

    Returns
    -------
    pooled, repeats : tuple of str
        Series of several juices, and series with two determinations of one sample.
    """
    pooled: list[str] = []
    repeats: list[str] = []
    for value in values:
        frame = pl.DataFrame(
            {"at": moments, "key": joined(rows, naming), "value": numbers(rows[value])}
        ).filter(pl.col("value").is_finite())
        for (key,), part in frame.group_by("key", maintain_order=True):
            kind = _kind_of_twice(part)
            name = str(key) if long else f"{key} {value}".strip()
            if kind:
                (repeats if kind == "repeats" else pooled).append(name)
    return tuple(pooled), tuple(repeats)


def _kind_of_twice(part: pl.DataFrame) -> Literal["", "repeats", "pooled"]:
    """What values of one moment are, by how often they come and how far apart they lie."""
    apart = part.group_by("at").agg(
        n=pl.len(), gap=pl.col("value").max() - pl.col("value").min(), mean=pl.col("value").mean()
    )
    several = apart.filter((pl.col("n") > 1) & (pl.col("gap") > 0))
    if several.is_empty():
        return ""
    low, high = (float(part["value"].quantile(q) or 0.0) for q in (0.05, 0.95))
    close = float(np.median(several["gap"].to_numpy())) < _ONE_SAMPLE * max(high - low, 1e-12)
    if close:
        return "repeats"
    # Now and then a clock that is set back, or a slip, makes two values of one moment.
    return "pooled" if several.height >= max(_LEAST, _TWICE * apart.height) else ""
