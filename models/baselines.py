"""Simple rules that every method must beat, in the shape of findings."""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from models.scorecard import SCORED_SCHEMA


def report_nothing() -> pl.DataFrame:
    """Baseline: no findings at all."""
    return pl.DataFrame(schema=SCORED_SCHEMA)


def flag_everything(start_utc: datetime, end_utc: datetime, lost_t: float) -> pl.DataFrame:
    """Baseline: one finding that covers everything.

    Parameters
    ----------
    start_utc, end_utc : datetime
        The data searched.
    lost_t : float
        Tonnes claimed [t].
    """
    return _rows([("unexplained", start_utc, end_utc, lost_t)])


def fixed_limit_clear_ph(
    readings: pl.DataFrame,
    limit: float = 6.8,
    *,
    least_h: float = 1.0,
    lost_t_h: float = 0.08,
) -> pl.DataFrame:
    """Baseline: the alarm most mills have, clear-juice pH below a fixed limit.

    Parameters
    ----------
    readings : polars.DataFrame
        ts_utc and ph_clear, in order of time; nulls are skipped.
    limit : float
        Alarm limit for the mean pH of half an hour.
    least_h : float
        Shorter alarms are dropped; alarms closer than this are joined [h].
    lost_t_h : float
        Tonnes claimed for each hour of alarm [t/h].

    Returns
    -------
    polars.DataFrame
        One finding an alarm, cause ``low_limed_ph``.
    """
    half_hour = timedelta(minutes=30)
    means = (
        readings.select("ts_utc", "ph_clear")
        .drop_nulls()
        .group_by_dynamic("ts_utc", every=half_hour)
        .agg(pl.col("ph_clear").mean())
        .filter(pl.col("ph_clear") < limit)
    )
    begin = means["ts_utc"].to_list()
    alarms: list[list[datetime]] = []
    for at in begin:
        if alarms and at - alarms[-1][1] <= timedelta(hours=least_h):
            alarms[-1][1] = at + half_hour
        else:
            alarms.append([at, at + half_hour])
    long = [(a, b) for a, b in alarms if b - a >= timedelta(hours=least_h)]
    hour = timedelta(hours=1)
    return _rows([("low_limed_ph", a, b, lost_t_h * ((b - a) / hour)) for a, b in long])


def _rows(items: list[tuple[str, datetime, datetime, float]]) -> pl.DataFrame:
    rows = [
        (cause, a, b, lost_t, 0.5 * lost_t, 2.0 * lost_t, rank, 0.5)
        for rank, (cause, a, b, lost_t) in enumerate(items, start=1)
    ]
    return pl.DataFrame(rows, schema=SCORED_SCHEMA, orient="row")
