"""How far slow juice cools: part of what a slow feed does, and taken off what it costs.

Juice that takes longer from the last heater loses more heat on the way, so that its extra minutes
are cooler ones. How many kelvin an hour more costs is learnt from the mill's own running hours.
"""

from __future__ import annotations

import numpy as np

from features.base import BoolArray, Station, Vessel
from features.flow import temperature_source
from features.kinetics import inversion_1_h, ph_at_process
from models.amount.baseline import season_where_missing, slow_baseline
from models.base import MINUTES_PER_BLOCK, Array, Minutes, block_means

#: Vessels without heat of their own behind the last heater; what boils is as hot as it boils.
_PASSIVE = ("liming_tank", "settler", "clear_juice_tank")
_HEATERS = ("heater", "clear_juice_heater", "evaporator_vessel")
#: Fall of temperature an hour more on the way makes, before any reading: lagged vessels lose about
#: a kelvin an hour (estimate), and its standard error [K/h].
_USUAL_K_H, _USUAL_SD = 1.0, 1.0
#: Blocks that count as one: everyday swings of temperature last some hours (judgement).
_BLOCKS_ALIKE = 16
#: Range of the extra time that the line is used in [h], and the steepest fall believed [K/h].
_LESS_H, _MORE_H, _STEEPEST_K_H = -1.0, 3.0, 6.0


def cooled_by_age(minutes: Minutes, station: Station) -> dict[str, Array]:
    """What the cooling of slow juice makes of the rate of inversion.

    Parameters
    ----------
    minutes : Minutes
    station : Station

    Returns
    -------
    dict of str to ndarray, shape (n,)
        By zone that cools: its rate over that of juice of the usual age [-], below 1 for older
        juice. Zones whose temperature no thermometer of their own reads are left out.
    """
    running = minutes.usual
    read = [
        v
        for v in station.vessels
        if v.kind in _PASSIVE
        and v.name in minutes.zones
        and temperature_source(station, v).told == "read"
    ]
    extra = _extra_h(minutes, station) if read else {}
    factors = {}
    for vessel in read:
        degc = season_where_missing(minutes.zones[vessel.name]["temp_degc"], vessel.temp_degc)
        older = extra[vessel.name]
        fall_k_h = _fall_k_h(degc - slow_baseline(degc, running), older, running)
        factors[vessel.name] = _rate_over(degc, fall_k_h * older, station)
        mud = vessel.name + ":mud"
        if mud in minutes.zones:
            factors[mud] = factors[vessel.name]
    return factors


def _extra_h(minutes: Minutes, station: Station) -> dict[str, Array]:
    """Time since the last heater above the usual, by vessel [h]."""
    extra: dict[str, Array] = {}
    so_far = np.zeros(minutes.n)
    for group in station.in_flow_order:
        if any(vessel.kind in _HEATERS for vessel in group):
            so_far = np.zeros(minutes.n)
            continue
        known = [v for v in group if v.name in minutes.zones]
        if not known:
            continue
        so_far = so_far + np.mean([_stay_h(minutes, v) for v in known], axis=0)
        for vessel in known:
            # Only what a slow feed adds: a fuller tank is the tank's.
            extra[vessel.name] = np.clip(so_far, _LESS_H, _MORE_H)
    return extra


def _stay_h(minutes: Minutes, vessel: Vessel) -> Array:
    """Time in a vessel above its usual, as the flow alone makes it [h]."""
    columns = minutes.zones[vessel.name]
    stay = season_where_missing(columns["residence_min"], 0.0) / 60.0
    volume = season_where_missing(columns["volume_m3"], 1.0)
    usual_m3 = np.maximum(slow_baseline(volume, minutes.usual), 1e-6)
    by_flow = stay * np.clip(usual_m3 / np.maximum(volume, 0.1 * usual_m3), 0.1, 10.0)
    return by_flow - slow_baseline(by_flow, minutes.usual)


def _fall_k_h(above_degc: Array, older_h: Array, running: BoolArray) -> float:
    """Kelvin lost by an hour more, from the running hours and what is usual anywhere [K/h]."""
    temp = block_means(np.where(running, above_degc, np.nan), MINUTES_PER_BLOCK)
    age = block_means(np.where(running, older_h, np.nan), MINUTES_PER_BLOCK)
    known = np.isfinite(temp) & np.isfinite(age)
    temp, age = temp[known], age[known]
    if len(temp) < _BLOCKS_ALIKE:
        return _USUAL_K_H
    # A fault of the heating is no answer to the age: what lies far off the rest counts less.
    spread = max(1.4826 * float(np.median(np.abs(temp - np.median(temp)))), 0.05)
    slope = _USUAL_K_H
    for _ in range(3):
        off = np.abs(temp + slope * age)
        weight = np.minimum(1.0, 2.0 * spread / np.maximum(off, 1e-9)) / _BLOCKS_ALIKE / spread**2
        told = float(weight @ (age * age)) + 1.0 / _USUAL_SD**2
        slope = (-float(weight @ (age * temp)) + _USUAL_K_H / _USUAL_SD**2) / told
    return float(np.clip(slope, 0.0, _STEEPEST_K_H))


def _rate_over(degc: Array, fall_k: Array, station: Station) -> Array:
    """Rate at a temperature over that of the same juice without the fall [-]."""
    slope, brix = station.kinetics.ph_slope, station.targets.brix_pct

    def rate(at: Array) -> Array:
        return np.asarray(inversion_1_h(ph_at_process(0.0, at, slope), at, brix))

    return rate(degc) / rate(degc + fall_k)
