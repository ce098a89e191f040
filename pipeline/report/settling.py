"""How near to its limit the settler ran, day by day.

The initial settling rate is a batch test that no export holds, so a usual range stands for it
unless the description gives one. How far thinner juice settles sooner is a range as well, unless
the mill's own turbidity tells it.
"""

from __future__ import annotations

from typing import Final

import polars as pl

from features.advice import USUAL_RATE_M_H, settler_load
from features.base import FloatArray, Station, Vessel
from features.flow import OwnSettling, flocculant_mg_kg, own_settling, settling_correction
from features.kinetics import Z90

#: Initial settling rate of a batch test [m/h]: 8 to 12 is usual.
SLOW_M_H, FAST_M_H = USUAL_RATE_M_H
_WANTED: Final = ("flow_out_m3_h", "brix_pct", "temp_degc")


def settlers_of(station: Station | None) -> tuple[Vessel, ...]:
    """Settlers whose area is known; none where one of them lacks it."""
    settlers = () if station is None else station.of_kind("settler")
    return settlers if all(v.area_m2 for v in settlers) else ()


def settling_days(
    zones: pl.DataFrame,
    station: Station,
    zone: str,
    minutes: pl.DataFrame | None = None,
    own: OwnSettling | None = None,
) -> pl.DataFrame | None:
    """Overflow velocity and use of the settler by local day.

    Parameters
    ----------
    zones : polars.DataFrame
        ts_utc, zone, flow_out_m3_h, brix_pct, temp_degc by minute.
    station : Station
        Its settlers need areas.
    zone : str
        The plant's time zone.
    minutes : polars.DataFrame, optional
        ts_utc, flow_feed_m3_h, brix_feed_pct, flocculant_l_h by minute, for the dose.
    own : OwnSettling, optional
        What the mill's turbidity tells of thinner juice.

    Returns
    -------
    polars.DataFrame or None
        day, overflow_m_h (mean), top_m_h (highest hour) and, for the highest hour, juice_low and
        juice_high (settling speed against juice at its targets), used_low and used_high (overflow
        against half the initial settling rate [1]), spare_low_m3_h and spare_high_m3_h, out_low
        and out_high (used with the largest vessel out, null with one vessel); dose_mg_kg (mean,
        null without flow and strength of the flocculant). None without settlers of known area, or
        without their flow.
    """
    hours = settler_hours(zones, station)
    if hours is None:
        return None
    local = hours.with_columns(day=pl.col("hour").dt.convert_time_zone(zone).dt.date())
    rows = []
    for (day,), of_day in local.group_by("day", maintain_order=True):
        top = of_day.row(int(of_day["flow_m3_h"].arg_max() or 0), named=True)
        rows.append(
            {"day": day, "overflow_m_h": of_day["load_m_h"].mean()} | _at(top, station, own)
        )
    days = pl.DataFrame(rows, infer_schema_length=None).sort("day")
    dose = _doses(minutes, station, zone)
    if dose is None:
        return days.with_columns(dose_mg_kg=pl.lit(None, pl.Float64))
    return days.join(dose, on="day", how="left", maintain_order="left")


def settler_hours(zones: pl.DataFrame, station: Station) -> pl.DataFrame | None:
    """Hours in which juice left the settlers, all of them together.

    Returns
    -------
    polars.DataFrame or None
        hour, flow_m3_h, load_m_h, brix_pct, temp_degc, and by_viscosity and by_crowd as
        `features.flow.own_settling` takes them; None without settlers of known area or flow.
    """
    settlers = settlers_of(station)
    if not settlers or not set(_WANTED) <= set(zones.columns):
        return None
    inside = zones.filter(pl.col("zone").is_in([v.name for v in settlers])).drop_nulls(_WANTED)
    minutes = inside.group_by("ts_utc").agg(
        pl.col("flow_out_m3_h").sum(), pl.col("brix_pct", "temp_degc").mean(), seen=pl.len()
    )
    minutes = minutes.filter((pl.col("seen") == len(settlers)) & (pl.col("flow_out_m3_h") > 0.0))
    if minutes.is_empty():
        return None
    hours = minutes.group_by(hour=pl.col("ts_utc").dt.truncate("1h")).agg(
        pl.col("flow_out_m3_h", "brix_pct", "temp_degc").mean()
    )
    at = (pl.col("brix_pct"), pl.col("temp_degc"), station.targets.brix_pct, settlers[0].temp_degc)
    area = sum(v.area_m2 or 0.0 for v in settlers)
    return (
        hours.rename({"flow_out_m3_h": "flow_m3_h"})
        .with_columns(
            load_m_h=pl.col("flow_m3_h") / area,
            by_viscosity=settling_correction(*at, 0.0),
            by_crowd=settling_correction(*at) / settling_correction(*at, 0.0),
        )
        .sort("hour")
    )


