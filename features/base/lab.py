"""Laboratory results: stored readings given their analyte, their place and their error."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base.frames import Column, Columns, polars_schema
from features.base.lab_basis import LONGEST_HOLD_H, hours, on_juice
from features.base.readings import Readings, by_tag
from features.base.station import Station

#: What `lab_results` gives.
LAB_COLUMNS: Columns = {
    "ts_utc": Column.moment("Time of sampling; of a composite, when gathering began."),
    "analyte": Column.text("What the laboratory measured."),
    "place": Column.text("Where the sample was taken."),
    "port": Column.text("Side of a vessel: in, inside, out or mud; empty for none."),
    "value": Column.number("inside unit of the analyte", "Result; reducing sugars on juice."),
    "sd": Column.number("inside unit of the analyte", "Standard error of the result."),
    "period_h": Column.number("h", "Hours a composite was gathered from ts_utc on; 0: a grab."),
}
LAB_SCHEMA = polars_schema(LAB_COLUMNS)
#: What `left_out` gives.
LEFT_OUT_COLUMNS: Columns = {
    name: LAB_COLUMNS[name] for name in ("ts_utc", "analyte", "place", "port", "period_h")
} | {"basis": Column.text("What the result is a share of: solids or pol.")}
_SOURCE_SCHEMA = pl.Schema(
    [(name, pl.String()) for name in ("tag", "analyte", "place", "port", "basis")]
    + [(name, pl.Float64()) for name in ("low", "high", "least_sd", "rel_sd", "period_h")]
)

#: A grid rests on the readings of its day and of the days beside it, so that no composite longer
#: than this can tell it the purity [h].
LONGEST_COMPOSITE_H = 24.0


def lab_results(readings: Readings, station: Station) -> pl.DataFrame:
    """Results of the lab series of a station, sound ones only, grabs and composites.

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
        and the relative one. Reducing sugars told on solids or on pol are brought to juice
        (`features.base.lab_basis`), with the error of the Brix or pol joined; where none is near
        they are left out, and `left_out` tells of them.

    Notes
    -----
    A composite is of the juice gathered over ``[ts_utc, ts_utc + period_h)``: what was mixed over
    hours is no sample of a moment (`grabs`).
    """
    converted = on_juice(_sound(readings, station)).drop_nulls("value")
    return converted.select(pl.col(name).cast(kind) for name, kind in LAB_SCHEMA.items()).sort(
        "ts_utc", "place", "port", "analyte", "period_h"
    )


def left_out(readings: Readings, station: Station) -> pl.DataFrame:
    """Sound results of reducing sugars that have no Brix or pol near to bring them to juice.

    Parameters
    ----------
    readings, station
        As for `lab_results`.

    Returns
    -------
    polars.DataFrame
        Columns of `LEFT_OUT_COLUMNS`, sorted by time.
    """
    lost = on_juice(_sound(readings, station)).filter(pl.col("value").is_null())
    schema = polars_schema(LEFT_OUT_COLUMNS)
    return lost.select(pl.col(name).cast(kind) for name, kind in schema.items()).sort(pl.all())


def grabs(lab: pl.DataFrame) -> pl.DataFrame:
    """Results that are of a moment; all of a frame that has no ``period_h``."""
    return lab.filter(pl.col("period_h") == 0.0) if "period_h" in lab.columns else lab


def composites(lab: pl.DataFrame) -> pl.DataFrame:
    """Results of juice gathered over hours; none of a frame that has no ``period_h``."""
    if "period_h" not in lab.columns:
        return lab.clear().with_columns(period_h=pl.lit(0.0))
    return lab.filter(pl.col("period_h") > 0.0)


def _sound(readings: Readings, station: Station) -> pl.DataFrame:
    """Sound results on the basis they were told on, with their errors, sorted by time."""
    known = pl.DataFrame(
        [
            (s.tag, s.analyte, s.place, s.port, s.basis, s.low, s.high, s.sd, s.rel_sd, s.period_h)
            for s in station.lab
        ],
        schema=_SOURCE_SCHEMA,
        orient="row",
    )
    value = pl.col("value")
    parts = by_tag(readings)  # most rows are none of the laboratory's
    of_lab = [parts[tag] for tag in known["tag"].unique().sort() if tag in parts]
    schema = {**LAB_SCHEMA, "basis": pl.String()}
    if not of_lab:
        return pl.DataFrame(schema=schema)
    return (
        pl.concat(of_lab)
        .join(known, on="tag", how="inner", maintain_order="left")
        .filter(~pl.col("bad") & value.is_between(pl.col("low"), pl.col("high")))
        .with_columns(sd=pl.max_horizontal("least_sd", pl.col("rel_sd") * value.abs()))
        .select(pl.col(name).cast(kind) for name, kind in schema.items())
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
        Straight line between grabs that are at most `LONGEST_HOLD_H` apart; the last grab
        holds as long. Where no grab is near, a composite of at most `LONGEST_COMPOSITE_H` holds
        over the hours it was gathered in, the shorter of two. Null elsewhere and without samples.

    Notes
    -----
    Apparent purity = 100 pol / Brix, the trade's definition (common practice).
    """
    here = lab.filter((pl.col("place") == place) & pl.col("analyte").is_in(["pol", "brix"]))
    now = hours(times_utc)
    held = _held_over(now, _purities(composites(here), ["ts_utc", "period_h"]))
    line = _line(now, _purities(grabs(here), ["ts_utc"]))
    return pl.Series(values=np.where(np.isfinite(line), line, held)).fill_nan(None)


