"""Where each reading of the station is found: feed, flows, temperatures, pH probes, regions."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from features.base import FloatArray, Port, Signal, Station, Vessel
from features.flow.expansion import feed_meter_degc
from features.flow.filtrate import fresh_feed
from features.flow.inferred import vessel_temp
from features.flow.tracks import Track, Tracks
from features.flow.vessel_ph import Region

OUTLET_FIRST: tuple[Port, ...] = ("out", "inside", "")
CONTENT_FIRST: tuple[Port, ...] = ("inside", "out", "", "in")
INLET: tuple[Port, ...] = ("in", "")
ANY: tuple[Port, ...] = ("", "inside", "out", "in")
_CLEAR_KINDS = ("clear_juice_tank", "clear_juice_heater", "evaporator_vessel")
#: Grid column with the feed's purity [%], when the caller has joined lab results to the grid.
PURITY_COLUMN = "purity_mixed_juice_pct"
#: Grid column with the laboratory's Brix of the feed [%], which stands in for a Brix tag.
BRIX_COLUMN = "brix_mixed_juice_lab_pct"


@dataclass(frozen=True, slots=True, eq=False)
class Feed:
    """Juice fed to the station and the probes that belong to no single vessel.

    ``flow_degc``: temperature of the juice where its flow is metered [degC].
    """

    flow: Track
    flow_degc: FloatArray
    brix: Track
    purity: Track
    temp: Track
    ph_mixed: Track
    ph_limed: Track
    ph_clear: Track


def read_feed(tracks: Tracks) -> Feed:
    """Read the feed and the probes shared by vessels.

    Parameters
    ----------
    tracks : Tracks
        Grid and station.

    Returns
    -------
    Feed
        Target values where nothing measures.
    """
    station, targets = tracks.station, tracks.station.targets
    temp = tracks.read("temperature", "mixed_juice", ANY, targets.temp_mixed_degc)
    flow, flow_degc = _feed_flow(tracks, temp)
    return Feed(
        flow=flow,
        flow_degc=flow_degc,
        brix=_feed_brix(tracks),
        purity=tracks.column(PURITY_COLUMN, targets.purity_pct),
        temp=temp,
        ph_mixed=tracks.ph_cold("mixed_juice", ANY, temp, targets.ph_mixed),
        ph_limed=_first_ph(tracks, _limed_points(station), targets.ph_limed),
        ph_clear=_first_ph(tracks, _clear_points(station), targets.ph_clear),
    )


def _feed_brix(tracks: Tracks) -> Track:
    """Brix of the feed: its tag, else the laboratory's where it is near, else the target."""
    target = tracks.station.targets.brix_pct
    read = tracks.read("brix", "mixed_juice", ANY, target)
    if read.measured or BRIX_COLUMN not in tracks.grid.columns:
        return read
    lab = tracks.grid[BRIX_COLUMN].cast(pl.Float64).fill_null(target).to_numpy()
    # Results hours apart carry the sums; they are no minute's reading and not told as one.
    return replace(read, values=lab)


def _feed_flow(tracks: Tracks, mixed: Track) -> tuple[Track, FloatArray]:
    """Feed flow without filtrate: its own meter, or the first meter down the train.

    With the temperature of the juice at that meter [degC].
    """
    target = tracks.station.targets.flow_feed_m3_h
    if tracks.has("flow", "mixed_juice"):
        meter = flow_track(tracks, "mixed_juice", ANY, target)
        return fresh_feed(tracks, meter, None), mixed.values
    before = mixed.values
    for group in tracks.station.in_flow_order:
        for port in ("in", "", "out"):
            if all(tracks.has("flow", vessel.name, port) for vessel in group):
                parts = [flow_track(tracks, vessel.name, (port,), target) for vessel in group]
                total = np.asarray(np.sum([p.values for p in parts], axis=0))
                known = np.logical_and.reduce([p.known for p in parts])
                heat = [meter_degc(tracks, vessel, port, before) for vessel in group]
                meter = Track(total, known, measured=True)
                return fresh_feed(tracks, meter, group[0].step), np.mean(heat, axis=0)
        before = np.mean([_target_brix_temp(tracks, vessel) for vessel in group], axis=0)
    return tracks.target(target), np.full(tracks.rows, feed_meter_degc(tracks.station))


