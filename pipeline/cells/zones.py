"""What a local time is in UTC, by the rules a mill has for hours that come twice or never."""

from __future__ import annotations

from typing import Final, Literal

import polars as pl

from pipeline.cells.times import UTC
from pipeline.mill import offset_s

#: Which of polars' words stands for which of the mill's.
_AMBIGUOUS: Final[dict[str, Literal["earliest", "latest", "null"]]] = {
    "first": "earliest",
    "second": "latest",
    "refuse": "null",
}


def local_to_utc(
    naive: pl.Expr, zone: str, ambiguous: str, missing: str, which: pl.Series | None
) -> pl.Expr:
    """Moment of a local time; null where the mill's rules refuse it.

    `zone` is an IANA name or a fixed offset such as ``-03:00``. `which` pass of a repeated hour a
    row is of goes before the mill's rules, where it is known.
    """
    if (ahead_s := offset_s(zone)) is not None:
        return (naive - pl.duration(seconds=ahead_s)).dt.replace_time_zone("UTC").cast(UTC)
    rules = (ambiguous,) if which is None else (ambiguous, "first", "second")
    moment, *passes = (
        naive.dt.replace_time_zone(zone, ambiguous=_AMBIGUOUS[rule], non_existent="null").cast(UTC)
        for rule in rules
    )
    if which is not None:
        known = pl.lit(which)
        first = pl.when(known == 1).then(passes[0])
        moment = first.when(known == 2).then(passes[1]).otherwise(moment)
    if missing == "refuse":
        return moment
    # A skipped local time is read with the offset that held before the clocks changed: three
    # hours earlier is safely on that side, and three hours of elapsed time lead back.
    either = naive.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    back = pl.duration(hours=3)
    earlier = (naive - back).dt.replace_time_zone(zone, ambiguous="latest", non_existent="null")
    return pl.when(either.is_null()).then(earlier.cast(UTC) + back).otherwise(moment)


def repeated(naive: pl.Series, zone: str) -> pl.Series:
    """Tell which local moments come twice."""
    if offset_s(zone) is not None:
        return pl.Series([False]).new_from_index(0, len(naive))
    early, late = (
        naive.dt.replace_time_zone(zone, ambiguous=way, non_existent="null")
        for way in ("earliest", "latest")
    )
    return (early != late).fill_null(value=False)
