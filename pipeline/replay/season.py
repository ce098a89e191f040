"""What a mill ran at in all its season, for every quantity that a replay may change."""

from __future__ import annotations

from functools import cached_property
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Vessel
from features.replay import Change
from models.replay import Ran, ran_of
from pipeline.lake import LOSSES, STATION, ZONES, Lake, lake_of
from pipeline.mill import Mill

_BY_STATION: Final = {"flow": "flow_feed_m3_h", "imbibition": "imbibition_m3_h"}

Values = NDArray[np.float64]


class SeasonRan:
    """Hours a mill ran at, read from the lake once for each quantity asked for.

    Parameters
    ----------
    mill : Mill
    """

    def __init__(self, mill: Mill) -> None:
        self._mill, self._lake = mill, lake_of(mill)
        self._days = self._lake.feature_days(STATION)
        self._known: dict[str, Ran | None] = {}
        self._station = self._read(STATION, ["ts_utc", "flow_feed_m3_h", "stopped", "ph_limed",
                                             "imbibition_m3_h"])  # fmt: skip

    def of(self, change: Change) -> Ran | None:
        """What the mill ran at of the quantity that a change acts on; None where unknown."""
        if change.key not in self._known:
            self._known[change.key] = self._ran(change)
        return self._known[change.key]

    def _read(self, kind: str, columns: list[str]) -> pl.DataFrame:
        if not self._days:
            return pl.DataFrame()
        return self._lake.read_features(kind, self._days[0], self._days[-1], columns)

    def _ran(self, change: Change) -> Ran | None:
        if self._station.is_empty():
            return None
        if change.what in ("ph_limed", "ph_limed_target"):
            return self._limed()
        if change.what in _BY_STATION:
            return self._of(self._station, _BY_STATION[change.what])
        vessel = next((v for v in self._mill.station.vessels if v.name == change.place), None)
        if vessel is None or change.what == "in_service":
            return None
        return self._of_vessel(vessel, change)

    def _limed(self) -> Ran | None:
        """Limed juice as it truly was, as far as the search put its probe right."""
        right = self._read(LOSSES, ["ts_utc", "ph_limed_true"])
        if right.is_empty():
            return self._of(self._station, "ph_limed")
        joined = self._station.join(right, on="ts_utc", how="left", maintain_order="left")
        column = pl.coalesce("ph_limed_true", "ph_limed").alias("ph_limed")
        return self._of(joined.with_columns(column), "ph_limed")

    def _of_vessel(self, vessel: Vessel, change: Change) -> Ran | None:
        zone = f"{vessel.name}:mud" if change.what == "mud_level_pct" else vessel.name
        frame = self._zones.get(zone)
        if frame is None:
            return None
        live = vessel.volume_m3 * (1.0 - vessel.dead_fraction)
        full = vessel.mud_volume_m3 if change.what == "mud_level_pct" else live
        column = (
            pl.col("temp_degc")
            if change.what == "temp_degc"
            else 100.0 * pl.col("volume_m3") / full
        )
        joined = self._station.join(
            frame.select("ts_utc", value=column), on="ts_utc", how="left", maintain_order="left"
        )
        return self._of(joined, "value")

    @cached_property
    def _zones(self) -> dict[str, pl.DataFrame]:
        """Minutes of every zone: read once, for a season of them is the most there is to read."""
        frame = self._read(ZONES, ["ts_utc", "zone", "temp_degc", "volume_m3"])
        if frame.is_empty():
            return {}
        parts = frame.partition_by("zone", maintain_order=True, as_dict=True, include_key=False)
        return {str(zone): part for (zone,), part in parts.items()}

    def _of(self, frame: pl.DataFrame, column: str) -> Ran | None:
        values = frame[column].cast(pl.Float64).fill_null(np.nan).to_numpy()
        running = ~frame["stopped"].fill_null(value=True).to_numpy()
        return ran_of(values, running)


def biases_between(lake: Lake, times: pl.Series) -> dict[str, Values]:
    """What the pH probes read too high, minute by minute, 0 where nothing was searched.

    Parameters
    ----------
    lake : Lake
    times : polars.Series
        Minutes wanted, UTC, in order.
    """
    first: Any = times[0]
    last: Any = times[-1]
    days = (first.date(), last.date())
    read = lake.read_features(STATION, *days, ("ts_utc", "ph_limed", "ph_clear"))
    right = lake.read_features(LOSSES, *days, ("ts_utc", "ph_limed_true", "ph_clear_true"))
    if read.is_empty() or right.is_empty():
        return {}
    joined = (
        pl.DataFrame({"ts_utc": times})
        .join(read, on="ts_utc", how="left", maintain_order="left")
        .join(right, on="ts_utc", how="left", maintain_order="left")
    )
    return {
        point: joined.select(pl.col(f"ph_{point}") - pl.col(f"ph_{point}_true"))
        .to_series()
        .fill_null(0.0)
        .to_numpy()
        for point in ("limed", "clear")
    }
