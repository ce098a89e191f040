"""A fall of pH, parted: what the liming did, what age did, and what neither explains.

Low liming lowers the pH of all juice behind it, in the settler and after it. Juice that runs slowly
is older and has soured for longer; mud that is held sours in the settler's cone. What is left is a
change of the fall between the two probes, which has causes of its own.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from features.base import Station
from features.flow import souring_1_min
from features.kinetics import LN3
from models.amount.baseline import season_where_missing, slow_baseline
from models.base import Array, Minutes

#: Vessels without a pH probe, whose pH is carried on from the clear juice.
_BEHIND_CLEAR = ("clear_juice_tank", "clear_juice_heater", "evaporator_vessel")
#: Range within which the law of souring is used for older or younger juice [h].
_YOUNGER_H, _OLDER_H = -1.0, 3.0


@dataclass(frozen=True)
class PhParts:
    """Parts of the fall of pH below the usual, by minute.

    Attributes
    ----------
    limed : ndarray, shape (n,)
        Limed juice below its usual, probe put right [pH]; NaN where it was not measured.
    limed_at_clear : ndarray, shape (n,)
        How much of it is left in the juice now leaving the settler [pH].
    older : ndarray, shape (n,)
        Fall of clear juice by the extra time it spent in the settler [pH].
    older_mud : dict of str to ndarray
        Fall of mud by the extra time it was held, by mud zone [pH].
    older_tank : dict of str to ndarray
        Fall of the juice behind a clear-juice tank by what the tank holds more than usual, by zone
        behind it up to the next tank [pH]. No probe stands there: it is worked out, not read.
    older_inside : dict of str to ndarray
        Fall inside a heater or evaporator behind the clear-juice probe by what it holds more than
        usual, by zone [pH]; worked out too.
    hotter : dict of str to ndarray
        Fall behind the clear-juice probe by more heat than usual, by zone [pH]; worked out too.
    """

    limed: Array
    limed_at_clear: Array
    older: Array
    older_mud: dict[str, Array]
    older_tank: dict[str, Array]
    older_inside: dict[str, Array]
    hotter: dict[str, Array]


def ph_parts(minutes: Minutes, station: Station, bias_limed: Array) -> PhParts:
    """Part the fall of pH below the mill's usual.

    Parameters
    ----------
    minutes : Minutes
    station : Station
    bias_limed : ndarray, shape (n,)
        Limed-juice probe: reading minus truth [pH].

    Returns
    -------
    PhParts
    """
    running = ~minutes.stopped
    settlers = [v for v in station.of_kind("settler") if v.name in minutes.zones]
    residence = sum(
        (_residence_h(minutes, v.name) / len(settlers) for v in settlers), np.zeros(minutes.n)
    )
    baseline_h = slow_baseline(residence, running)
    degc = settlers[0].temp_degc if settlers else 97.0
    hourly = 60.0 * float(souring_1_min(station, degc))
    targets = station.targets
    between = hourly * 3.0 ** (0.5 * (targets.ph_limed + targets.ph_clear) - 7.0)
    # Juice limed lower also sours more slowly: a part of the difference is gone at the outlet.
    # Derivative of features.kinetics.acid.ph_after_acid by the pH at the start.
    carried = 1.0 / (1.0 + LN3 * hourly * baseline_h * 3.0 ** (targets.ph_limed - 7.0))
    return PhParts(
        limed=_below_baseline(minutes, "ph_limed", bias_limed),
        limed_at_clear=carried * _below_baseline(minutes, "ph_limed_at_clear", bias_limed),
        older=between * np.clip(residence - baseline_h, _YOUNGER_H, _OLDER_H),
        older_mud={
            zone: _mud_older(minutes, zone) for zone in minutes.zones if zone.endswith(":mud")
        },
        older_tank=_behind_tanks(minutes, station, hourly * 3.0 ** (targets.ph_clear - 7.0)),
        older_inside=_older_inside(minutes, station),
        hotter=_hotter(minutes, station),
    )


def _hotter(minutes: Minutes, station: Station) -> dict[str, Array]:
    falls = {}
    for vessel in station.vessels:
        if vessel.kind not in _BEHIND_CLEAR or vessel.name not in minutes.zones:
            continue
        temp = season_where_missing(minutes.zones[vessel.name]["temp_degc"], vessel.temp_degc)
        usual = slow_baseline(temp, minutes.usual)
        more_1_h = 60.0 * np.asarray(souring_1_min(station, temp) - souring_1_min(station, usual))
        slower = 3.0 ** (station.targets.ph_clear + vessel.ph_shift - 7.0)
        # A stop is not hot juice: the usual stay counts, not that of what stood.
        stay_h = slow_baseline(_residence_h(minutes, vessel.name), minutes.usual)
        falls[vessel.name] = slower * more_1_h * stay_h
    return falls


def zones_behind(station: Station, tank: str, zones: Collection[str]) -> tuple[str, ...]:
    """Zones whose juice comes from a clear-juice tank, up to the next such tank."""
    steps = {v.name: v.step for v in station.vessels}
    later = [v.step for v in station.of_kind("clear_juice_tank") if v.step > steps[tank]]
    end = min(later, default=math.inf)
    return tuple(z for z in zones if steps[tank] < steps.get(z, -1) <= end)


def _behind_tanks(minutes: Minutes, station: Station, hourly: float) -> dict[str, Array]:
    older = {}
    for tank in station.of_kind("clear_juice_tank"):
        if tank.name not in minutes.zones:
            continue
        extra_h = _extra_by_content_h(minutes, tank.name)
        for zone in zones_behind(station, tank.name, minutes.zones):
            older[zone] = hourly * extra_h
    return older


def _older_inside(minutes: Minutes, station: Station) -> dict[str, Array]:
    """Fall of pH by a fuller heater or evaporator: its juice stays and sours for longer."""
    older = {}
    for vessel in station.vessels:
        heated = vessel.kind in ("clear_juice_heater", "evaporator_vessel")
        if not heated or vessel.name not in minutes.zones:
            continue
        slower = 3.0 ** (station.targets.ph_clear + vessel.ph_shift - 7.0)
        hourly = 60.0 * float(souring_1_min(station, vessel.temp_degc)) * slower
        older[vessel.name] = hourly * _extra_by_content_h(minutes, vessel.name)
    return older


def _extra_by_content_h(minutes: Minutes, zone: str) -> Array:
    """Time in a vessel above its usual, as its content alone makes it [h]."""
    volume = season_where_missing(minutes.zones[zone]["volume_m3"], 0.0)
    usual = np.maximum(slow_baseline(volume, minutes.usual), 1e-6)
    baseline_h = slow_baseline(_residence_h(minutes, zone), minutes.usual)
    return np.clip(baseline_h * (volume / usual - 1.0), _YOUNGER_H, _OLDER_H)


def _residence_h(minutes: Minutes, zone: str) -> Array:
    return season_where_missing(minutes.zones[zone]["residence_min"], 0.0) / 60.0


def _below_baseline(minutes: Minutes, name: str, bias: Array) -> Array:
    true = minutes.station[name] - bias
    return slow_baseline(season_where_missing(true), minutes.usual) - true


def _mud_older(minutes: Minutes, zone: str) -> Array:
    """Fall of mud below clear juice, less its usual."""
    fall = season_where_missing(
        minutes.station["ph_clear"] - minutes.zones[zone]["ph_cold"], otherwise=0.0
    )
    return fall - slow_baseline(fall, minutes.usual)
