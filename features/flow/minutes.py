"""From the one-minute grid to what the juice went through: station and zone minutes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import polars as pl

from features.base import (
    STATION_COLUMNS,
    ZONE_COLUMNS,
    BoolArray,
    FloatArray,
    Port,
    Quantity,
    Station,
    check_frame,
    polars_schema,
)
from features.flow.probes import ANY, Feed
from features.flow.stream import Dose, Stream, Tracer
from features.flow.tracks import Tracks
from features.flow.train import Journey, travel
from features.flow.zones import little_gap
from features.juice import sucrose_content_kg_m3
from features.kinetics import inverted_pct

#: Feed below this share of its target counts as a stop [-].
STOPPED_BELOW = 0.1
_LIMED_KNOWN_SHARE = 0.95
#: Places whose juice has left the station, or has yet to come back to it.
_OTHER_JUICE = ("filtrate", "syrup", "filter_cake")


@dataclass(frozen=True, slots=True, eq=False)
class Derived:
    """What `derive` returns.

    Attributes
    ----------
    station_minutes : polars.DataFrame
        One row a minute, columns of `features.base.frames.STATION_COLUMNS`.
    zone_minutes : polars.DataFrame
        One row a minute and zone, columns of `features.base.frames.ZONE_COLUMNS`, zones one after
        the other in flow order.
    """

    station_minutes: pl.DataFrame
    zone_minutes: pl.DataFrame


def derive(grid: pl.DataFrame, station: Station) -> Derived:
    """Work out residence, pH, heat exposure and sucrose loss from a one-minute grid.

    Parameters
    ----------
    grid : polars.DataFrame
        ``ts_utc`` (one row a minute, no holes) and a Float64 column per signal, named as
        `Signal.name`; null where missing. A column absent altogether counts as unmeasured. An
        optional ``purity_mixed_juice_pct`` [%] gives the feed's purity.
    station : Station
        Vessels, signals, targets and kinetics.

    Returns
    -------
    Derived
        Station and zone minutes. Inversion is at multiplier 1 of the published rate.

    Raises
    ------
    ValueError
        If the grid is empty or not one row a minute, or a vessel's size makes no sense.

    Notes
    -----
    Unmeasured quantities take their target; gaps up to 30 min are bridged; rows in longer gaps
    get null. Losses count the sucrose held times its inversion rate, so what juice loses while
    it stands is counted as it happens.
    """
    _check_grid(grid)
    _check_station(station)
    tracks = Tracks(grid, station)
    feed, journey = travel(tracks)
    return Derived(
        check_frame(_station_frame(tracks, feed, journey), STATION_COLUMNS),
        check_frame(_zone_frame(grid["ts_utc"], journey), ZONE_COLUMNS),
    )


def _check_grid(grid: pl.DataFrame) -> None:
    """Refuse a grid that is not one row a minute."""
    if "ts_utc" not in grid.columns or grid.height == 0:
        raise ValueError(
            "derive: the grid has no rows or no ts_utc column; pull readings for the period first"
        )
    steps = grid["ts_utc"].diff().drop_nulls()
    odd = steps.filter(steps != timedelta(minutes=1))
    if grid["ts_utc"].null_count() or odd.len():
        raise ValueError(
            f"derive: the grid has {odd.len()} steps that are not one minute; "
            "sort it by ts_utc and fill missing minutes with null rows"
        )


def _check_station(station: Station) -> None:
    """Refuse sizes the physics cannot work with."""
    faults = [
        f"{v.name}: {text}"
        for v in station.vessels
        for bad, text in (
            (v.volume_m3 * v.level_pct <= 0.0, "volume and target level must be above 0"),
            (not 0.0 <= v.dead_fraction < 1.0, "dead fraction must be from 0 to below 1"),
            (v.tanks < 0, "tanks in series must be 0 (plug flow) or more"),
            (
                v.mud_volume_m3 > 0.0 and v.mud_level_pct * v.mud_flow_m3_h <= 0.0,
                "a mud zone needs a target level and a target underflow above 0",
            ),
        )
        if bad
    ]
    if not station.vessels:
        faults.append("it has no vessels")
    if station.targets.flow_feed_m3_h <= 0.0:
        faults.append("target feed flow must be above 0")
    if faults:
        raise ValueError(
            "derive: the station's description does not work: "
            + "; ".join(faults)
            + "; correct the description"
        )


def _zone_frame(minutes: pl.Series, journey: Journey) -> pl.DataFrame:
    """Long frame of all zones in flow order."""
    schema = polars_schema(ZONE_COLUMNS)
    values = [name for name in ZONE_COLUMNS if name not in ("ts_utc", "zone")]
    parts = [
        pl.DataFrame({"ts_utc": minutes} | {name: columns[name] for name in values}).select(
            pl.lit(zone).alias("zone"), pl.all()
        )
        for zone, columns in journey.columns.items()
    ]
    frame = pl.concat(parts).select(list(ZONE_COLUMNS)).cast(schema)
    return frame.fill_nan(None)


def _station_frame(tracks: Tracks, feed: Feed, journey: Journey) -> pl.DataFrame:
    """One row a minute for the station as a whole."""
    n = tracks.rows
    flow, ratio = feed.flow, feed.flow.values / tracks.station.targets.flow_feed_m3_h
    juice_known = flow.known & feed.brix.known & feed.purity.known & flow.measured
    content = sucrose_content_kg_m3(feed.brix.values, feed.purity.values, feed.flow_degc)
    columns: dict[str, FloatArray | pl.Series] = {
        "ts_utc": tracks.grid["ts_utc"],
        "flow_feed_m3_h": flow.or_null(),
        "brix_feed_pct": feed.brix.or_null(),
        "purity_feed_pct": feed.purity.or_null(),
        "sucrose_feed_kg_h": np.where(juice_known, flow.values * content, np.nan),
        "ph_mixed": feed.ph_mixed.or_null(),
        "ph_limed": feed.ph_limed.or_null(),
        "ph_clear": feed.ph_clear.or_null(),
        "turbidity_clear": _reading(tracks, "turbidity", ANY),
        "lime_l_h": _reading(tracks, "lime_flow", ANY),
        "flocculant_l_h": _reading(tracks, "flocculant_flow", ANY),
        "imbibition_m3_h": _reading(tracks, "imbibition_flow", ANY),
        "cane_t_h": _reading(tracks, "cane_rate", ANY),
        "stopped": pl.Series(ratio < STOPPED_BELOW).set(
            pl.Series(~(flow.known & np.full(n, flow.measured))), None
        ),
    }
    columns |= _at_clear(feed, journey.at_clear, n) | _at_end(journey.at_end)
    frame = pl.DataFrame(columns).select(list(STATION_COLUMNS))
    return frame.cast(polars_schema(STATION_COLUMNS)).fill_nan(None)


def _reading(tracks: Tracks, quantity: Quantity, ports: tuple[Port, ...]) -> FloatArray:
    """Reading of the first place of the station that measures a quantity, null elsewhere."""
    for signal in tracks.station.signals:
        here = signal.quantity == quantity and signal.place not in _OTHER_JUICE
        if here and signal.name in tracks.grid.columns:
            return tracks.read(quantity, signal.place, ports, 0.0).or_null()
    return np.full(tracks.rows, np.nan)


def _at_clear(feed: Feed, stream: Stream | None, n: int) -> dict[str, FloatArray]:
    """Columns of the juice now leaving the settlers."""
    names = ("ph_limed_at_clear", "ph_drop_settler", "inverted_pred_pct", "rs_destroyed_pred_pct")
    if stream is None:
        return {name: np.full(n, np.nan) for name in names}
    traced = _traced(stream)
    limed_known = _carries_known(stream, Tracer.LIMED_KNOWN) & stream.flow_known
    limed = np.where(
        limed_known & feed.ph_limed.measured, stream.tracers[:, Tracer.PH_LIMED], np.nan
    )
    inverted = inverted_pct(stream.doses[:, Dose.INVERSION_LIMED])
    destroyed = inverted_pct(stream.doses[:, Dose.RS_LIMED])
    return {
        "ph_limed_at_clear": limed,
        "ph_drop_settler": limed - feed.ph_clear.or_null(),
        "inverted_pred_pct": np.where(traced, inverted, np.nan),
        "rs_destroyed_pred_pct": np.where(traced, destroyed, np.nan),
    }


def _at_end(stream: Stream) -> dict[str, FloatArray]:
    """Columns of the juice now leaving the last vessel."""
    traced = _traced(stream)
    inverted = inverted_pct(stream.doses[:, Dose.INVERSION])
    return {
        "residence_train_min": np.where(traced, stream.doses[:, Dose.MINUTES], np.nan),
        "exposure_train_eqmin100": np.where(traced, stream.doses[:, Dose.EXPOSURE], np.nan),
        "inverted_train_pct": np.where(traced, inverted, np.nan),
    }


def _traced(stream: Stream) -> BoolArray:
    """Whether the way of the juice now leaving is known well enough."""
    gap = little_gap(stream.doses[:, Dose.GAP], stream.doses[:, Dose.MINUTES])
    return np.asarray(gap & stream.flow_known)


def _carries_known(stream: Stream, column: Tracer) -> BoolArray:
    """Whether nearly all the juice carries a known value."""
    return np.asarray(stream.tracers[:, column] >= _LIMED_KNOWN_SHARE)