def brix_pct(times_utc: pl.Series, lab: pl.DataFrame, place: str) -> pl.Series:
    """Brix of the juice at a place by the laboratory [%].

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
        Between and beside samples as `purity_pct` has it.
    """
    here = lab.filter(pl.col("place") == place, pl.col("analyte") == "brix").sort("ts_utc")
    now = hours(times_utc)
    held = _held_over(now, composites(here).rename({"value": "told"}))
    line = _line(now, grabs(here).rename({"value": "told"}))
    return pl.Series(values=np.where(np.isfinite(line), line, held)).fill_nan(None)


def _purities(lab: pl.DataFrame, sample: list[str]) -> pl.DataFrame:
    """Purity of each sample for which both results are there [%]."""
    wide = lab.pivot(on="analyte", index=sample, values="value", aggregate_function="mean")
    if wide.is_empty() or {"pol", "brix"} - set(wide.columns):
        return lab.clear().select(*sample, told="value")
    sound = wide.filter(pl.col("brix") > 0, pl.col("pol").is_not_null()).sort(sample)
    return sound.select(*sample, told=100.0 * pl.col("pol") / pl.col("brix"))


def _line(now: NDArray[np.float64], samples: pl.DataFrame) -> NDArray[np.float64]:
    if samples.is_empty():
        return np.full(len(now), np.nan)
    at = hours(samples["ts_utc"])
    before = np.searchsorted(at, now, side="right") - 1
    after = np.minimum(before + 1, len(at) - 1)
    held_h = np.where(after > before, at[after] - at[before], now - at[before])
    known = (before >= 0) & (held_h <= LONGEST_HOLD_H)
    return np.where(known, np.interp(now, at, samples["told"].to_numpy()), np.nan)


def _held_over(now: NDArray[np.float64], samples: pl.DataFrame) -> NDArray[np.float64]:
    found = np.full(len(now), np.nan)
    if samples.is_empty():
        return found
    short = samples.filter(pl.col("period_h") <= LONGEST_COMPOSITE_H)
    short = short.sort("period_h", "ts_utc", descending=[True, False])
    for start, period_h, told in zip(
        hours(short["ts_utc"]), short["period_h"], short["told"], strict=True
    ):
        found[(now >= start) & (now < start + period_h)] = told
    return found
