"""Loss above the unavoidable summed over days, shifts or other groups of minutes, with intervals.

The loss that kinetics give errs in two ways at once: by a share of itself (kinetic multiplier, and
what the model leaves out) and by the pH that stays uncertain after the laboratory put it right.
Both last for days, so bounds of several days are added as they are, which is the cautious side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import polars as pl

from features.base import Column, Columns

#: Vessels and the pH inside them are known to about a fifth, the corrected pH to 0.04 for days on
#: end (estimates; the second as measured on simulated mills).
_MODEL_LOG_SD: Final = 0.2
_PH_SD: Final = 0.04
_Z90: Final = 1.645
_TONNES_A_MINUTE: Final = 1.0 / 60_000.0
#: What `bare_sums` gives for each group.
SUM_COLUMNS: Final[Columns] = {
    "sucrose_fed_t": Column.number("t", "Sucrose fed."),
    "unavoidable_t": Column.number("t", "Sucrose lost by the unavoidable."),
    "excess_t": Column.number("t", "Sucrose lost above it."),
    "minutes": Column.count("Minutes judged."),
    "measured": Column.count("Of them with all readings."),
}


def multiplier_log_sd(low: float, high: float) -> float:
    """Log standard error of a multiplier from its 90 % interval."""
    return math.log(high / low) / (2 * _Z90)


def loss_sums(minutes: pl.DataFrame, by: Sequence[str], log_sd: float) -> pl.DataFrame:
    """Sum loss by minute over groups, with intervals: `bare_sums`, then `with_bounds`."""
    return with_bounds(bare_sums(minutes, by), log_sd).sort(*by)


def bare_sums(minutes: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
    """Sum loss by minute over groups.

    Parameters
    ----------
    minutes : polars.DataFrame
        sucrose_feed_kg_h, unavoidable_kg_h, excess_kg_h, measured (False where the mill's usual
        value stands in), and the columns of `by`; one row a minute.
    by : sequence of str
        Columns that make a group.

    Returns
    -------
    polars.DataFrame
        `by` and the columns of `SUM_COLUMNS`, sorted by `by`. Sums of parts of a group may be
        added.
    """
    return (
        minutes.group_by(*by)
        .agg(
            sucrose_fed_t=pl.col("sucrose_feed_kg_h").sum() * _TONNES_A_MINUTE,
            unavoidable_t=pl.col("unavoidable_kg_h").sum() * _TONNES_A_MINUTE,
            excess_t=pl.col("excess_kg_h").sum() * _TONNES_A_MINUTE,
            minutes=pl.col("excess_kg_h").count().cast(pl.Int64),
            measured=pl.col("measured").sum().cast(pl.Int64),
        )
        .sort(*by)
    )


def with_bounds(sums: pl.DataFrame, log_sd: float) -> pl.DataFrame:
    """Sums with the 90 % interval of their excess_t, excess_low_t and excess_high_t [t].

    Parameters
    ----------
    sums : polars.DataFrame
        As `bare_sums` gives them.
    log_sd : float
        Log standard error of the kinetic multiplier.
    """
    share = math.hypot(log_sd, _MODEL_LOG_SD)
    by_ph = math.log(10.0) * _PH_SD * (pl.col("unavoidable_t") + pl.col("excess_t"))
    half = _Z90 * ((share * pl.col("excess_t")) ** 2 + by_ph**2).sqrt()
    return sums.with_columns(
        excess_low_t=pl.col("excess_t") - half, excess_high_t=pl.col("excess_t") + half
    )