def own_of(zones: pl.DataFrame, minutes: pl.DataFrame, station: Station) -> OwnSettling | None:
    """What the mill's own turbidity and mud tell of its settlers; None without their hours.

    Parameters
    ----------
    zones : polars.DataFrame
        As for `settling_days`, with volume_m3 where mud is to be taken into account.
    minutes : polars.DataFrame
        ts_utc, turbidity_clear.
    """
    hours = settler_hours(zones, station)
    if hours is None:
        return None
    hour = pl.col("ts_utc").dt.truncate("1h")
    clear = minutes.group_by(hour=hour).agg(pl.col("turbidity_clear").mean())
    held = hours.join(clear, on="hour", how="left", maintain_order="left")
    mud = _mud(zones, station)
    if mud is not None:
        held = held.join(mud, on="hour", how="left", maintain_order="left")

    def hourly(name: str) -> FloatArray:
        return held[name].cast(pl.Float64).fill_null(float("nan")).to_numpy()

    return own_settling(
        hourly("load_m_h"),
        hourly("by_viscosity"),
        hourly("by_crowd"),
        hourly("turbidity_clear"),
        None if mud is None else hourly("mud_pct"),
    )


def _mud(zones: pl.DataFrame, station: Station) -> pl.DataFrame | None:
    """Mean mud of the settlers by hour, in hundredths of its room; None where it is not known."""
    room = {f"{v.name}:mud": v.mud_volume_m3 for v in settlers_of(station) if v.mud_volume_m3 > 0.0}
    if not room or "volume_m3" not in zones.columns:
        return None
    mud = zones.filter(pl.col("zone").is_in(list(room))).drop_nulls("volume_m3")
    if mud.is_empty():
        return None
    share = (
        100.0 * pl.col("volume_m3") / pl.col("zone").replace_strict(room, return_dtype=pl.Float64)
    )
    return mud.group_by(hour=pl.col("ts_utc").dt.truncate("1h")).agg(mud_pct=share.mean())


def _at(
    top: dict[str, float], station: Station, own: OwnSettling | None
) -> dict[str, float | None]:
    """Use of the settlers in one hour."""
    juice = _juice(top, own)
    areas = [v.area_m2 or 0.0 for v in settlers_of(station)]
    load = settler_load(top["flow_m3_h"], areas, juice, station.settling.rate_m_h)
    out = load.one_out or (None, None)
    return {
        "top_m_h": load.load_m_h,
        "juice_low": juice[0],
        "juice_high": juice[1],
        "used_low": load.used[0],
        "used_high": load.used[1],
        "spare_low_m3_h": load.spare_m3_h[0],
        "spare_high_m3_h": load.spare_m3_h[1],
        "out_low": out[0],
        "out_high": out[1],
    }


def _juice(top: dict[str, float], own: OwnSettling | None) -> tuple[float, float]:
    """Settling speed of an hour's juice, least and most by how far its Brix thins the flocs."""
    low, high = by_water_of(own)
    ends = [top["by_viscosity"] * top["by_crowd"] ** share for share in (low, high)]
    return min(ends), max(ends)


def by_water_of(own: OwnSettling | None) -> tuple[float, float]:
    """How far thinner juice relieves the settler: 90 % interval by turbidity, else 0 to 1."""
    if own is None or own.by_water is None or own.by_water_sd is None:
        return 0.0, 1.0
    low, high = (own.by_water + side * Z90 * own.by_water_sd for side in (-1.0, 1.0))
    return min(max(low, 0.0), 1.0), min(max(high, 0.0), 1.0)


def _doses(minutes: pl.DataFrame | None, station: Station, zone: str) -> pl.DataFrame | None:
    """Flocculant by local day, while juice was fed."""
    strength = station.settling.flocculant_g_l
    wanted = {"flow_feed_m3_h", "flocculant_l_h", "brix_feed_pct"}
    if minutes is None or strength is None or not wanted <= set(minutes.columns):
        return None
    fed = minutes.drop_nulls(["flow_feed_m3_h", "flocculant_l_h"]).filter(
        pl.col("flow_feed_m3_h") > 0.1 * station.targets.flow_feed_m3_h
    )
    brix = pl.col("brix_feed_pct").fill_null(station.targets.brix_pct).mean()
    # Flow meters of mixed juice read it cool; 30 degC or 60 move the density by 1 %.
    return fed.group_by(day=pl.col("ts_utc").dt.convert_time_zone(zone).dt.date()).agg(
        dose_mg_kg=flocculant_mg_kg(
            pl.col("flocculant_l_h").mean(), strength, pl.col("flow_feed_m3_h").mean(), brix, 30.0
        )
    )
