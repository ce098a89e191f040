"""Loss channels: the excess sorted into series, each the signature of one kind of fault.

A channel is a residual [kg sucrose/h] that is near zero while the station runs as it usually does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from features.base import BoolArray, Station, Vessel
from models.amount import Excess, zones_behind
from models.base import Array, Minutes, bridge_runs, nan_sum, runs_of

MUD_SUFFIX = ":mud"
#: Channel of what is lost while nothing is fed.
STANDING = "standing"
_HEATED = ("heater", "flash_tank")
_EVAPORATION = ("clear_juice_heater", "evaporator_vessel")
#: How long juice that stood in a stop takes to leave the station (estimate) [min].
OLD_JUICE_MIN = 180
_NOT_OLD = ("drop", "throughput")
#: Channels whose unrest multiplies the loss: acid, heat and time enter it as factors. A level
#: adds juice or takes it.
_MULTIPLIED = ("ph", "drop", "heat", "throughput")
_TANKS = ("liming_tank", "clear_juice_tank")
#: Vessels that have a channel of their own where a level of theirs is read.
_LEVELLED = ("heater", "flash_tank", "settler", "clear_juice_heater", "evaporator_vessel")


@dataclass(frozen=True)
class Channel:
    """One residual series.

    Attributes
    ----------
    name : str
        What kind: ``ph``, ``drop``, ``heat``, ``hold``, ``mud``, ``throughput``, ``standing``.
    section : str
        Zone it speaks of, or ``train``.
    zones : tuple of str
        Zones summed.
    kg_h : ndarray, shape (n,)
        Excess [kg/h]; NaN where it says nothing.
    standing_error : float
        Error of its mean that no length of time averages away [kg/h].
    usual_kg_h : float, optional
        Usual loss of its zones [kg/h], which everyday unrest multiplies; None where it adds.
    witness : ndarray, shape (n,), optional
        Series in which one fault of this channel shows by itself: the bias of the limed-juice probe
        [standard errors] for ``ph``.
    family : str
        Of heat: ``evaporation`` behind the clear-juice heater, where steam heats anew.
    """

    name: str
    section: str
    zones: tuple[str, ...]
    kg_h: Array
    standing_error: float = 0.0
    usual_kg_h: float | None = None
    family: str = ""
    witness: Array | None = field(default=None, repr=False)


def zone_kinds(station: Station, zones: Sequence[str]) -> dict[str, str]:
    """Kind of vessel of each zone; a settler's mud zone is ``mud``."""
    kinds = {v.name: str(v.kind) for v in station.vessels}
    return {z: "mud" if z.endswith(MUD_SUFFIX) else kinds[z] for z in zones}


def stop_runs(
    minutes: Minutes, bridge_min: int = 20, shortest_min: int = 5
) -> list[tuple[int, int]]:
    """Periods without feed [minutes]; restarts shorter than `bridge_min` do not end one."""
    runs = [(a, b) for a, b in runs_of(minutes.stopped) if b - a >= shortest_min]
    return bridge_runs(runs, bridge_min)


