"""Which columns of words tell the series of a table apart, told by what stands beside them.

A column that names the series explains the values: reducing sugars of mixed juice and pH of clear
juice lie worlds apart. Who analysed, in which shift, explains nothing. And a series has one value
at a moment, which the columns that name it must bring about.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.intake.columns import numbers, texts

Floats = NDArray[np.float64]

#: Share of the spread of values (by rank) that the name of a series explains at least, and share
#: of what is still open that a second column must explain (estimates).
_NAMES: Final = 0.25
_ADDS: Final = 0.3
#: Moments that come more than once, as a share, before a column is asked to part them.
_TWICE: Final = 0.2


def explained(rows: pl.DataFrame, groups: Sequence[str], values: Sequence[str]) -> float:
    """Share of the spread of values that groups explain, the best of several columns of values.

    Parameters
    ----------
    rows : polars.DataFrame
    groups, values : sequence of str
        Columns whose cells together part the rows, and columns of numbers.

    Returns
    -------
    float
        Adjusted share of the variance of ranks (Kruskal-Wallis' statistic over n - 1, adjusted
        for the number of groups), 0 to 1.
    """
    key = joined(rows, groups)
    return max((_share(key, numbers(rows[name])) for name in values), default=0.0)


def joined(rows: pl.DataFrame, groups: Sequence[str]) -> pl.Series:
    """Cells of several columns as one text a row."""
    if not groups:
        return pl.Series("key", [""] * rows.height)
    return rows.select(pl.concat_str([texts(rows[g]) for g in groups], separator=" ").alias("key"))[
        "key"
    ]


def _share(key: pl.Series, values: Floats) -> float:
    good = np.isfinite(values)
    frame = pl.DataFrame({"key": key, "value": values}).filter(pl.Series(good))
    n, k = frame.height, frame["key"].n_unique()
    if n - k < 3 or k < 2:
        return 0.0
    ranks = frame.with_columns(rank=pl.col("value").rank("average"))
    total = float(np.var(ranks["rank"].to_numpy()))
    if total == 0.0:
        return 0.0
    means = ranks.with_columns(mean=pl.col("rank").mean().over("key"))
    inside = float(((means["rank"] - means["mean"]) ** 2).mean() or 0.0)  # type: ignore[arg-type]
    return max(0.0, 1.0 - (inside / total) * (n - 1) / (n - k))


def repeated(rows: pl.DataFrame, moments: pl.Series, groups: Sequence[str]) -> float:
    """Share of rows whose moment has come before under the same names."""
    if not rows.height:
        return 0.0
    pairs = pl.DataFrame({"at": moments, "key": joined(rows, groups)})
    return 1.0 - pairs.n_unique() / pairs.height


def naming_columns(
    rows: pl.DataFrame,
    moments: pl.Series,
    groups: Sequence[str],
    values: Sequence[str],
    likely: Collection[str],
) -> tuple[str, ...]:
    """Columns of words that together name the series of a table; empty where none does.

    A column of states ("running", "stopped") explains values too; where moments do not repeat, only
    a column that looks like one of names is taken.

    Parameters
    ----------
    rows : polars.DataFrame
    moments : polars.Series
        Time of each row, as text.
    groups, values : sequence of str
        Columns of words that repeat, and columns of numbers.
    likely : collection of str
        Columns whose cells or heading look like names of series.
    """
    share = {g: explained(rows, [g], values) for g in groups}
    twice = repeated(rows, moments, ())
    parts = {g: twice - repeated(rows, moments, [g]) for g in groups}
    able = [
        g
        for g in groups
        if share[g] >= _NAMES and (g in likely or (twice >= _TWICE and parts[g] > 0.2 * twice))
    ]
    if not able:
        # Values alike in all series: only the moments tell.
        able = [g for g in groups if twice >= _TWICE and parts[g] > 0.8 * twice]
        return tuple(sorted(able, key=lambda g: -parts[g])[:1])
    chosen = [max(able, key=lambda g: (round(share[g], 2), parts[g], -groups.index(g)))]
    while True:
        now = explained(rows, chosen, values)
        still = repeated(rows, moments, chosen)
        left = {g: repeated(rows, moments, [*chosen, g]) for g in groups if g not in chosen}
        gains = {
            g: (explained(rows, [*chosen, g], values) - now) / max(1.0 - now, 1e-9)
            # Names that part all moments name, even where the values of most series are alike.
            + (_ADDS if g in likely and left[g] < 0.1 * still else 0.0)
            for g in left
            if left[g] < 0.7 * still
        }
        best = max(gains, key=lambda g: gains[g], default=None)
        if best is None or still < _TWICE / 4 or gains[best] < _ADDS:
            return tuple(sorted(chosen, key=rows.columns.index))
        chosen.append(best)


def same_meaning(rows: pl.DataFrame, one: Sequence[str], other: str) -> bool:
    """Whether a column says the same thing of a series wherever that stands."""
    pairs = pl.DataFrame({"key": joined(rows, one), "other": texts(rows[other])})
    pairs = pairs.filter(pl.col("other") != "")
    return bool(pairs.height) and pairs.unique().height == pairs["key"].n_unique()
