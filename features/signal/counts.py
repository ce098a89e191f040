"""How many readings of each tag and day are good, or bad for which reason."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import (
    TAG,
    Column,
    Columns,
    Readings,
    by_tag,
    check_frame,
    polars_schema,
    times_us,
)

Bools = NDArray[np.bool_]

#: What `quality_counts` gives.
QUALITY_COLUMNS: Final[Columns] = {
    "day": Column(pl.Date(), "UTC", "Day."),
    "tag": TAG,
    "reason": Column.text("good, or why the readings are bad."),
    "readings": Column.count("How many."),
}
_DAY_US: Final = 86_400_000_000


def quality_counts(readings: Readings) -> pl.DataFrame:
    """How many readings of each tag and UTC day are good, or bad for which reason.

    Parameters
    ----------
    readings : polars.DataFrame or mapping
        ts_utc, tag, bad, reason, or as `features.base.readings.by_tag` parts them.

    Returns
    -------
    polars.DataFrame
        Columns of `QUALITY_COLUMNS`, sorted by day, tag and reason.
    """
    schema = polars_schema(QUALITY_COLUMNS)
    good: list[tuple[int, str, str, int]] = []
    bad: list[pl.DataFrame] = []
    for tag, part in by_tag(readings).items():
        # Nearly all readings are good: only the others are looked at word by word.
        is_bad = part["bad"]
        good += [(day, tag, "good", count) for day, count in _by_day(part, ~is_bad.to_numpy())]
        if is_bad.any():
            bad.append(part.select("ts_utc", "tag", "reason").filter(is_bad))
    rows = pl.DataFrame(good, schema=list(schema), orient="row").cast(schema)
    if bad:
        reason = pl.col("reason").fill_null("unknown")
        counts = pl.concat(bad).group_by(pl.col("ts_utc").dt.date().alias("day"), "tag", reason)
        rows = pl.concat([rows, counts.agg(readings=pl.len()).cast(schema)])
        # An export may call bad readings good.
        rows = rows.group_by("day", "tag", "reason").agg(pl.col("readings").sum())
    return check_frame(rows.sort("day", "tag", "reason"), QUALITY_COLUMNS)


def _by_day(part: pl.DataFrame, counted: Bools) -> list[tuple[int, int]]:
    """Days since 1970 with some of these readings, and how many."""
    at_us = times_us(part)
    if at_us.size == 0:
        return []
    days = np.arange(at_us[0] // _DAY_US, at_us[-1] // _DAY_US + 1)
    edges = np.searchsorted(at_us, np.append(days, days[-1] + 1) * _DAY_US)
    counts = [int(np.count_nonzero(counted[a:b])) for a, b in pairwise(edges)]
    return [(int(day), count) for day, count in zip(days, counts, strict=True) if count]
