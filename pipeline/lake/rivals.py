"""Two good values of one series at one moment in one export: nobody can say which holds.

Where several juices are pooled under one name, or two sheets contradict each other, there are many
of them: a person is asked. A few strays are kept as one bad reading without a number.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import polars as pl

_KEY: Final = ("tag", "ts_utc")
#: Reason of a reading that two values claim.
TWO_VALUES: Final = "two_values"


@dataclass(frozen=True, slots=True)
class Rivals:
    """Moments of some readings that two good values claim.

    Attributes
    ----------
    moments : tuple of datetime
        In UTC; one for each series.
    tag : str
        Series of the first.
    low, high : float
        The two values furthest apart at the first [inside unit].
    among : int
        Readings of all these series.
    """

    moments: tuple[datetime, ...] = ()
    tag: str = ""
    low: float = 0.0
    high: float = 0.0
    among: int = 0


def rivals_of(readings: pl.DataFrame) -> pl.DataFrame:
    """Moments (tag, ts_utc, low, high) for which good readings differ by more than rounding."""
    good = readings.filter(~pl.col("bad")).select(*_KEY, "value").unique()
    text = pl.col("value").cast(pl.String)
    part = text.str.extract(r"\.(\d*[1-9])0*$", 1).str.len_chars().fill_null(0).cast(pl.Float64)
    found = good.group_by(_KEY).agg(
        low=pl.col("value").min(), high=pl.col("value").max(), places=part.min(), count=pl.len()
    )
    rounding = 0.5 * pl.lit(10.0).pow(-pl.col("places")) * (1 + 1e-9)
    apart = (pl.col("count") > 1) & (pl.col("high") - pl.col("low") > rounding)
    return found.filter(apart).select(*_KEY, "low", "high").sort("ts_utc", "tag")


def without_rivals(single: pl.DataFrame, rivals: pl.DataFrame) -> pl.DataFrame:
    """Readings, one a moment, of which those that two values claim are bad and have no number."""
    hit = single.select(_KEY).join(
        rivals.select(*_KEY, claimed=pl.lit(value=True)), on=_KEY, how="left", maintain_order="left"
    )["claimed"].fill_null(value=False)  # fmt: skip
    return single.with_columns(
        value=pl.when(~hit).then("value"),
        bad=pl.col("bad") | hit,
        reason=pl.when(hit).then(pl.lit(TWO_VALUES)).otherwise("reason"),
    )


def told(rivals: pl.DataFrame, single: pl.DataFrame) -> Rivals:
    """The moments among `single` readings, and the first with its two values."""
    if rivals.is_empty():
        return Rivals()
    tag, _, low, high = rivals.row(0)
    among = int(single["tag"].is_in(rivals["tag"].unique().to_list()).sum())
    return Rivals(tuple(rivals["ts_utc"].to_list()), tag, low, high, among)
