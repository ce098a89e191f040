"""Laboratory results: stored readings given their analyte, their place and their error."""

from __future__ import annotations

import numpy as np
import polars as pl

from features.base.frames import Column, Columns, polars_schema
from features.base.readings import Readings, by_tag
from features.base.station import Station

#: What `lab_results` gives.
LAB_COLUMNS: Columns = {
    "ts_utc": Column.moment("Time of sampling."),
    "analyte": Column.text("What the laboratory measured."),
    "place": Column.text("Where the sample was taken."),
    "port": Column.text("Side of a vessel: in, inside, out or mud; empty for none."),
    "value": Column.number("inside unit of the analyte", "Result."),
    "sd": Column.number("inside unit of the analyte", "Standard error of the result."),
}
LAB_SCHEMA = polars_schema(LAB_COLUMNS)
_SOURCE_SCHEMA = pl.Schema(
    [(name, pl.String()) for name in ("tag", "analyte", "place", "port")]
    + [(name, pl.Float64()) for name in ("low", "high", "least_sd", "rel_sd")]
)

#: A result stands for the juice at most this long [h]; common practice is a sample a shift.
LONGEST_HOLD_H = 12.0
_MICROSECONDS_A_HOUR = 3.6e9


def lab_results(readings: Readings, station: Station) -> pl.DataFrame:
    """Results of the lab series of a station, sound ones only.

    Parameters
    ----------
    readings : polars.DataFrame or mapping
        Columns ts_utc, tag, value, bad (others are ignored), or as `features.base.readings.by_tag`
        parts them; values in the inside unit. Rows of other tags are ignored.
    station : Station
        Its ``lab`` says what each series is. A result counts when it is not bad and lies in
        ``[low, high]``.

    Returns
    -------
    polars.DataFrame
        Columns of `LAB_COLUMNS`, sorted by time; the standard error is the larger of the absolute
        and the relative one.
    """
    known = pl.DataFrame(
        [(s.tag, s.analyte, s.place, s.port, s.low, s.high, s.sd, s.rel_sd) for s in station.lab],
        schema=_SOURCE_SCHEMA,
        orient="row",
    )
    value = pl.col("value")
    parts = by_tag(readings)  # most rows are none of the laboratory's
    of_lab = [parts[tag] for tag in known["tag"].unique().sort() if tag in parts]
    if not of_lab:
        return LAB_SCHEMA.to_frame()
    return (
        pl.concat(of_lab)
        .join(known, on="tag", how="inner", maintain_order="left")
        .filter(~pl.col("bad") & value.is_between(pl.col("low"), pl.col("high")))
        .with_columns(sd=pl.max_horizontal("least_sd", pl.col("rel_sd") * value.abs()))
        .select(pl.col(name).cast(kind) for name, kind in LAB_SCHEMA.items())
        .sort("ts_utc", "place", "port", "analyte")
    )


def purity_pct(times_utc: pl.Series, lab: pl.DataFrame, place: str) -> pl.Series:
    """Apparent purity of the juice at a place: pol per Brix of the same sample [%].

    Parameters
    ----------
    times_utc : polars.Series
        Rising times with a zone.
    lab : polars.DataFrame
        As `lab_results` gives it.
    place : str
        Sampling place, such as ``mixed_juice``.

    Returns
    -------
    polars.Series
        Straight line between samples that are at most `LONGEST_HOLD_H` apart; the last sample
        holds as long. Null elsewhere and without samples.

    Notes
    -----
    Apparent purity = 100 pol / Brix, the trade's definition (common practice).
    """
    samples = (
        lab.filter((pl.col("place") == place) & pl.col("analyte").is_in(["pol", "brix"]))
        .pivot(on="analyte", index="ts_utc", values="value", aggregate_function="mean")
        .sort("ts_utc")
    )
    if samples.is_empty() or {"pol", "brix"} - set(samples.columns):
        return pl.Series(values=[None] * len(times_utc), dtype=pl.Float64)
    samples = samples.filter(pl.col("brix") > 0, pl.col("pol").is_not_null())
    at = _hours(samples["ts_utc"])
    purity = (100.0 * samples["pol"] / samples["brix"]).to_numpy()
    if len(at) == 0:
        return pl.Series(values=[None] * len(times_utc), dtype=pl.Float64)
    now = _hours(times_utc)
    before = np.searchsorted(at, now, side="right") - 1
    after = np.minimum(before + 1, len(at) - 1)
    held_h = np.where(after > before, at[after] - at[before], now - at[before])
    known = (before >= 0) & (held_h <= LONGEST_HOLD_H)
    return pl.Series(values=np.where(known, np.interp(now, at, purity), np.nan)).fill_nan(None)


def _hours(times_utc: pl.Series) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Hours since 1970."""
    return times_utc.dt.epoch("us").to_numpy() / _MICROSECONDS_A_HOUR
