"""One zone of the train: its state, rates, loss and the factors behind the loss."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from features.base import BoolArray, FloatArray, Station, exp10
from features.flow.contents import Content
from features.flow.passing import pass_zone
from features.flow.stream import Dose, Passage, Passed, Stream, Tracer
from features.flow.tracks import Track
from features.flow.vessel_ph import Region, clear_weight, settler_ph, soured_ph
from features.juice import sucrose_content_kg_m3
from features.kinetics import (
    INVERT_PER_SUCROSE,
    State,
    concentration_ratio,
    inversion_1_min,
    loss_factors,
    loss_kg_h,
    ph_at_process,
    rs_destruction_1_h,
    state_inversion_1_h,
    temp_factor,
)

#: Share of the juice that must come from known rows for a zone's row to count as known.
_KNOWN_SHARE = 0.95
#: Minutes, and share of its time, that a leaving parcel may have spent in unbridged gaps.
_GAP_MIN, _GAP_SHARE = 0.5, 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Zone:
    """What the physics of one zone needs.

    Attributes
    ----------
    name : str
        Zone name.
    region : Region
        Which probes tell its pH.
    temp, volume, ph : Track
        Temperature [degC], volume the juice reaches [m3], and the zone's own pH probe (limed in
        the liming tank, clear from the settler on) [-].
    brix : Track or None
        Brix inside where water is boiled off [%].
    passage : Passage
        Volume at the edges of the minutes and mixing.
    reference : State
        The zone at target, its `acidity` from `nominal.reference_acidities`.
    ph_shift : float
        pH inside less the pH carried in [-].
    last_flowing : ndarray of int, shape (n,), or None
        Settler: its stops, see `vessel_ph.last_flowing`.
    """

    name: str
    region: Region
    temp: Track
    volume: Track
    ph: Track
    brix: Track | None
    passage: Passage
    reference: State
    ph_shift: float = 0.0
    last_flowing: NDArray[np.intp] | None = None


def zone_ph(
    zone: Zone, contents: tuple[Content, ...], leaving: FloatArray
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Cold pH of each content and what the clear probe weighs in it, both shape (m,) [-].

    The pH is carried by the juice and falls by the acid made on the way, or read by the zone's
    probe, or in between (`settler_ph`).
    """
    if zone.region == "settler":
        return settler_ph(contents, leaving, zone.ph.values, zone.last_flowing)
    if zone.region in ("liming", "mud"):
        phs = [content.at(zone.ph.values) for content in contents]
    else:
        phs = [soured_ph(content.tracers) + zone.ph_shift for content in contents]
    return phs, [np.full(ph.shape, clear_weight(zone.region)) for ph in phs]


def run_zone(
    stream: Stream, zone: Zone, station: Station, feed: tuple[FloatArray, BoolArray]
) -> tuple[Passed, dict[str, FloatArray]]:
    """Carry a stream through a zone and work out its columns.

    Parameters
    ----------
    stream : Stream
        Juice flowing in; its zone doses start anew here.
    zone : Zone
        The zone.
    station : Station
        Targets and kinetics.
    feed : tuple of ndarray, shape (n,)
        Feed flow over target feed flow [-], and whether it is known.

    Returns
    -------
    passed : Passed
        Juice leaving.
    columns : dict of str to ndarray, shape (n,)
        Columns of the zone frame, NaN where unknown, flow columns excepted.
    """
    inflow = stream.restarted(Dose.EXPOSURE_ZONE, Dose.GAP_ZONE)
    known_flow = stream.flow_known & zone.volume.known

    def rates(contents: tuple[Content, ...], leaving: FloatArray) -> list[FloatArray]:
        return [
            _rates_1_min(zone, station, known_flow, content, ph)
            for content, ph in zip(contents, zone_ph(zone, contents, leaving)[0], strict=True)
        ]

    def ph(contents: tuple[Content, ...], leaving: FloatArray) -> list[FloatArray]:
        return zone_ph(zone, contents, leaving)[0]

    passed = pass_zone(inflow, zone.passage, ph, rates)
    columns = _content_columns(zone, station, passed, stream.tracers)
    columns |= _parcel_columns(zone, passed, known_flow)
    columns["f_flow"] = np.where(feed[1], feed[0], np.nan)
    columns["loss_ref_kg_h"] = columns["ref_kg_h"] * columns["f_flow"]
    return passed, columns