def loss_channels(
    minutes: Minutes,
    excess: Excess,
    station: Station,
    multiplier: float,
    ph_sd: float,
    witness: Array | None = None,
) -> list[Channel]:
    """All channels of the station.

    Parameters
    ----------
    minutes : Minutes
    excess : Excess
        At multiplier 1.
    station : Station
    multiplier : float
        The mill's kinetic multiplier.
    ph_sd : float
        Standing error of the corrected pH; moves the loss by ``ln 10`` times itself.
    witness : ndarray, shape (n,), optional
        Bias of the limed-juice probe [standard errors], NaN in stops.

    Returns
    -------
    list of Channel
        Running channels are NaN in stops, the standing channel is NaN outside them.
    """
    kinds = zone_kinds(station, list(minutes.zones))
    running, after_stops = _running(minutes, 0), _running(minutes, OLD_JUICE_MIN)
    everywhere = tuple(minutes.zones)

    def channel(name: str, section: str, zones: Sequence[str], drivers: Sequence[str]) -> Channel:
        total = sum((excess.driver(d, list(zones)) for d in drivers), np.zeros(minutes.n))
        kg_h = np.where(running, multiplier * total, np.nan)
        usual = _usual(excess, zones, running, multiplier) if name in _MULTIPLIED else None
        return Channel(name, section, tuple(zones), kg_h, usual_kg_h=usual)

    usual = multiplier * float(np.nanmedian(nan_sum(excess.reference_kg_h)))
    limed = next((z for z, kind in kinds.items() if kind == "liming_tank"), None)
    largest = _largest(excess, everywhere)
    error = math.log(10.0) * ph_sd * usual
    found = [
        replace(
            channel("ph", limed or largest, everywhere, ["ph"]),
            standing_error=error,
            witness=witness,
        ),
        replace(channel("drop", largest, everywhere, ["drop"]), standing_error=error),
    ]
    for zones in _heat_groups(kinds):
        warm = channel("heat", _largest(excess, zones), zones, ["temperature"])
        found.append(replace(warm, family="evaporation" if kinds[zones[0]] in _EVAPORATION else ""))
    for zone, kind in kinds.items():
        if kind in _TANKS or (kind in _LEVELLED and level_read(station, zone, minutes)):
            behind = zones_behind(station, zone, everywhere) if kind == "clear_juice_tank" else ()
            held = channel("hold", zone, [zone], ["volume"])
            # Juice from a fuller tank is older: what it loses behind the tank is the tank's.
            if behind:
                older = multiplier * np.nan_to_num(excess.driver("held", list(behind)))
                held = replace(held, kg_h=held.kg_h + older)
            found.append(held)
        if kind == "mud":
            mud = channel("mud", zone, [zone], ["volume"])
            # Mud that is held takes the room of clear juice, which then loses less.
            room = excess.by_driver.get((zone.removesuffix(MUD_SUFFIX), "held"), 0.0)
            found.append(replace(mud, kg_h=mud.kg_h + multiplier * np.nan_to_num(room)))
    found.append(channel("throughput", "train", everywhere, ["throughput"]))
    # Juice that stood is old and sour when it moves again: that is the stop's doing.
    found = [
        replace(c, kg_h=np.where(after_stops, c.kg_h, np.nan)) if c.name in _NOT_OLD else c
        for c in found
    ]
    standing = np.where(running, np.nan, multiplier * excess.total)
    return [*found, Channel(STANDING, largest, everywhere, standing)]


def _usual(excess: Excess, zones: Sequence[str], running: BoolArray, multiplier: float) -> float:
    """What the zones lose in an ordinary hour [kg/h]."""
    loss = nan_sum({zone: excess.loss_kg_h[zone] for zone in zones})
    known = loss[running & np.isfinite(loss)]
    return multiplier * float(np.median(known)) if len(known) else 0.0


def _running(minutes: Minutes, beyond: int) -> BoolArray:
    """Minutes outside of stops and of so many minutes after each."""
    running = np.ones(minutes.n, dtype=bool)
    for start, end in stop_runs(minutes):
        running[start : end + beyond] = False
    return running


def _heat_groups(kinds: dict[str, str]) -> list[tuple[str, ...]]:
    """Zones that share their heat: the heaters, the evaporator side, each other zone alone."""
    groups = []
    for family in (_HEATED, _EVAPORATION):
        members = tuple(z for z, k in kinds.items() if k in family)
        groups += [members] if members else []
    return groups + [(z,) for z, k in kinds.items() if k not in (*_HEATED, *_EVAPORATION)]


def _largest(excess: Excess, zones: Sequence[str]) -> str:
    """Zone with the largest reference loss: where a shared cause does most of its harm."""
    return max(zones, key=lambda z: float(np.nansum(excess.reference_kg_h[z])))


def level_read(station: Station, zone: str, minutes: Minutes) -> bool:
    """Whether a vessel's own level is read, and lives."""
    signal = station.signal("level", zone)
    return signal is not None and moves(minutes.zones[zone]["volume_m3"])


def moves(values: Array) -> bool:
    """Whether a series was measured: one that never moves is a target standing in."""
    known = values[np.isfinite(values)]
    return len(known) > 0 and float(np.ptp(known)) > 1e-6


def vessel_of(station: Station, zone: str) -> Vessel:
    """The vessel a zone belongs to."""
    name = zone.removesuffix(MUD_SUFFIX)
    return next(v for v in station.vessels if v.name == name)
