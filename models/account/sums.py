"""Loss above the unavoidable summed over days, shifts or other groups of minutes, with intervals.

The loss that kinetics give errs in two ways at once. The level of the kinetics (`models.level`:
multiplier, volumes, temperatures and pH slope together) multiplies all of it and is the same in
every minute. The pH, put right by the laboratory, moves the whole loss, the unavoidable too, and
forgets its error within hours: over a week most of it averages out. Every sum therefore gets its
interval from what it holds, so that a week is as sure as its days together, not end to end.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import polars as pl

from features.base import LN10, Column, Columns
from features.kinetics import Z90

_TONNES_A_MINUTE: Final = 1.0 / 60_000.0
_SUMMED: Final = ("sucrose_fed_t", "unavoidable_t", "excess_t", "minutes", "measured")
#: What makes a sum uncertain: means over its minutes.
_ERRORS: Final = ("level_log_sd", "ph_sd", "ph_memory_h")
#: What `bare_sums` gives for each group.
SUM_COLUMNS: Final[Columns] = {
    "sucrose_fed_t": Column.number("t", "Sucrose fed."),
    "unavoidable_t": Column.number("t", "Sucrose lost by the unavoidable."),
    "excess_t": Column.number("t", "Sucrose lost above it."),
    "minutes": Column.count("Minutes judged."),
    "measured": Column.count("Of them with all readings."),
    "level_log_sd": Column.number("-", "Log standard error of the level of the loss."),
    "ph_sd": Column.number("pH", "Standing error of the corrected pH."),
    "ph_memory_h": Column.number("h", "Time over which that error forgets itself; null: never."),
}


def multiplier_log_sd(low: float, high: float) -> float:
    """Log standard error of a multiplier from its 90 % interval."""
    return math.log(high / low) / (2 * Z90)


def loss_sums(minutes: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
    """Sum loss by minute over groups, with intervals: `bare_sums`, then `with_bounds`."""
    return with_bounds(bare_sums(minutes, by))


def bare_sums(minutes: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
    """Sum loss by minute over groups.

    Parameters
    ----------
    minutes : polars.DataFrame
        sucrose_feed_kg_h, unavoidable_kg_h, excess_kg_h, measured (False where the mill's usual
        value stands in), level_log_sd, ph_sd, ph_memory_h, and the columns of `by`; one row a
        minute.
    by : sequence of str
        Columns that make a group.

    Returns
    -------
    polars.DataFrame
        `by` and the columns of `SUM_COLUMNS`, sorted by `by`; `pooled` adds them further.
    """
    return (
        minutes.group_by(*by)
        .agg(
            sucrose_fed_t=pl.col("sucrose_feed_kg_h").sum() * _TONNES_A_MINUTE,
            unavoidable_t=pl.col("unavoidable_kg_h").sum() * _TONNES_A_MINUTE,
            excess_t=pl.col("excess_kg_h").sum() * _TONNES_A_MINUTE,
            minutes=pl.col("excess_kg_h").count().cast(pl.Int64),
            measured=pl.col("measured").sum().cast(pl.Int64),
            **{name: pl.col(name).mean() for name in _ERRORS},
        )
        .sort(*by)
    )


def pooled(sums: pl.DataFrame, by: Sequence[str] = ()) -> pl.DataFrame:
    """Sums added to larger ones; their errors are means by minutes.

    Parameters
    ----------
    sums : polars.DataFrame
        As `bare_sums` gives them, bounds or not.
    by : sequence of str
        Columns that make a group; none: everything is one.

    Returns
    -------
    polars.DataFrame
        `by` and the columns of `SUM_COLUMNS`, sorted by `by`; no row where there was none.
    """
    weighed = {
        name: (pl.col(name) * pl.col("minutes")).sum()
        / pl.col("minutes").filter(pl.col(name).is_not_null()).sum()
        for name in _ERRORS
    }
    added = [pl.col(name).sum() for name in _SUMMED]
    means = [
        pl.when(pl.col(name).count() > 0).then(mean.fill_nan(None)).alias(name)
        for name, mean in weighed.items()
    ]
    if not by:
        return sums.select(*added, *means).head(min(sums.height, 1))
    return sums.group_by(*by).agg(*added, *means).sort(*by)


def with_bounds(sums: pl.DataFrame) -> pl.DataFrame:
    """Sums with the 90 % interval of their excess_t, excess_low_t and excess_high_t [t].

    Parameters
    ----------
    sums : polars.DataFrame
        As `bare_sums` or `pooled` give them.

    Notes
    -----
    A pH error of standing size s that forgets itself within a time M is, in the mean of a longer
    time T, s sqrt(2 M / T): the limit of an Ornstein-Uhlenbeck process for T much longer than M
    (see `models.amount.ProbeBias.mean_sd`); never more than s.
    """
    hours = pl.max_horizontal(pl.col("minutes") / 60.0, 1e-6)
    left = (2.0 * pl.col("ph_memory_h") / hours).clip(0.0, 1.0).fill_null(1.0)
    lost = pl.col("unavoidable_t") + pl.col("excess_t")
    by_ph = LN10 * pl.col("ph_sd") * left.sqrt() * lost
    half = Z90 * ((pl.col("level_log_sd") * pl.col("excess_t")) ** 2 + by_ph**2).sqrt()
    return sums.with_columns(
        excess_low_t=pl.col("excess_t") - half, excess_high_t=pl.col("excess_t") + half
    )


def added_findings(findings: pl.DataFrame, level_log_sd: float) -> tuple[float, float, float]:
    """Findings added up, with the 90 % interval of the sum [t].

    Parameters
    ----------
    findings : polars.DataFrame
        lost_t and lost_t_high.
    level_log_sd : float
        Log standard error of the level of the kinetics, which all of them share [-]; what is left
        of each one's interval is its own.

    Returns
    -------
    mid, low, high : float

    Notes
    -----
    The sum of lognormal amounts is taken for lognormal, its log variance that of the sum over the
    square of the sum.
    """
    known = findings.filter(pl.col("lost_t") > 0.0)
    mid = known["lost_t"].to_numpy()
    total = float(mid.sum())
    if total <= 0.0:
        return total, total, total
    # The upper end alone: a lower one may lie below nothing.
    high = known["lost_t_high"].fill_null(known["lost_t"]).to_numpy()
    log_sd = np.log(np.maximum(high / mid, 1.0)) / Z90
    shared = np.minimum(log_sd, level_log_sd)
    own = np.sqrt(log_sd**2 - shared**2)
    sd = math.hypot(float((shared * mid).sum()), float(np.linalg.norm(own * mid)))
    spread = math.exp(Z90 * sd / total)
    return total, total / spread, total * spread
