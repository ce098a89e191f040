"""Loss by shift: which shift a minute belongs to, and the sums of each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import polars as pl

from models.account import loss_sums

_MINUTES_A_DAY: Final = 1440


def shift_sums(minutes: pl.DataFrame, zone: str, starts: Sequence[str]) -> pl.DataFrame:
    """Sum loss by minute over shifts.

    Parameters
    ----------
    minutes : polars.DataFrame
        ts_utc and what `loss_sums` needs.
    zone : str
        The plant's time zone.
    starts : sequence of str
        Local times ``HH:MM`` at which shifts begin, rising through the day. A shift that runs
        over midnight belongs to the day it began on.

    Returns
    -------
    polars.DataFrame
        ``day`` (local) and ``order`` (position in `starts`), then as `loss_sums`; ``started`` and
        ``ended`` (excluded) of the minutes, UTC.
    """
    begins = [int(s[:2]) * 60 + int(s[3:]) for s in starts] or [0]
    local = pl.col("ts_utc").dt.convert_time_zone(zone)
    clock = local.dt.hour().cast(pl.Int64) * 60 + local.dt.minute()
    begun = pl.sum_horizontal([(clock >= begin).cast(pl.Int64) for begin in begins])
    # Before the first start of the day the last shift of the day before still runs.
    over = begun == 0
    labelled = minutes.with_columns(
        order=pl.when(over).then(len(begins) - 1).otherwise(begun - 1),
        day=(local.dt.date() - pl.when(over).then(pl.duration(days=1)).otherwise(pl.duration())),
    )
    spans = labelled.group_by("day", "order").agg(
        started=pl.col("ts_utc").min(), ended=pl.col("ts_utc").max() + pl.duration(minutes=1)
    )
    sums = loss_sums(labelled, ["day", "order"])
    return sums.join(spans, on=["day", "order"], how="left", maintain_order="left")


def shift_lengths(starts: Sequence[str]) -> list[int]:
    """Length of each shift on an ordinary day [min]."""
    begins = [int(s[:2]) * 60 + int(s[3:]) for s in starts] or [0]
    ends = [*begins[1:], begins[0] + _MINUTES_A_DAY]
    return [end - begin for begin, end in zip(begins, ends, strict=True)]
