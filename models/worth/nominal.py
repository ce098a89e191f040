"""The station at its targets, as the search would see it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Final

import numpy as np
import polars as pl

from features.base import Analyte, Signal, Station
from features.flow import derive
from models.base import Minutes, to_minutes

#: Long enough for the juice of the first minutes to have left any train [min].
_SETTLED_MIN: Final = 24 * 60
_FEED: Final = Signal("feed", "flow", "mixed_juice", "", "m3/h", 0.0, 1e6)


@dataclass(frozen=True)
class Nominal:
    """What the search would see in a minute with everything at its target.

    Attributes
    ----------
    inverted_pct : float
        Inverted from the limed-juice to the clear-juice sampling point at multiplier 1
        [% of sucrose].
    rs_destroyed_pct : float
        Reducing sugars destroyed on that way [%].
    juice : dict of str to float
        Content of the juice by analyte [%]; 1 where no target tells.
    station, zones : dict
        Last minute of the columns of `Minutes`.
    """

    inverted_pct: float
    rs_destroyed_pct: float
    juice: dict[Analyte, float]
    station: dict[str, float]
    zones: dict[str, dict[str, float]]

    def minutes(self, start_utc: datetime, n: int) -> Minutes:
        """So many minutes, all alike, to be read only.

        Parameters
        ----------
        start_utc : datetime
        n : int

        Returns
        -------
        Minutes
        """
        # Each a view of one number: to fill weeks of minutes takes longer than what they serve.
        held = {name: np.broadcast_to(value, n) for name, value in self.station.items()}
        zones = {
            zone: {name: np.broadcast_to(value, n) for name, value in columns.items()}
            for zone, columns in self.zones.items()
        }
        return Minutes(start_utc, held, zones)


def nominal_of(station: Station) -> Nominal | None:
    """Work the station out at its targets.

    Parameters
    ----------
    station : Station

    Returns
    -------
    Nominal or None
        None where it has no liming tank or no settler: nothing lies between two sampling points.
    """
    if not (station.of_kind("liming_tank") and station.of_kind("settler")):
        return None
    # What is measured where does not matter to a station at its targets.
    return _worked_out(replace(station, signals=(_FEED,), lab=()))


@lru_cache(maxsize=8)
def _worked_out(station: Station) -> Nominal | None:
    """Work it out once for all that is asked of it: promises, results, cures."""
    start = datetime(2025, 1, 1, tzinfo=UTC)
    times = pl.datetime_range(
        start, start + timedelta(minutes=_SETTLED_MIN - 1), "1m", time_unit="us", eager=True
    )
    feed = pl.lit(station.targets.flow_feed_m3_h, dtype=pl.Float64).alias(_FEED.name)
    grid = pl.DataFrame({"ts_utc": times}).with_columns(feed)
    derived = derive(grid, station)
    minutes = to_minutes(derived.station_minutes, derived.zone_minutes)
    last = {name: float(values[-1]) for name, values in minutes.station.items()}
    zones = {
        zone: {name: float(values[-1]) for name, values in columns.items()}
        for zone, columns in minutes.zones.items()
    }
    inverted, destroyed = last["inverted_pred_pct"], last["rs_destroyed_pred_pct"]
    if not inverted > 0.0:
        return None
    return Nominal(inverted, destroyed, _juice(station), last, zones)


def _juice(station: Station) -> dict[Analyte, float]:
    brix, purity = station.targets.brix_pct, station.targets.purity_pct
    pol = brix * purity / 100.0
    rs = station.kinetics.rs_per_sucrose_pct / 100.0 * pol
    return {
        "brix": brix, "pol": pol, "purity": purity, "rs": rs, "potassium": 1.0, "chloride": 1.0,
    }  # fmt: skip
