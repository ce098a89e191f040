"""Mud below a settler: drawn from its first tank, soured the longer it is held."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from features.base import BoolArray, FloatArray, Port, Quantity, Vessel
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


def run_mud(
    tracks: Tracks,
    vessel: Vessel,
    clear_zone: tuple[Stream, Passed],
    clear_ph: Track,
    rest: tuple[Track, tuple[FloatArray, BoolArray]],
) -> tuple[str, dict[str, FloatArray]]:
    """Name and columns of the mud zone: fed from the settler's first tank, emptied by underflow."""
    inlet, passed = clear_zone
    clear_temp, loading = rest
    targets = tracks.station.targets
    target_temp = vessel.temp_degc if vessel.mud_temp_degc is None else vessel.mud_temp_degc
    temp = tracks.read("temperature", vessel.name, ("mud",), target_temp)
    if not temp.measured and clear_temp.measured and vessel.mud_temp_degc is None:
        temp = clear_temp
    volume = level_volume(tracks, vessel, "mud_level", vessel.mud_volume_m3, vessel.mud_level_pct)
    # Mud moves over hours, its level reads rough: noise in it would pass for fresh mud.
    edges = edges_from_means(running_mean(volume.values, _MUD_LEVEL_MIN))
    drawn = mud_flow(tracks, vessel, inlet)
    inflow = np.maximum(drawn.values + 60.0 * np.diff(edges), 0.0)
    acidity = 10.0 ** -(targets.ph_clear - vessel.mud_ph_drop)
    zone = Zone(
        name=f"{vessel.name}:mud",
        region="mud",
        temp=temp,
        volume=volume,
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
