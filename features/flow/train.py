"""The whole train: probes to zones, flows down the chain, juice from feed to evaporator."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from features.base import BoolArray, FloatArray, Vessel
from features.flow.expansion import as_fed
from features.flow.filtrate import return_step, with_filtrate
from features.flow.inferred import vessel_temp
from features.flow.mud import Mud, level_volume, mud_flow, mud_of, run_mud
from features.flow.nominal import (
    reference_acidities,
    souring_1_min,
    target_concentration,
    target_volume_m3,
    usual_flow_m3_h,
)
from features.flow.probes import (
    CONTENT_FIRST,
    INLET,
    OUTLET_FIRST,
    Feed,
    flow_track,
    meter_degc,
    read_feed,
    region_of,
)
from features.flow.stream import Dose, Passage, Passed, Stream, Tracer, join
from features.flow.tracks import Track, Tracks, running_mean, smooth
from features.flow.transport import edges_from_means
from features.flow.vessel_ph import last_flowing
from features.flow.zones import Zone, run_zone
from features.kinetics import State, concentration_ratio

#: Running mean of the temperature that a vessel's content expands by [min]: noise of a thermometer
#: would pass for juice pushed out and drawn back.
_EXPANSION_MIN = 15


@dataclass(slots=True, eq=False)
class Journey:
    """What the walk down the train collects.

    Attributes
    ----------
    columns : dict
        Zone name to its columns.
    acidity_at_target : dict
        Vessel name to its acidity at target, see `reference_acidities`.
    at_clear : Stream or None
        Juice leaving the settlers.
    at_end : Stream
        Juice leaving the last vessel; its flow, like every stream's here, as fed.
    degc_at_end : ndarray, shape (n,)
        Its temperature [degC].
    degc : dict
        Vessel name to its temperature [degC].
    """

    at_end: Stream
    degc_at_end: FloatArray
    acidity_at_target: dict[str, float]
    at_clear: Stream | None = None
    columns: dict[str, dict[str, FloatArray]] = field(default_factory=dict)
    degc: dict[str, FloatArray] = field(default_factory=dict)


def travel(tracks: Tracks) -> tuple[Feed, Journey]:
    """Follow the juice from the feed through every vessel.

    Parameters
    ----------
    tracks : Tracks
        Grid and station.

    Returns
    -------
    feed : Feed
        The feed and shared probes.
    journey : Journey
        Zone columns, and the juice at the settlers' outlet and at the end.
    """
    feed = read_feed(tracks)
    regions = {v.name: region_of(tracks.station, v) for v in tracks.station.vessels}
    at_target = reference_acidities(tracks.station, regions)
    journey = Journey(_fed_stream(tracks, feed), feed.temp.values, at_target)
    last_liming = max((v.step for v in tracks.station.of_kind("liming_tank")), default=None)
    returned_at = return_step(tracks.station)
    for group in tracks.station.in_flow_order:
        if group[0].step == returned_at:
            journey.at_end = with_filtrate(tracks, journey.at_end, feed.flow, feed.flow_degc)
        inlets = _share(tracks, group, journey)
        outlets = [
            _through(tracks, vessel, inlet, feed, journey)
            for vessel, inlet in zip(group, inlets, strict=True)
        ]
        journey.at_end = join(outlets)
        journey.degc_at_end = np.asarray(np.mean([journey.degc[v.name] for v in group], axis=0))
        if group[0].step == last_liming:
            journey.at_end = journey.at_end.restarted(Dose.INVERSION_LIMED, Dose.RS_LIMED)
        if any(vessel.kind == "settler" for vessel in group):
            journey.at_clear = journey.at_end
    return feed, journey


def _fed_stream(tracks: Tracks, feed: Feed) -> Stream:
    """Stream at the start of the train."""
    limed_already = not tracks.station.of_kind("liming_tank")
    ph = feed.ph_limed if limed_already else feed.ph_mixed
    n = tracks.rows
    flow = feed.flow.values * as_fed(tracks.station, feed.flow_degc)
    empty = Stream(flow, feed.flow.known, np.zeros((n, len(Tracer))), np.zeros((n, len(Dose))))
    return empty.with_tracers(
        brix=feed.brix.values,
        purity=feed.purity.values,
        ph=ph.values,
        ph_limed=feed.ph_limed.values,
        juice_known=feed.brix.known & feed.purity.known,
        ph_known=ph.known,
        limed_known=feed.ph_limed.known,
    )


def _share(tracks: Tracks, group: tuple[Vessel, ...], journey: Journey) -> list[Stream]:
    """Split a stream over parallel vessels: own meters first, the rest by volume."""
    stream, metered = journey.at_end, {}
    for vessel in group:
        port = next((port for port in INLET if tracks.has("flow", vessel.name, port)), None)
        if port is not None:
            track = flow_track(tracks, vessel.name, INLET, 0.0)
            degc = meter_degc(tracks, vessel, port, journey.degc_at_end)
            values = np.asarray(track.values * as_fed(tracks.station, degc))
            metered[vessel.name] = replace(track, values=values)
    taken = sum((track.values for track in metered.values()), np.zeros(tracks.rows))
    rest = np.maximum(stream.flow_m3_h - taken, 0.0)
    volume = sum(vessel.volume_m3 for vessel in group if vessel.name not in metered)
    streams: list[Stream] = []
    for vessel in group:
        own = metered.get(vessel.name)
        if own is not None:
            streams.append(replace(stream, flow_m3_h=own.values, flow_known=own.known))
        else:
            streams.append(replace(stream, flow_m3_h=rest * (vessel.volume_m3 / volume)))
    return streams


def _through(tracks: Tracks, vessel: Vessel, inlet: Stream, feed: Feed, journey: Journey) -> Stream:
    """Pass one vessel, and the mud zone of a settler; return the juice leaving."""
    mud = mud_of(tracks, vessel, inlet)
    acidity = journey.acidity_at_target[vessel.name]
    zone, probe = _vessel_zone(tracks, vessel, (inlet, mud), feed, acidity)
    journey.degc[vessel.name] = zone.temp.values
    if zone.brix is not None:
        # Sucrose stays when water boils off: it passes at the flow of the concentrated juice.
        ratio = concentration_ratio(
            zone.brix.values, np.maximum(inlet.tracers[:, Tracer.BRIX], 0.1), zone.temp.values
        )
        inside = replace(inlet, flow_m3_h=inlet.flow_m3_h / np.maximum(ratio, 1.0))
    else:
        inside = inlet
    if zone.region == "settler":
        inside = inside.with_tracers(to_fall=np.ones(tracks.rows))
    loading = _loading(tracks, feed)
    passed, columns = run_zone(inside, zone, tracks.station, loading)
    out = _outlet(tracks, vessel, inside, passed)
    came_in = inlet.flow_m3_h / as_fed(tracks.station, journey.degc_at_end)
    went_out = out.flow_m3_h / as_fed(tracks.station, zone.temp.values)
    columns["flow_in_m3_h"] = np.where(inlet.flow_known, came_in, np.nan)
    columns["flow_out_m3_h"] = np.where(out.flow_known, went_out, np.nan)
    journey.columns[vessel.name] = columns
    if mud is not None:
        rest = (mud, zone.temp, loading)
        name, below = run_mud(tracks, vessel, (inside, passed), probe, rest)
        journey.columns[name] = below
    if zone.region == "liming":
        return _as_read(out, probe).with_tracers(ph_limed=probe.values, limed_known=probe.known)
    if zone.region == "settler":
        return _as_read(out, probe)
    if zone.brix is not None:
        return out.with_tracers(brix=zone.brix.values)
    return out


def _as_read(stream: Stream, probe: Track) -> Stream:
    """Juice whose pH has just been read: what it lost before no longer matters."""
    fresh = np.zeros(stream.flow_m3_h.shape)
    return stream.with_tracers(ph=probe.values, ph_known=probe.known, soured=fresh)


def _loading(tracks: Tracks, feed: Feed) -> tuple[FloatArray, BoolArray]:
    """Feed flow over its target, and whether it is known."""
    return feed.flow.values / tracks.station.targets.flow_feed_m3_h, feed.flow.known


def _boiled_brix(tracks: Tracks, vessel: Vessel, inlet: Stream) -> Track | None:
    """Brix inside where water is boiled off [%], else None."""
    if vessel.brix_pct is None:
        return None
    brix = tracks.read("brix", vessel.name, CONTENT_FIRST, vessel.brix_pct)
    if brix.measured:
        return brix
    # Water boiled off is a share of the juice: thinner juice leaves thinner, too.
    fed = inlet.tracers[:, Tracer.BRIX] / tracks.station.targets.brix_pct
    return replace(brix, values=np.clip(vessel.brix_pct * fed, 1.0, 80.0))


def _held(tracks: Tracks, vessel: Vessel, mud: Mud | None) -> tuple[Track, FloatArray]:
    """Volume the juice reaches, less what mud takes of it, as read and smoothed [m3]."""
    live = vessel.volume_m3 * (1.0 - vessel.dead_fraction)
    volume = level_volume(tracks, vessel, "level", live, vessel.level_pct)
    smoothed = smooth(volume.values)
    if mud is None:
        return volume, smoothed
    return replace(volume, values=volume.values * mud.room), smoothed * mud.room


def _vessel_zone(
    tracks: Tracks,
    vessel: Vessel,
    entering: tuple[Stream, Mud | None],
    feed: Feed,
    acidity: float,
) -> tuple[Zone, Track]:
    """Zone of a vessel and the pH probe that belongs to it."""
    inlet, mud = entering
    station, targets = tracks.station, tracks.station.targets
    region = region_of(station, vessel)
    usual_flow = usual_flow_m3_h(station, vessel)
    brix = _boiled_brix(tracks, vessel, inlet)
    held = inlet.tracers[:, Tracer.BRIX] if brix is None else brix.values
    temp = vessel_temp(tracks, vessel, held, (inlet.flow_m3_h, usual_flow))
    volume, smoothed = _held(tracks, vessel, mud)
    shared = feed.ph_limed if region in ("mixed", "liming", "limed") else feed.ph_clear
    own = tracks.ph_cold(vessel.name, OUTLET_FIRST, temp, shared.values[0])
    probe = own if own.measured and region in ("liming", "settler") else shared
    hot = np.asarray(as_fed(station, running_mean(temp.values, _EXPANSION_MIN)))
    settler = region == "settler"
    # The mud's own sums run in real m3, the juice's as fed.
    drawn = mud_flow(tracks, vessel, inlet).values if mud is None else mud.inflow_m3_h
    passage = Passage(
        volume_edges_m3=edges_from_means(smoothed * hot),
        tanks=vessel.tanks,
        usual_flow_m3_h=usual_flow / target_concentration(station, vessel),
        drawn_m3_h=drawn * hot,
        souring_1_min=None
        if region == "liming"
        else np.asarray(souring_1_min(station, temp.values)),
        fall_min=max(vessel.ph_fall_min, 1e-3) if settler else None,
    )
    zone = Zone(
        vessel.name,
        region,
        temp,
        volume,
        probe,
        brix,
        passage,
        reference=State(
            temp_degc=vessel.temp_degc,
            acidity=acidity,
            brix_pct=targets.brix_pct if vessel.brix_pct is None else vessel.brix_pct,
            volume_m3=target_volume_m3(vessel),
            concentration=target_concentration(station, vessel),
        ),
        ph_shift=vessel.ph_shift,
        last_flowing=last_flowing(inlet.flow_m3_h, usual_flow) if settler else None,
    )
    return zone, probe


def _outlet(tracks: Tracks, vessel: Vessel, inlet: Stream, passed: Passed) -> Stream:
    """Juice leaving a vessel: its own meter wins over the balance."""
    flow, known = passed.flow_out_m3_h, inlet.flow_known
    if tracks.has("flow", vessel.name, "out"):
        meter = flow_track(tracks, vessel.name, ("out",), 0.0)
        degc = meter_degc(tracks, vessel, "out", np.zeros(tracks.rows))
        values = meter.values * as_fed(tracks.station, degc)
        flow, known = np.where(meter.known, values, flow), meter.known | known
    return Stream(flow, known, passed.tracers, passed.doses)
