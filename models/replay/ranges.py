"""What a mill has ever run: outside it a replay is a guess, and is refused."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from features.base import Station
from features.flow import Derived
from features.kinetics import beyond_ranges
from features.replay import Change, station_column, zone_columns
from models.base import Array

#: What instruments tell apart at all: so far outside of the hours run is still inside (judgement).
_TOLERANCE: Final = {"pH": 0.05, "degC": 0.5, "%": 2.0}
#: The same for flows, as a share.
_FLOW_SHARE: Final = 0.03
#: Share of the loss, or of the sugars destroyed, that may come to lie outside what the formulas
#: cover: hours in which next to nothing is lost refuse nothing.
_BEYOND_SHARE: Final = 0.02
_MINUTES: Final = 60
_BY_STATION: Final = {
    "ph_limed": "ph_limed",
    "ph_limed_target": "ph_limed",
    "flow": "flow_feed_m3_h",
    "imbibition": "imbibition_m3_h",
}


@dataclass(frozen=True)
class Ran:
    """Hours that a mill ran at, of one quantity.

    Attributes
    ----------
    low, high : float
        Least and greatest hourly mean [unit of the quantity].
    usual_low, usual_high : float
        Quarter and three quarters of the hours lie below [same].
    hours : int
    """

    low: float
    high: float
    usual_low: float
    usual_high: float
    hours: int


def ran_of(values: Array, running: NDArray[np.bool_]) -> Ran | None:
    """Hours run at, from minutes.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN where missing.
    running : ndarray of bool, shape (n,)
        Minutes with feed: a standing mill runs at nothing.

    Returns
    -------
    Ran or None
        None with fewer than a day of hours.
    """
    rows = values.shape[0] // _MINUTES * _MINUTES
    kept = np.where(running & np.isfinite(values), values, np.nan)[:rows].reshape(-1, _MINUTES)
    whole = np.isfinite(kept).sum(axis=1) >= 0.75 * _MINUTES
    if whole.sum() < 24:
        return None
    hourly = np.nanmean(kept[whole], axis=1)
    quarter, three = np.quantile(hourly, [0.25, 0.75])
    return Ran(
        float(hourly.min()), float(hourly.max()), float(quarter), float(three), int(whole.sum())
    )


def course_of(derived: Derived, station: Station, change: Change) -> Array | None:
    """Course of the quantity that a change acts on, by minute.

    Parameters
    ----------
    derived : Derived
    station : Station
    change : Change

    Returns
    -------
    ndarray, shape (n,), or None
        NaN where missing [unit of the change]; None where the change is no quantity of minutes.
    """
    if change.what in _BY_STATION:
        return station_column(derived, _BY_STATION[change.what])
    if change.what == "temp_degc":
        return zone_columns(derived, "temp_degc")[change.place]
    if change.what not in ("level_pct", "mud_level_pct"):
        return None
    vessel = next(v for v in station.vessels if v.name == change.place)
    held = zone_columns(derived, "volume_m3")
    if change.what == "level_pct":
        return 100.0 * held[vessel.name] / (vessel.volume_m3 * (1.0 - vessel.dead_fraction))
    if vessel.mud_volume_m3 <= 0.0:
        raise ValueError(f"{vessel.name} has no mud zone in the description")
    return 100.0 * held[f"{vessel.name}:mud"] / vessel.mud_volume_m3


def outside(change: Change, course: Array, ran: Ran | None) -> str:
    """Say that a change lies outside what the mill has ever run; empty where it does not.

    Parameters
    ----------
    change : Change
    course : ndarray
        Of its quantity, changed, in the period while the station ran; NaN where missing.
    ran : Ran or None
        Of the season.
    """
    known = course[np.isfinite(course)]
    if not known.size:
        return f"{change.key} was not measured in this period"
    if ran is None:
        return f"the season holds less than a day of hours with {change.key}"
    near = _FLOW_SHARE * ran.high if change.unit == "m3/h" else _TOLERANCE[change.unit]
    middle = float(np.median(known))
    if ran.low - near <= middle <= ran.high + near:
        return ""
    words = _spaced(change.unit if change.unit != "pH" else "")
    return (
        f"{change.key} would have been {middle:.4g}{words}; in {ran.hours} hours this mill ran at "
        f"{ran.low:.4g} to {ran.high:.4g}{words}"
    )


def beyond_formulas(recorded: pl.DataFrame, replayed: pl.DataFrame) -> str:
    """Say that the formulas do not cover a replay where they covered the record; empty if they do.

    Parameters
    ----------
    recorded, replayed : polars.DataFrame
        Zone minutes of the period.
    """
    keys = ["zone", "formula", "input", "unit", "low", "high"]
    was, now = (
        beyond_ranges(zones).select(
            *keys, share=(pl.col("beyond_kg") / pl.col("all_kg")).fill_nan(0.0)
        )
        for zones in (recorded, replayed)
    )
    more = now.join(was, on=keys, suffix="_was").with_columns(
        more=pl.col("share") - pl.col("share_was")
    )
    worst = more.filter(pl.col("more") > _BEYOND_SHARE).sort("more").tail(1).to_dicts()
    return "".join(
        f"{row['input']} in {row['zone']} would lie outside {row['low']:g} to {row['high']:g}"
        f"{_spaced(row['unit'])}, for which the {row['formula']} is known"
        for row in worst
    )


def _spaced(unit: str) -> str:
    return f" {unit}" if unit else ""