def _rates_1_min(
    zone: Zone, station: Station, known_flow: BoolArray, content: Content, ph: FloatArray
) -> FloatArray:
    """Dose rates of a content, one column per `Dose` [1/min]."""
    kinetics, tracers = station.kinetics, content.tracers
    temp = content.at(zone.temp.values)
    brix = tracers[:, Tracer.BRIX] if zone.brix is None else content.at(zone.brix.values)
    hot = ph_at_process(ph, temp, kinetics.ph_slope, kinetics.ph_ref_degc)
    rates = np.empty((temp.shape[0], len(Dose)), order="F")
    rates[:, Dose.EXPOSURE_ZONE] = rates[:, Dose.EXPOSURE] = temp_factor(temp)
    rates[:, Dose.MINUTES] = 1.0
    inversion = inversion_1_min(hot, temp, brix)
    rates[:, Dose.INVERSION] = rates[:, Dose.INVERSION_LIMED] = inversion
    rates[:, Dose.RS_LIMED] = rs_destruction_1_h(ph, temp, kinetics.rs_rate_ph7_1_h) / 60.0
    rates[:, Dose.GAP_ZONE] = content.at(~known_flow)
    told = content.at(known_flow & zone.temp.known)
    carried = tracers[:, Tracer.PH_KNOWN] >= _KNOWN_SHARE
    rates[:, Dose.GAP] = ~(told & _ph_known(zone, content, carried))
    return rates


def _ph_known(zone: Zone, content: Content, carried: BoolArray) -> BoolArray:
    """Whether pH rests on known readings; `carried`: whether the one brought by the juice does."""
    probe = content.at(zone.ph.known)
    if zone.region in ("liming", "mud"):
        return probe
    return carried & probe if zone.region == "settler" else carried


def _told(zone: Zone, content: Content, passed: Passed) -> BoolArray:
    """Whether the pH of a content rests on known readings, minute by minute."""
    share = content.mean(content.tracers[:, Tracer.PH_KNOWN], passed.tracers.shape[0])
    return _ph_known(zone, Content(passed.tracers), share >= _KNOWN_SHARE)


def _in_zone(passed: Passed, values: list[FloatArray]) -> FloatArray:
    """Mean over all contents of a zone, minute by minute, from a value per row of each."""
    minutes = passed.tracers.shape[0]
    means = [c.mean(v, minutes) for c, v in zip(passed.contents, values, strict=True)]
    return np.asarray(np.mean(means, axis=0)) if len(means) > 1 else means[0]


def _juice_in_zone(passed: Passed) -> FloatArray:
    """Mean tracers of a zone, shape (n, len(Tracer))."""
    contents = passed.contents
    if contents[0].minute is None:
        return np.asarray(np.mean([c.tracers for c in contents], axis=0))
    return np.column_stack(
        [_in_zone(passed, [c.tracers[:, tracer] for c in contents]) for tracer in Tracer]
    )


