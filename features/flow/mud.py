"""Mud below a settler: drawn from its first tank, soured the longer it is held.

Where no level of it is read its volume follows from the balance of mud: what comes with the juice
less the underflow. Mud that grows takes its room from the clear juice above it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from features.base import BoolArray, FloatArray, Port, Quantity, Station, Vessel
from features.flow.probes import ANY, flow_track
from features.flow.scan import linear_recurrence
from features.flow.stream import Passage, Passed, Stream
from features.flow.tracks import Track, Tracks, running_mean
from features.flow.transport import edges_from_means
from features.flow.zones import Zone, run_zone
from features.kinetics import LN3, State, ph_after_acid

#: Mud sours no further than this [pH] (estimate).
_SOUREST = 6.0
#: Running mean of the mud level [min].
_MUD_LEVEL_MIN = 61
#: How the mud held is known.
MudTold = Literal["read", "balance", "target"]
#: Error of the mud held as a share of what it lies off its target: a level gauge; the balance, in
#: which mud in the juice swings by some tenths and meters err (estimate).
MUD_REL_SD: dict[MudTold, float] = {"read": 0.05, "balance": 0.4, "target": 1.0}
#: Pull of the balance back to the target, so that errors of its flows do not pile up [min]
#: (judgement: longer than mud is held by mishap, shorter than the physics remembers).
_BACK_MIN = 24 * 60
#: Hours either side over which mud per juice is the usual one [min]; wet cane lasts longer.
_USUAL_MIN = 24 * 60
#: Least share of the clear zone that mud leaves to the juice [-].
_LEAST_ROOM = 0.1
#: Inflow below this share of the usual brings no mud that could be counted [-].
_FLOWING = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Mud:
    """Mud of a settler, minute by minute.

    Attributes
    ----------
    volume : Track
        Mud held [m3].
    edges_m3 : ndarray, shape (n + 1,)
        The same at the edges of the minutes [m3].
    drawn : Track
        Underflow [m3/h].
    inflow_m3_h : ndarray, shape (n,)
        What leaves the clear zone as mud: underflow and growth [m3/h].
    room : ndarray, shape (n,)
        Clear zone's volume over that at the mud's target [-].
    """

    volume: Track
    edges_m3: FloatArray
    drawn: Track
    inflow_m3_h: FloatArray
    room: FloatArray


def level_volume(
    tracks: Tracks, vessel: Vessel, quantity: Quantity, volume_m3: float, target_pct: float
) -> Track:
    """Volume the juice reaches, from a level or the level at target [m3]."""
    ports: tuple[Port, ...] = ("mud", "", "inside") if quantity == "mud_level" else ANY
    level = tracks.read(quantity, vessel.name, ports, target_pct)
    return replace(level, values=np.maximum(level.values, 0.0) / 100.0 * volume_m3)


def mud_flow(tracks: Tracks, vessel: Vessel, inlet: Stream) -> Track:
    """Underflow of a settler [m3/h]: measured, or its target as far as juice flows in."""
    if vessel.kind != "settler":
        return tracks.target(0.0)
    if tracks.has("flow", vessel.name, "mud"):
        return flow_track(tracks, vessel.name, ("mud",), vessel.mud_flow_m3_h)
    target = tracks.target(vessel.mud_flow_m3_h)
    return replace(target, values=np.minimum(target.values, inlet.flow_m3_h))


def _mud_ph_drop(
    vessel: Vessel, target: float, inflow_m3_h: FloatArray, edges_m3: FloatArray
) -> FloatArray:
    """How far mud pH lies below clear-juice pH [-]: more, the older the mud.

    The acid made in mud follows ``V da/dt = V (1 - a / most) - Q a`` (well stirred), in minutes of
    fresh mud, starting at its target. It lowers pH by the law of juice (`ph_after_acid`), at the
    pace that gives the drop described at target, and fades towards pH 6, below which that law was
    never measured.
    """
    volume = np.maximum(0.5 * (edges_m3[1:] + edges_m3[:-1]), 1e-6)
    renewed_min = (
        0.6 * vessel.mud_volume_m3 * vessel.mud_level_pct / max(vessel.mud_flow_m3_h, 1e-6)
    )
    at_target, at_most = (
        np.expm1(LN3 * drop) for drop in (vessel.mud_ph_drop, max(target - _SOUREST, 0.1))
    )
    # Both fadings at target give the drop described: 1 / a = 1 / renewed + 1 / most.
    most_min = renewed_min * max(at_most / at_target - 1.0, 0.5)
    usual_min = 1.0 / (1.0 / renewed_min + 1.0 / most_min)
    leaving = inflow_m3_h / volume / 60.0 + 1.0 / most_min
    acid_min = linear_recurrence(np.exp(-leaving), -np.expm1(-leaving) / leaving, usual_min)
    at_ph7 = at_target / LN3 * 3.0 ** (7.0 - target)
    return target - ph_after_acid(target, at_ph7 * acid_min / usual_min)


def mud_told(station: Station, vessel: Vessel) -> MudTold:
    """How the mud held in a settler is known.

    Parameters
    ----------
    station : Station
    vessel : Vessel
        A settler with a mud zone.

    Returns
    -------
    {"read", "balance", "target"}
        By a level; by the balance of mud in and underflow; or not at all.
    """
    if station.signal("mud_level", vessel.name) is not None:
        return "read"
    return "balance" if station.signal("flow", vessel.name, "mud") is not None else "target"


def mud_of(tracks: Tracks, vessel: Vessel, inlet: Stream) -> Mud | None:
    """Mud held in a settler and the room it leaves; None where there is no mud zone.

    Parameters
    ----------
    tracks : Tracks
    vessel : Vessel
    inlet : Stream
        Juice flowing into the settler.

    Returns
    -------
    Mud or None
    """
    if vessel.kind != "settler" or vessel.mud_volume_m3 <= 0.0:
        return None
    drawn = mud_flow(tracks, vessel, inlet)
    target_m3 = vessel.mud_volume_m3 * vessel.mud_level_pct / 100.0
    volume = level_volume(tracks, vessel, "mud_level", vessel.mud_volume_m3, vessel.mud_level_pct)
    if not volume.measured and drawn.measured:
        held = _by_balance(inlet, drawn, target_m3, vessel.mud_volume_m3)
        volume = Track(held, inlet.flow_known & drawn.known, measured=True)
    # Mud moves over hours, its level reads rough: noise in it would pass for fresh mud.
    smooth = running_mean(volume.values, _MUD_LEVEL_MIN)
    edges = edges_from_means(smooth)
    room = np.maximum(1.0 - (smooth - target_m3) / vessel.volume_m3, _LEAST_ROOM)
    room = _held_in_stops(room, inlet.flow_m3_h)
    inflow = np.maximum(drawn.values + 60.0 * np.diff(edges), 0.0)
    return Mud(volume, edges, drawn, inflow, room)


def _held_in_stops(room: FloatArray, flow_m3_h: FloatArray) -> FloatArray:
    """Mud that is drawn off a standing settler leaves room, but no juice flows in to take it."""
    flowing = flow_m3_h > 0.0
    if flowing.all() or not flowing.any():
        return room
    rows = np.arange(room.shape[0])
    last = np.maximum.accumulate(np.where(flowing, rows, -1))
    return np.where(flowing | (last < 0), room, room[np.maximum(last, 0)])


def _by_balance(inlet: Stream, drawn: Track, target_m3: float, most_m3: float) -> FloatArray:
    """Mud held by what comes with the juice less the underflow [m3].

    ``dV/dt = s Q - U - (V - target) / T``: s is the running median of U / Q, so that mud that comes
    thicker for days and is drawn off as it comes makes no balance wrong.
    """
    flow, under = inlet.flow_m3_h, drawn.values
    share = _usual_share(flow, under)
    keep = np.exp(-1.0 / _BACK_MIN)
    gain = (share * flow - under) / 60.0
    off = linear_recurrence(np.full(flow.shape, keep), gain, 0.0)
    return np.clip(target_m3 + off, 0.0, most_m3)


def _usual_share(flow: FloatArray, under: FloatArray) -> FloatArray:
    """Running median of underflow over juice, hour by hour, a day either side [-]."""
    hours = -(-flow.shape[0] // 60)
    padded = np.full((2, hours * 60), np.nan)
    padded[:, : flow.shape[0]] = flow, under
    q, u = np.nanmean(padded.reshape(2, hours, 60), axis=2)
    running = q > _FLOWING * float(np.median(q))
    if not running.any():
        return np.zeros(flow.shape)
    ratio = np.where(running, u / np.maximum(q, 1e-9), np.nan)
    overall = float(np.nanmedian(ratio))
    half = _USUAL_MIN // 60
    around = [ratio[max(i - half, 0) : i + half + 1] for i in range(hours)]
    usual = [np.nanmedian(part) if np.isfinite(part).any() else overall for part in around]
    return np.repeat(usual, 60)[: flow.shape[0]]


def run_mud(
    tracks: Tracks,
    vessel: Vessel,
    clear_zone: tuple[Stream, Passed],
    clear_ph: Track,
    rest: tuple[Mud, Track, tuple[FloatArray, BoolArray]],
) -> tuple[str, dict[str, FloatArray]]:
    """Name and columns of the mud zone: fed from the settler's first tank, emptied by underflow."""
    inlet, passed = clear_zone
    mud, clear_temp, loading = rest
    edges, inflow, drawn = mud.edges_m3, mud.inflow_m3_h, mud.drawn
    targets = tracks.station.targets
    target_temp = vessel.temp_degc if vessel.mud_temp_degc is None else vessel.mud_temp_degc
    temp = tracks.read("temperature", vessel.name, ("mud",), target_temp)
    if not temp.measured and clear_temp.measured and vessel.mud_temp_degc is None:
        temp = clear_temp
    acidity = 10.0 ** -(targets.ph_clear - vessel.mud_ph_drop)
    zone = Zone(
        name=f"{vessel.name}:mud",
        region="mud",
        temp=temp,
        volume=mud.volume,
        ph=replace(
            clear_ph, values=clear_ph.values - _mud_ph_drop(vessel, targets.ph_clear, inflow, edges)
        ),
        brix=None,
        passage=Passage(edges, 1, max(vessel.mud_flow_m3_h, 1e-6), np.zeros(tracks.rows)),
        reference=State(
            temp_degc=target_temp,
            acidity=acidity,
            brix_pct=targets.brix_pct,
            volume_m3=vessel.mud_volume_m3 * vessel.mud_level_pct / 100.0,
        ),
    )
    stream = Stream(
        inflow, drawn.known & inlet.flow_known, passed.first_tracers, passed.first_doses
    )
    _left, columns = run_zone(stream, zone, tracks.station, loading)
    columns["flow_in_m3_h"] = np.where(stream.flow_known, inflow, np.nan)
    columns["flow_out_m3_h"] = np.where(drawn.known, drawn.values, np.nan)
    return zone.name, columns
