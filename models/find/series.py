"""Minutes of a search: what the reports draw and sum."""

from __future__ import annotations

import math

import numpy as np
import polars as pl

from features.base import MINUTE, Column, Columns, check_frame
from models.amount import Excess, ProbeBias, ph_standing_error
from models.base import Minutes, nan_sum
from models.level import Level, zone_shares

#: `Losses.minutes`: one minute of the search's result.
LOSS_COLUMNS: Columns = {
    "ts_utc": MINUTE,
    "loss_kg_h": Column.number("kg/h", "Sucrose inverted, multiplier and pH put right."),
    "unavoidable_kg_h": Column.number("kg/h", "The same with every vessel at target."),
    "excess_kg_h": Column.number("kg/h", "Loss less the unavoidable."),
    "ph_limed_true": Column.number("pH", "Limed juice, the probe put right."),
    "ph_clear_true": Column.number("pH", "Clear juice, the probe put right."),
    "level_log_sd": Column.number("-", "Log standard error of the level of the loss."),
    "ph_sd": Column.number("pH", "Standing error of the corrected pH."),
    "ph_memory_h": Column.number("h", "Time over which that error forgets itself; null: never."),
    "measured": Column.flag("False where something was not measured and stands at usual."),
}


def minute_series(
    minutes: Minutes, excess: Excess, level: Level, biases: dict[str, ProbeBias]
) -> pl.DataFrame:
    """Loss, unavoidable and excess by minute, pH put right, and how sure all of it is.

    Parameters
    ----------
    minutes : Minutes
    excess : Excess
        At multiplier 1, stops put right.
    level : Level
    biases : dict of ProbeBias

    Returns
    -------
    polars.DataFrame
        Columns of ``LOSS_COLUMNS``.
    """
    loss = level.multiplier.value * nan_sum(excess.loss_kg_h)
    unavoidable = level.multiplier.value * nan_sum(excess.reference_kg_h)
    columns = {
        "loss_kg_h": loss,
        "unavoidable_kg_h": unavoidable,
        "excess_kg_h": loss - unavoidable,
    }
    for point in ("limed", "clear"):
        reading = minutes.station[f"ph_{point}"]
        columns[f"ph_{point}_true"] = reading - (biases[point].bias if point in biases else 0.0)
    columns["level_log_sd"] = level.log_sds(zone_shares(minutes), 0, minutes.n)
    sds = [bias.sd for bias in biases.values()]
    columns["ph_sd"] = np.mean(sds, axis=0) if sds else np.full(minutes.n, ph_standing_error({}))
    memory_h = float(np.mean([b.memory_h for b in biases.values()])) if biases else math.inf
    columns["ph_memory_h"] = np.full(minutes.n, memory_h if math.isfinite(memory_h) else math.nan)
    times = pl.datetime_range(minutes.start_utc, minutes.at(minutes.n - 1), "1m", eager=True).alias(
        "ts_utc"
    )
    frame = pl.DataFrame([times.cast(pl.Datetime("us", "UTC"))]).with_columns(
        [pl.Series(name, values) for name, values in columns.items()]
    )
    known = pl.Series("measured", excess.measured)
    frame = frame.with_columns(pl.col(list(columns)).fill_nan(None), known)
    return check_frame(frame, LOSS_COLUMNS)