def _content_columns(
    zone: Zone, station: Station, passed: Passed, fed: FloatArray
) -> dict[str, FloatArray]:
    """Columns that describe what is in the zone now."""
    kinetics = station.kinetics
    phs, weights = zone_ph(zone, passed.contents, passed.tracers)
    content = _juice_in_zone(passed)
    temp, volume = zone.temp.values, zone.volume.values
    brix, ratio = content[:, Tracer.BRIX], np.ones_like(temp)
    if zone.brix is not None:
        brix = zone.brix.values
        ratio = concentration_ratio(brix, np.maximum(fed[:, Tracer.BRIX], 0.1), temp)
    state = State(temp, _in_zone(passed, [exp10(-ph) for ph in phs]), brix, volume, ratio)
    ph_cold = _in_zone(passed, phs)
    rate = state_inversion_1_h(state, kinetics.ph_slope, kinetics.ph_ref_degc)
    sucrose_kg_m3 = sucrose_content_kg_m3(brix, content[:, Tracer.PURITY], temp)
    held = volume * sucrose_kg_m3
    factors = loss_factors(state, zone.reference, kinetics.ph_slope)
    reference_rate = state_inversion_1_h(zone.reference, kinetics.ph_slope, kinetics.ph_ref_degc)
    at_target = sucrose_kg_m3 * zone.reference.concentration / ratio
    unavoidable = reference_rate * zone.reference.volume_m3 * at_target
    rs_rate = rs_destruction_1_h(ph_cold, temp, kinetics.rs_rate_ph7_1_h)
    juice = content[:, Tracer.JUICE_KNOWN] >= _KNOWN_SHARE
    if zone.brix is not None:
        juice = juice & zone.brix.known
    ph_known = np.logical_and.reduce([_told(zone, c, passed) for c in passed.contents])
    warm, full = zone.temp.known, zone.volume.known
    everything = juice & ph_known & warm & full
    clear = _in_zone(passed, weights)
    limed = np.zeros_like(clear) if zone.region == "mixed" else 1.0 - clear
    return {
        "temp_degc": _known(temp, warm),
        "ph_cold": _known(ph_cold, ph_known),
        "ph_hot": _known(
            ph_at_process(ph_cold, temp, kinetics.ph_slope, kinetics.ph_ref_degc), ph_known & warm
        ),
        "brix_pct": _known(brix, juice),
        "volume_m3": _known(volume, full),
        "sucrose_held_kg": _known(held, juice & warm & full),
        "inversion_1_h": _known(rate, juice & ph_known & warm),
        "loss_kg_h": _known(loss_kg_h(rate, held), everything),
        "excess_kg_h": _known(loss_kg_h(rate, held) - unavoidable, everything),
        "rs_made_kg_h": _known(INVERT_PER_SUCROSE * loss_kg_h(rate, held), everything),
        "rs_destroyed_kg_h": _known(
            rs_rate * held * kinetics.rs_per_sucrose_pct / 100.0, everything
        ),
        "f_ph": _known(factors.ph, ph_known),
        "f_temp": _known(factors.temp, warm),
        "f_brix": _known(factors.brix, juice & warm),
        "f_volume": _known(factors.volume, full),
        "w_ph_limed": limed,
        "w_ph_clear": clear,
        "ref_kg_h": _known(unavoidable, juice & warm),
    }


def _parcel_columns(zone: Zone, passed: Passed, known_flow: BoolArray) -> dict[str, FloatArray]:
    """Columns that describe the juice now leaving the zone."""
    traced = known_flow & little_gap(passed.doses[:, Dose.GAP_ZONE], passed.residence_min)
    return {
        "residence_min": _known(passed.residence_min, traced),
        "residence_sd_min": _known(passed.residence_sd_min, traced),
        "exposure_eqmin100": _known(passed.doses[:, Dose.EXPOSURE_ZONE], traced & zone.temp.known),
    }


def little_gap(gap_min: FloatArray, residence_min: FloatArray) -> BoolArray:
    """Whether leaving parcels spent little enough time in unbridged gaps to be told about."""
    within: BoolArray = gap_min <= _GAP_MIN + _GAP_SHARE * residence_min
    return within


def _known(values: FloatArray, known: BoolArray) -> FloatArray:
    """NaN where unknown; the frame turns NaN into null."""
    return np.where(known, values, np.nan)
