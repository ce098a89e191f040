"""Temperatures that no thermometer reads: worked out from what is read nearby, with their error.

A boiling vessel is as hot as its vapour pressure says. A vessel without heat of its own follows
the nearest thermometer upstream, as far below it as their targets lie apart. What neither tells
stays at its target and is called so: it is no measurement, and nobody may draw or tell it as one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from features.base import BoolArray, FloatArray, Port, Signal, Station, Vessel
from features.flow.tracks import Track, Tracks
from features.juice import boiling_degc

#: How a temperature is known, from best to worst.
Told = Literal["read", "vapour", "neighbour", "target"]
#: Standard error of a temperature by how it is known [K] (estimate): thermometer; pressure gauge,
#: impure juice that boils hotter than sucrose, and the head of juice over the tubes; pipe losses
#: that change; anybody's target.
TEMPERATURE_SD_K: dict[Told, float] = {"read": 0.5, "vapour": 1.5, "neighbour": 1.5, "target": 4.0}
#: Where the vapour pressure above boiling juice is read; at ``in`` it is that of the steam.
VAPOUR_PORTS: tuple[Port, ...] = ("inside", "out", "")
#: Vessels whose juice boils at the pressure of its own vapour.
_BOILING = ("evaporator_vessel",)
#: Vessels without heat of their own.
_PASSIVE = ("liming_tank", "flash_tank", "settler", "clear_juice_tank")
_HEATERS = ("heater", "clear_juice_heater")
#: Pressures that may be the open air's, up to 1,400 m above the sea [kPa] (computed).
_AIR_KPA = (85.0, 105.0)
#: How fast vessels without heat of their own cool while they stand [K/h] (estimate): big and
#: lagged, or smaller.
COOLING_K_H = {"settler": 0.6, "liming_tank": 1.0, "flash_tank": 1.0, "clear_juice_tank": 1.0}
#: Inflow below this share of the usual leaves a vessel standing [-], as for the station's stops.
_STANDING_BELOW = 0.1


@dataclass(frozen=True, slots=True)
class TemperatureSource:
    """Where the temperature of a vessel comes from.

    Attributes
    ----------
    told : Told
        How it is known.
    tag : str
        Tag that tells it; empty where none does.
    place : str
        Vessel of that tag.
    """

    told: Told
    tag: str = ""
    place: str = ""

    @property
    def sd_k(self) -> float:
        """Standard error [K]."""
        return TEMPERATURE_SD_K[self.told]


def ports_of(vessel: Vessel) -> tuple[Port, ...]:
    """Ports at which a vessel's own temperature is read, best first; a heater's outlet first."""
    if vessel.kind in _HEATERS:
        return ("out", "inside", "")
    return ("inside", "out", "", "in")


def temperature_source(station: Station, vessel: Vessel) -> TemperatureSource:
    """Where the temperature of a vessel comes from.

    Parameters
    ----------
    station : Station
    vessel : Vessel
        One of its vessels.

    Returns
    -------
    TemperatureSource
    """
    own = _thermometer(station, vessel)
    if own is not None:
        return TemperatureSource("read", own.tag, vessel.name)
    if vessel.kind in _BOILING:
        for port in VAPOUR_PORTS:
            signal = station.signal("steam_pressure", vessel.name, port)
            if signal is not None:
                return TemperatureSource("vapour", signal.tag, vessel.name)
    for other in _upstream(station, vessel):
        signal = _thermometer(station, other)
        if signal is not None:
            return TemperatureSource("neighbour", signal.tag, other.name)
    return TemperatureSource("target")


def zone_temperature_source(station: Station, zone: str) -> TemperatureSource:
    """As `temperature_source`, for a zone: mud without a thermometer follows its settler."""
    name, _, part = zone.partition(":")
    vessel = next(v for v in station.vessels if v.name == name)
    if part:
        signal = station.signal("temperature", name, "mud")
        if signal is not None:
            return TemperatureSource("read", signal.tag, name)
        own = temperature_source(station, vessel)
        if vessel.mud_temp_degc is not None or own.told == "target":
            return TemperatureSource("target")
        return replace(own, told="neighbour")
    return temperature_source(station, vessel)


def _thermometer(station: Station, vessel: Vessel) -> Signal | None:
    found = (station.signal("temperature", vessel.name, port) for port in ports_of(vessel))
    return next((signal for signal in found if signal is not None), None)


def _upstream(station: Station, vessel: Vessel) -> list[Vessel]:
    """Vessels whose heat a vessel without heat of its own has, nearest first."""
    if vessel.kind not in _PASSIVE:
        return []
    near = []
    for group in reversed([g for g in station.in_flow_order if g[0].step < vessel.step]):
        near += list(group)
        if group[0].kind not in _PASSIVE:
            break
    return near


def vessel_temp(
    tracks: Tracks,
    vessel: Vessel,
    brix_pct: FloatArray | float,
    flow: tuple[FloatArray, float] | None = None,
) -> Track:
    """Temperature of a vessel's content; of a heater, its outlet, so the upper bound.

    Parameters
    ----------
    tracks : Tracks
        Grid and station.
    vessel : Vessel
    brix_pct : float or ndarray, shape (n,)
        Brix inside, which lifts the boiling point [%].
    flow : tuple of ndarray, shape (n,), and float, optional
        Juice flowing in, and its usual flow [m3/h]: tells the stops.

    Returns
    -------
    Track
        Temperature [degC]: read, or worked out as the module says, or the target. In a stop a
        vessel without a thermometer cools by `COOLING_K_H`, and a vapour pressure that may be the
        open air's tells nothing: those rows are not known.
    """
    own = tracks.read("temperature", vessel.name, ports_of(vessel), vessel.temp_degc)
    if own.measured:
        return own
    standing = _standing(tracks, flow)
    source = temperature_source(tracks.station, vessel)
    if source.told == "vapour":
        pressure = tracks.read("steam_pressure", vessel.name, VAPOUR_PORTS, float("nan"))
        if pressure.measured:
            low, high = _AIR_KPA
            air = standing & (pressure.values > low) & (pressure.values < high)
            boiling = _boiling(pressure.values, brix_pct, vessel)
            return Track(boiling, pressure.known & ~air, measured=True)
    if source.told == "neighbour":
        other = next(v for v in tracks.station.vessels if v.name == source.place)
        read = tracks.read("temperature", other.name, ports_of(other), other.temp_degc)
        if read.measured:
            own = replace(read, values=_follows(tracks.station, read.values, other, vessel))
    return replace(own, values=_cooled(own.values, standing, COOLING_K_H.get(vessel.kind, 0.0)))


def _standing(tracks: Tracks, flow: tuple[FloatArray, float] | None) -> BoolArray:
    """Minutes in which no juice flows in."""
    if flow is None:
        return np.zeros(tracks.rows, dtype=np.bool_)
    return np.asarray(flow[0] < _STANDING_BELOW * flow[1])


def _cooled(degc: FloatArray, standing: BoolArray, rate_k_h: float) -> FloatArray:
    """Hold the last temperature before a stop, and let it fall; heaters upstream are cold then."""
    if rate_k_h == 0.0 or not standing.any():
        return degc
    rows = np.arange(degc.shape[0])
    last = np.maximum(np.maximum.accumulate(np.where(standing, -1, rows)), 0)
    return np.where(standing, degc[last] - rate_k_h * (rows - last) / 60.0, degc)


def _boiling(kpa: FloatArray, brix_pct: FloatArray | float, vessel: Vessel) -> FloatArray:
    """Boiling point under a vapour pressure; the target where a gauge reads nonsense [degC]."""
    sound = np.isfinite(kpa) & (kpa > 1.0)
    boiling = boiling_degc(brix_pct, np.where(sound, kpa, 100.0))
    return np.where(sound, boiling, vessel.temp_degc)


def _follows(station: Station, read_degc: FloatArray, other: Vessel, vessel: Vessel) -> FloatArray:
    """Temperature of a vessel that has its heat from another [degC].

    Juice that passes a flash tank leaves it at its boiling point however hot it came.
    """
    most = min(
        (v.temp_degc for v in station.of_kind("flash_tank") if other.step < v.step <= vessel.step),
        default=np.inf,
    )
    below = vessel.temp_degc - min(other.temp_degc, most)
    return np.minimum(read_degc, most) + below
