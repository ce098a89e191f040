"""The whole job in plain polars: the peer that an analyst fluent in polars would write, all tags
of a week of exports in one lazy query on all cores. It drops repeats, takes out readings beyond the
range and spikes that leap away and come back at once, keeps each day of readings as Parquet, makes
time-weighted minute means by tag, follows the juice by the same `features` as lostpol (nothing else
would follow it), week after week with two days before, and writes minutes and sums by day as
Parquet. Like pandas it leaves out buffer readings, frozen probes, the laboratory, accounts of
sources and sensors, hashes, the search and the report, and a late export would have to be worked in
by hand.
"""

from __future__ import annotations

import time
from pathlib import Path

import polars as pl

from features.flow.minutes import derive as derive_minutes
from pipeline.mill.description import Mill


def polars_job(folder: Path, mill: Mill, days: int) -> dict[str, float]:
    """Readings, minutes and sums in plain polars; the head of this file says what it leaves out."""
    out = folder / "polars"
    for name in ("readings", "grid", "zones"):
        (out / name).mkdir(parents=True, exist_ok=True)
    began = time.perf_counter()
    before, sums = pl.DataFrame(), []
    for path in sorted(folder.glob("tags_*.parquet"))[: -(-days // 7)]:
        readings = _polars_readings(path, mill)
        for day, rows in _by_day(readings):
            rows.write_parquet(out / "readings" / f"{day}.parquet")
        grid = _polars_minutes(readings, mill)
        first = grid["ts_utc"][0]
        both = pl.concat([before, grid], how="diagonal") if before.height else grid
        derived = derive_minutes(both, mill.station)
        before = grid.tail(2 * 1440)
        zones = derived.zone_minutes.filter(pl.col("ts_utc") >= first)
        for day, rows in _by_day(grid, "ts_utc"):
            rows.write_parquet(out / "grid" / f"{day}.parquet")
        for day, rows in _by_day(zones, "ts_utc"):
            rows.write_parquet(out / "zones" / f"{day}.parquet")
        sums.append(
            zones.group_by(pl.col("ts_utc").dt.date().alias("day"), "zone").agg(
                pl.col("loss_kg_h").sum() / 60.0
            )
        )
    pl.concat(sums).write_parquet(out / "daily.parquet")
    return {"seconds": time.perf_counter() - began}


def _polars_readings(path: Path, mill: Mill) -> pl.DataFrame:
    """Sound readings of a week's export, by tag and time."""
    limits = pl.LazyFrame(
        [(s.tag, s.low, s.high) for s in mill.station.signals],
        schema=["tag", "low", "high"],
        orient="row",
    )
    names = pl.Enum(sorted(s.tag for s in mill.station.signals))
    value, tag = pl.col("value"), pl.col("tag")
    before, after = value.shift(1), value.shift(-1)
    off = pl.min_horizontal((value - before).abs(), (value - after).abs())
    usual = (value - before).abs().median()
    spike = (off > 8.0 * usual) & (off > 5e-3 * (pl.col("high") - pl.col("low")))
    spike &= (after - before).abs() < 0.3 * off
    fresh = (tag != tag.shift()) | (pl.col("time") != pl.col("time").shift())
    fresh = fresh.fill_null(value=True)
    return (
        pl.scan_parquet(path)
        .filter((pl.col("quality") == "good") & tag.is_in(names.categories.to_list()))
        .select(tag.cast(names), "time", "value")
        .sort("tag", "time")
        .filter(
            (tag != tag.shift())
            | (pl.col("time") != pl.col("time").shift())
            | (pl.int_range(pl.len()) == 0)
        )
        .join(limits.with_columns(tag.cast(names)), on="tag", how="inner", maintain_order="left")
        .filter(value.is_between("low", "high"))
        .filter(~spike.over("tag").fill_null(value=False))
        .select("tag", "time", "value")
        .collect()
    )


def _polars_minutes(readings: pl.DataFrame, mill: Mill) -> pl.DataFrame:
    """Time-weighted minute means: pieces of straight lines cut at the minutes' edges."""
    edges = pl.datetime_range(
        readings["time"].min().replace(second=0),
        readings["time"].max(),
        "1m",
        eager=True,
        time_unit="us",
    )
    tags = readings["tag"].unique()
    cut = pl.DataFrame({"time": edges}).join(pl.DataFrame({"tag": tags}), how="cross")
    seconds = (pl.col("time").shift(-1) - pl.col("time")).dt.total_microseconds() / 1e6
    area = 0.5 * (pl.col("value") + pl.col("value").shift(-1)) * seconds
    minutes = (
        pl.concat([readings, cut.select("tag", "time", value=pl.lit(None, pl.Float64))])
        .lazy()
        .unique(["tag", "time"], keep="first")
        .sort("tag", "time")
        .with_columns(pl.col("value").interpolate_by("time").over("tag"))
        .with_columns(area=area.over("tag"), seconds=seconds.over("tag"))
        .drop_nulls("area")
        .group_by("tag", ts_utc=pl.col("time").dt.truncate("1m"))
        .agg(mean=pl.col("area").sum() / pl.col("seconds").sum())
        .collect()
    )
    names = {s.tag: s.name for s in mill.station.signals}
    wide = minutes.with_columns(pl.col("tag").cast(pl.String).replace(names)).pivot(
        on="tag", index="ts_utc", values="mean"
    )
    return pl.DataFrame({"ts_utc": edges}).join(wide, on="ts_utc", how="left").sort("ts_utc")


def _by_day(frame: pl.DataFrame, time_column: str = "time"):
    """Rows of each UTC day."""
    parted = frame.with_columns(day=pl.col(time_column).dt.date()).partition_by(
        "day", as_dict=True, include_key=False
    )
    return [(day, rows) for (day,), rows in parted.items()]