def meter_degc(tracks: Tracks, vessel: Vessel, port: Port, before: FloatArray) -> FloatArray:
    """Temperature of the juice at a flow meter of a vessel [degC].

    That of the thermometer on the same side, else of the vessel; at the inlet, of the juice
    before it (`before`).
    """
    if port and tracks.has("temperature", vessel.name, port):
        return tracks.read("temperature", vessel.name, (port,), vessel.temp_degc).values
    return _target_brix_temp(tracks, vessel) if port == "out" else before


def _target_brix_temp(tracks: Tracks, vessel: Vessel) -> FloatArray:
    """Temperature of a vessel whose juice is at its target Brix [degC].

    A few Brix move a boiling point by a tenth of a kelvin, which no volume feels.
    """
    usual = tracks.station.targets.brix_pct if vessel.brix_pct is None else vessel.brix_pct
    return vessel_temp(tracks, vessel, usual).values


def flow_track(tracks: Tracks, place: str, ports: tuple[Port, ...], target: float) -> Track:
    """Flow track, never negative: a meter's zero may wander below nought."""
    track = tracks.read("flow", place, ports, target)
    return replace(track, values=np.maximum(track.values, 0.0))


def _limed_points(station: Station) -> list[tuple[Vessel, tuple[Port, ...]]]:
    """Where limed-juice pH may be read, best first."""
    tanks = [(vessel, ANY) for vessel in reversed(station.of_kind("liming_tank"))]
    settlers: list[tuple[Vessel, tuple[Port, ...]]] = [
        (vessel, ("in",)) for vessel in station.of_kind("settler")
    ]
    others = (*station.of_kind("flash_tank"), *station.of_kind("heater"))
    return tanks + settlers + [(vessel, ANY) for vessel in others]


def _clear_points(station: Station) -> list[tuple[Vessel, tuple[Port, ...]]]:
    """Where clear-juice pH may be read, best first."""
    points: list[tuple[Vessel, tuple[Port, ...]]] = [
        (vessel, OUTLET_FIRST) for vessel in station.of_kind("settler")
    ]
    return points + [(vessel, ANY) for vessel in station.of_kind("clear_juice_tank")]


def probe_signal(station: Station, point: str) -> Signal | None:
    """Signal of the pH probe read for ``mixed``, ``limed`` or ``clear`` juice, if there is one."""
    if point == "mixed":
        return station.signal("ph", "mixed_juice")
    points = _limed_points(station) if point == "limed" else _clear_points(station)
    found = (station.signal("ph", vessel.name, port) for vessel, ports in points for port in ports)
    return next((signal for signal in found if signal is not None), None)


def _first_ph(
    tracks: Tracks, points: list[tuple[Vessel, tuple[Port, ...]]], target: float
) -> Track:
    """First pH probe found at the points given, on the cold basis."""
    for vessel, ports in points:
        temp = vessel_temp(tracks, vessel, tracks.station.targets.brix_pct)
        track = tracks.ph_cold(vessel.name, ports, temp, target)
        if track.measured:
            return track
    return tracks.target(target)


def region_of(station: Station, vessel: Vessel) -> Region:
    """Which probes tell the pH of a vessel."""
    if vessel.kind == "settler":
        return "settler"
    if vessel.kind == "liming_tank":
        return "liming"
    settlers = [v.step for v in station.of_kind("settler")]
    if vessel.kind in _CLEAR_KINDS or (settlers and vessel.step > max(settlers)):
        return "clear"
    tanks = [v.step for v in station.of_kind("liming_tank")]
    return "mixed" if tanks and vessel.step < max(tanks) else "limed"
