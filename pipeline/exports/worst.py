"""Qualities of each reading, the worst of them where several columns judge it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from pipeline.base import DataError
from pipeline.cells import UNKNOWN, asked, verdict
from pipeline.layouts import Plan, Quality


def quality_columns(columns: Sequence[Quality]) -> dict[str, pl.Expr]:
    """Columns of quality as text, each under a name that no export can have."""
    return {
        _quality(k): pl.col(q.column).cast(pl.String).str.strip_chars()
        for k, q in enumerate(columns)
    }


def _quality(number: int) -> str:
    return f" quality {number}"


def worst_quality(frame: pl.DataFrame, plan: Plan, qualities: Sequence[Quality]) -> pl.Series:
    """Reason against each reading by its qualities: the worst of them.

    Parameters
    ----------
    frame : polars.DataFrame
        With value and the columns that `quality_columns` gives, tag and raw.
    plan : Plan
    qualities : sequence of Quality

    Raises
    ------
    DataError
        A word beside a number is not understood.
    """
    nothing = pl.Series([None], dtype=pl.String).new_from_index(0, frame.height)
    if not qualities:
        return nothing
    names = []
    for number, quality in enumerate(qualities):
        words = frame[_quality(number)]
        found = verdict(words, quality.judge)
        odd = (found == UNKNOWN).fill_null(value=False)
        odd &= frame["value"].is_finite().fill_null(value=False)
        if odd.any():
            raise _question(plan, quality, words, frame.filter(odd).row(0, named=True))
        names.append(found.alias(_quality(number)))
    reasons = pl.DataFrame(names)
    worst = [
        pl.when(pl.any_horizontal(pl.all() == reason)).then(pl.lit(reason))
        for reason in (UNKNOWN, "bad_quality", "uncertain_quality")
    ]
    return reasons.select(pl.coalesce(worst)).to_series()


def _question(plan: Plan, quality: Quality, words: pl.Series, row: dict[str, Any]) -> DataError:
    """Build the question what a word means that comes further down."""
    word = next((v for k, v in row.items() if k == words.name), None) or ""
    count = int((words.fill_null("") == word).sum())
    seen = dict(quality.words) | {word: count}
    told = f"{row['tag']} {row['raw']}"
    return asked(plan.where, quality.column, {word: None}, seen, lambda _: told)
