"""How near to its limit the settler ran, day by day.

The initial settling rate is a batch test that no export holds, so a usual range stands for it and
the margin is a range too.
"""

from __future__ import annotations

from typing import Final

import polars as pl

from features.base import Station, Vessel
from features.flow import overflow_velocity_m_h, settling_correction, settling_utilisation

#: Initial settling rate of a batch test [m/h]: 8 to 12 is usual (as `features.flow.settling` has
#: it).
SLOW_M_H: Final = 8.0
FAST_M_H: Final = 12.0


def settler_of(station: Station | None) -> Vessel | None:
    """The settler whose area is known, if there is one."""
    vessels = () if station is None else station.vessels
    return next((v for v in vessels if v.kind == "settler" and v.area_m2), None)


def settling_days(zones: pl.DataFrame, station: Station, zone: str) -> pl.DataFrame | None:
    """Overflow velocity and use of the settler by local day.

    Parameters
    ----------
    zones : polars.DataFrame
        ts_utc, zone, flow_out_m3_h, brix_pct, temp_degc by minute.
    station : Station
        Its settler needs an area.
    zone : str
        The plant's time zone.

    Returns
    -------
    polars.DataFrame or None
        day, overflow_m_h (mean), top_m_h (highest hour), juice (settling speed of the juice
        against juice at its targets, through viscosity alone) and, for the highest hour, used_low
        and used_high: overflow against half the initial settling rate [1]. None without a settler
        of known area, or without its flow.
    """
    settler = settler_of(station)
    wanted = {"flow_out_m3_h", "brix_pct", "temp_degc"}
    if settler is None or settler.area_m2 is None or not wanted <= set(zones.columns):
        return None
    targets = station.targets
    clear = zones.filter(pl.col("zone") == settler.name).drop_nulls(list(wanted))
    if clear.is_empty():
        return None
    local = pl.col("ts_utc").dt.convert_time_zone(zone)
    correction = settling_correction(
        pl.col("brix_pct"), pl.col("temp_degc"), targets.brix_pct, settler.temp_degc
    )
    hours = (
        clear.with_columns(
            day=local.dt.date(),
            hour=pl.col("ts_utc").dt.truncate("1h"),
            up=overflow_velocity_m_h(pl.col("flow_out_m3_h"), settler.area_m2),
            juice=correction,
        )
        .group_by("day", "hour")
        .agg(pl.col("up", "juice").mean())
    )
    days = hours.group_by("day").agg(
        overflow_m_h=pl.col("up").mean(),
        top_m_h=pl.col("up").max(),
        juice=pl.col("juice").get(pl.col("up").arg_max()),
    )
    rates = {"used_low": FAST_M_H, "used_high": SLOW_M_H}
    return days.with_columns(
        settling_utilisation(pl.col("top_m_h"), rate * pl.col("juice")).alias(name)
        for name, rate in rates.items()
    ).sort("day")
