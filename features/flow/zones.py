"""One zone of the train: its state, rates, loss and the factors behind the loss."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from features.base import BoolArray, FloatArray, Station, exp10
from features.flow.stream import Dose, Passage, Passed, Stream, Tracer, pass_zone
from features.flow.tracks import Track
from features.flow.vessel_ph import Region, Standing, clear_weight
from features.juice import sucrose_content_kg_m3
from features.kinetics import (
    INVERT_PER_SUCROSE,
    State,
    concentration_ratio,
    inversion_1_min,
    loss_factors,
    loss_kg_h,
    ph_after_acid,
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
        The zone at target, except that `acidity` is filled by `reference_acidity`.
    fall_left : float
        Settler: share of the pH fall still to come after one cell [-], 0 to below 1.
    ph_shift : float
        pH inside less the pH carried in [-].
    standing : Standing or None
        Settler: its stops.
    """

    name: str
    region: Region
    temp: Track
    volume: Track
    ph: Track
    brix: Track | None
    passage: Passage
    reference: State
    fall_left: float = 0.0
    ph_shift: float = 0.0
    standing: Standing | None = None

    @property
    def tanks(self) -> int:
        """Cells the zone is cut into."""
        return max(self.passage.tanks, 1)


def cell_ph(zone: Zone, cell: int, tracers: FloatArray) -> FloatArray:
    """Cold pH of a cell [-]: carried by the juice, read by the zone's probe, or in between.

    Carried pH falls by the acid made on the way. While a settler stands, its outlet probe speaks
    for the last cell alone; the others keep what was read and sour.
    """
    if zone.region in ("liming", "mud"):
        return zone.ph.values
    carried = tracers[:, Tracer.PH]
    if zone.region != "settler":
        return np.asarray(ph_after_acid(carried, tracers[:, Tracer.SOURED]) + zone.ph_shift)
    weight = clear_weight("settler", cell, zone.tanks, zone.fall_left)
    if zone.standing is None or cell == zone.tanks - 1:
        return np.asarray((1.0 - weight) * carried + weight * zone.ph.values)
    read = (1.0 - weight) * carried + weight * zone.standing.ph_read
    return np.asarray(ph_after_acid(read, zone.standing.soured))


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

    def rates(cell: int, tracers: FloatArray) -> FloatArray:
        return _rates_1_min(zone, station, known_flow, cell, tracers)

    passed = pass_zone(inflow, zone.passage, rates)
    columns = _content_columns(zone, station, passed, stream.tracers)
    columns |= _parcel_columns(zone, passed, known_flow)
    columns["f_flow"] = np.where(feed[1], feed[0], np.nan)
    columns["loss_ref_kg_h"] = columns["ref_kg_h"] * columns["f_flow"]
    return passed, columns


def _rates_1_min(
    zone: Zone, station: Station, known_flow: BoolArray, cell: int, tracers: FloatArray
) -> FloatArray:
    """Dose rates of a cell, one column per `Dose` [1/min]."""
    kinetics = station.kinetics
    temp = zone.temp.values
    ph = cell_ph(zone, cell, tracers)
    brix = tracers[:, Tracer.BRIX] if zone.brix is None else zone.brix.values
    hot = ph_at_process(ph, temp, kinetics.ph_slope, kinetics.ph_ref_degc)
    rates = np.empty((temp.shape[0], len(Dose)))
    rates[:, Dose.EXPOSURE_ZONE] = rates[:, Dose.EXPOSURE] = temp_factor(temp)
    rates[:, Dose.MINUTES] = 1.0
    inversion = inversion_1_min(hot, temp, brix)
    rates[:, Dose.INVERSION] = rates[:, Dose.INVERSION_LIMED] = inversion
    rates[:, Dose.RS_LIMED] = rs_destruction_1_h(ph, temp, kinetics.rs_rate_ph7_1_h) / 60.0
    rates[:, Dose.GAP_ZONE] = ~known_flow
    rates[:, Dose.GAP] = ~(known_flow & zone.temp.known & _ph_known(zone, tracers))
    return rates


def _ph_known(zone: Zone, tracers: FloatArray) -> BoolArray:
    """Whether the pH of a cell rests on known readings."""
    if zone.region in ("liming", "mud"):
        return zone.ph.known
    carried: BoolArray = tracers[:, Tracer.PH_KNOWN] >= _KNOWN_SHARE
    return carried & zone.ph.known if zone.region == "settler" else carried


def _content_columns(
    zone: Zone, station: Station, passed: Passed, fed: FloatArray
) -> dict[str, FloatArray]:
    """Columns that describe what is in the zone now."""
    kinetics = station.kinetics
    phs = [cell_ph(zone, cell, content) for cell, content in enumerate(passed.contents)]
    content = np.mean(passed.contents, axis=0) if zone.tanks > 1 else passed.contents[0]
    temp, volume = zone.temp.values, zone.volume.values
    brix, ratio = content[:, Tracer.BRIX], np.ones_like(temp)
    if zone.brix is not None:
        brix = zone.brix.values
        ratio = concentration_ratio(brix, np.maximum(fed[:, Tracer.BRIX], 0.1), temp)
    state = State(temp, np.mean([exp10(-ph) for ph in phs], axis=0), brix, volume, ratio)
    ph_cold = np.mean(phs, axis=0)
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
    ph_known = np.logical_and.reduce([_ph_known(zone, cell) for cell in passed.contents])
    warm, full = zone.temp.known, zone.volume.known
    everything = juice & ph_known & warm & full
    weights = [
        clear_weight(zone.region, cell, zone.tanks, zone.fall_left) for cell in range(zone.tanks)
    ]
    clear, limed = float(np.mean(weights)), 1.0 - float(np.mean(weights))
    ones = np.ones_like(temp)
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
        "w_ph_limed": ones * (0.0 if zone.region == "mixed" else limed),
        "w_ph_clear": ones * clear,
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
