"""Laboratory results: stored readings given their analyte, their place and their error."""

from __future__ import annotations

import polars as pl

from features.station import Station

LAB_SCHEMA = pl.Schema(
    [
        ("ts_utc", pl.Datetime("us", "UTC")),
        ("analyte", pl.String()),
        ("place", pl.String()),
        ("port", pl.String()),
        ("value", pl.Float64()),
        ("sd", pl.Float64()),
    ]
)
_SOURCE_SCHEMA = pl.Schema(
    [(name, pl.String()) for name in ("tag", "analyte", "place", "port")]
    + [(name, pl.Float64()) for name in ("low", "high", "least_sd", "rel_sd")]
)


def lab_results(readings: pl.DataFrame, station: Station) -> pl.DataFrame:
    """Results of the lab series of a station, sound ones only.

    Parameters
    ----------
    readings : polars.DataFrame
        Columns ts_utc, tag, value, bad (others are ignored); values in the inside unit. Rows of
        other tags are ignored.
    station : Station
        Its ``lab`` says what each series is. A result counts when it is not bad and lies in
        ``[low, high]``.

    Returns
    -------
    polars.DataFrame
        ts_utc (time of sampling), analyte, place, port, value [inside unit], sd (standard error
        in the same unit: the larger of the absolute and the relative one); sorted by time.
    """
    known = pl.DataFrame(
        [(s.tag, s.analyte, s.place, s.port, s.low, s.high, s.sd, s.rel_sd) for s in station.lab],
        schema=_SOURCE_SCHEMA,
        orient="row",
    )
    value = pl.col("value")
    return (
        readings.join(known, on="tag", how="inner", maintain_order="left")
        .filter(~pl.col("bad") & value.is_between(pl.col("low"), pl.col("high")))
        .with_columns(sd=pl.max_horizontal("least_sd", pl.col("rel_sd") * value.abs()))
        .select(pl.col(name).cast(kind) for name, kind in LAB_SCHEMA.items())
        .sort("ts_utc", "place", "port", "analyte")
    )
