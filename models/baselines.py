"""Simple rules that every method must beat, in the shape of findings."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import polars as pl
from sklearn.ensemble import IsolationForest

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


def three_sigma_per_tag(grid: pl.DataFrame, lost_t_h: float = 0.08) -> pl.DataFrame:
    """Baseline: an alarm on each tag three of its own standard deviations from its mean.

    Parameters
    ----------
    grid : polars.DataFrame
        ts_utc and one column a tag, every minute.
    lost_t_h : float
        Tonnes claimed for each hour of alarm [t/h].

    Returns
    -------
    polars.DataFrame
        One finding a stretch of at least an hour in which any tag alarms, cause ``unexplained``.
    """
    blocks = _blocks(grid)
    tags = [c for c in blocks.columns if c != "ts_utc"]
    apart = [((pl.col(c) - pl.col(c).mean()) / pl.col(c).std()).abs() > 3.0 for c in tags]
    flags = blocks.select(pl.any_horizontal([a.fill_null(value=False) for a in apart])).to_series()
    return _from_flags(blocks["ts_utc"], flags.to_list(), lost_t_h)


def forest_on_raw_tags(
    grid: pl.DataFrame, share: float = 0.3, lost_t_h: float = 0.08
) -> pl.DataFrame:
    """Baseline: an isolation forest on the tags themselves, no physics.

    Parameters
    ----------
    grid : polars.DataFrame
        ts_utc and one column a tag, every minute.
    share : float
        Share of quarter-hours to flag: as much of the season as events fill.
    lost_t_h : float
        Tonnes claimed for each flagged hour [t/h].
    """
    blocks = _blocks(grid)
    values = blocks.drop("ts_utc").select(pl.all().fill_null(strategy="forward").fill_null(0.0))
    forest = IsolationForest(n_estimators=100, contamination=share, random_state=0)
    flags = forest.fit_predict(values.to_numpy()) < 0
    return _from_flags(blocks["ts_utc"], flags.tolist(), lost_t_h)


def at_random(findings: pl.DataFrame, start_utc: datetime, end_utc: datetime) -> pl.DataFrame:
    """Baseline: the same findings, moved to random times (fixed seed)."""
    rng = np.random.default_rng(0)
    rows = []
    for row in findings.iter_rows(named=True):
        length = row["ended"] - row["started"]
        begin = start_utc + (end_utc - start_utc - length) * float(rng.random())
        rows.append((row["cause"], begin, begin + length, row["lost_t"]))
    return _rows(rows)


def _blocks(grid: pl.DataFrame) -> pl.DataFrame:
    return (
        grid.sort("ts_utc").group_by_dynamic("ts_utc", every="15m").agg(pl.exclude("ts_utc").mean())
    )


def _from_flags(times: pl.Series, flags: list[bool], lost_t_h: float) -> pl.DataFrame:
    """Stretches of flags, pauses of up to an hour bridged, an hour or longer."""
    at, quarter, hour = times.to_list(), timedelta(minutes=15), timedelta(hours=1)
    runs: list[list[datetime]] = []
    for begin, flag in zip(at, flags, strict=True):
        if flag and runs and begin - runs[-1][1] <= hour:
            runs[-1][1] = begin + quarter
        elif flag:
            runs.append([begin, begin + quarter])
    long = [(a, b) for a, b in runs if b - a >= hour]
    return _rows([("unexplained", a, b, lost_t_h * ((b - a) / hour)) for a, b in long])
