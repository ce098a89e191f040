"""How the settler fared in a week, from the lake alone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import polars as pl

from features.flow import EffectiveResidence, OwnSettling
from models.base import to_minutes
from models.cause import crossed
from pipeline.base import Window
from pipeline.lake import STATION, ZONES, lake_of
from pipeline.mill import Mill
from pipeline.report import own_of, settling_days

_ZONES: Final = (
    "ts_utc",
    "zone",
    "flow_out_m3_h",
    "brix_pct",
    "temp_degc",
    "volume_m3",
    "loss_kg_h",
)
_STATION: Final = (
    *("ts_utc", "sucrose_feed_kg_h", "flow_feed_m3_h", "brix_feed_pct", "ph_limed", "ph_clear"),
    *("flocculant_l_h", "turbidity_clear"),
)
#: The settler's own behaviour is learnt from so many days up to the week's end.
_LEARNT: Final = timedelta(days=28)


@dataclass(frozen=True, slots=True)
class Seen:
    """Days of the settler, what turbidity tells, and how much of it juice passed through."""

    days: pl.DataFrame | None = None
    own: OwnSettling | None = None
    crossing: EffectiveResidence | None = None


def settling_of(mill: Mill, period: Window) -> Seen:
    """Read a week's settler, and the weeks before it for what it does by itself."""
    lake, station = lake_of(mill), mill.station
    names = [name for v in station.of_kind("settler") for name in (v.name, f"{v.name}:mud")]
    last = period.days[1]
    span = (last - _LEARNT, last)
    zones = lake.read_features(ZONES, *span, _ZONES)
    minutes = lake.read_features(STATION, *span, _STATION)
    zones = zones.filter(pl.col("zone").is_in(names))
    if zones.is_empty() or minutes.is_empty():
        return Seen()
    own = own_of(zones, minutes, station)
    inside = pl.col("ts_utc").is_between(period.start, period.end, closed="left")
    zones, minutes = zones.filter(inside), minutes.filter(inside)
    if zones.is_empty() or minutes.is_empty():
        return Seen(own=own)
    days = settling_days(zones, station, mill.zone, minutes, own)
    return Seen(days, own, _crossing(mill, minutes, zones))


def _crossing(mill: Mill, minutes: pl.DataFrame, zones: pl.DataFrame) -> EffectiveResidence | None:
    held = to_minutes(minutes.sort("ts_utc"), zones.sort("zone", "ts_utc"))
    found = crossed(held, mill.station, 0, held.n)
    return None if found is None else found[0]
