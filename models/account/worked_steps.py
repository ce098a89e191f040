"""The calculation behind a finding, worked through again from the derived minutes.

One minute in one vessel is followed factor by factor; then the hours of the finding are added up
by vessel. What lies above the usual, by driver, is in the account (``models.account``).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from features.base import Station
from features.juice import water_content_g_ml
from features.kinetics import inversion_1_h, ph_at_process
from models.base import Array, Minutes

_FACTORS = ("f_ph", "f_temp", "f_brix", "f_volume")
#: Columns of a zone that a minute worked by hand needs.
_NEEDED = (
    *("temp_degc", "ph_cold", "volume_m3", "sucrose_held_kg", "inversion_1_h", "loss_kg_h"),
    *("brix_pct", "ref_kg_h", *_FACTORS),
)


@dataclass(frozen=True)
class ByHand:
    """One minute in one vessel, every number of which follows from the ones before.

    Attributes
    ----------
    zone : str
    at : datetime
        Start of the minute, UTC.
    volume_m3, sucrose_kg_m3, held_kg : float
        Juice held, sucrose in it [kg/m3], and their product [kg].
    temp_degc, brix_pct, water_g_ml : float
        Temperature, Brix, and water in the juice there [g/mL].
    ph_read, ph_hot : float
        Mean pH of a cooled sample as read, and the same at process temperature.
    inversion_1_h, at_mean_1_h : float
        Inversion rate by the published equation and the pH as read: mean over the vessel's cells,
        and at the vessel's mean pH [1/h]; the same where there is one cell.
    ph_error, correction : float
        What the probes read too high there [pH], and 10 ** ph_error [-].
    loss_kg_h : float
        held_kg x inversion_1_h x correction x multiplier [kg/h].
    target_kg_h : float
        Loss of the same juice with everything at target, multiplier applied [kg/h].
    factors : dict of str to float
        What takes ``target_kg_h`` to ``loss_kg_h``: pH (correction included), temperature, Brix,
        volume [-].
    """

    zone: str
    at: datetime
    volume_m3: float
    sucrose_kg_m3: float
    held_kg: float
    temp_degc: float
    brix_pct: float
    water_g_ml: float
    ph_read: float
    ph_hot: float
    inversion_1_h: float
    at_mean_1_h: float
    ph_error: float
    correction: float
    multiplier: float
    loss_kg_h: float
    target_kg_h: float
    factors: dict[str, float]


@dataclass(frozen=True)
class VesselRow:
    """Means of one zone over the hours of the finding [kg/h], multiplier and corrected pH applied.

    ``target_kg_h`` is what the same feed would lose at targets; NaN where not measured.
    """

    zone: str
    loss_kg_h: float
    target_kg_h: float


@dataclass(frozen=True)
class Workings:
    """What the stored minutes say of a finding's hours.

    Attributes
    ----------
    vessels : tuple of VesselRow
        In flow order.
    by_hand : ByHand or None
        None where no minute has everything measured.
    """

    vessels: tuple[VesselRow, ...]
    by_hand: ByHand | None


def work_through(
    minutes: Minutes,
    biases: tuple[Array, Array],
    station: Station,
    multiplier: float,
    bounds: tuple[datetime, datetime],
    prefer: Sequence[str] = (),
) -> Workings:
    """Work the hours of a finding through again.

    Parameters
    ----------
    minutes : Minutes
        Minutes that hold the finding.
    biases : tuple of ndarray, each shape (n,)
        Reading minus truth of the limed- and the clear-juice probe [pH].
    station : Station
    multiplier : float
        The mill's kinetic multiplier [-].
    bounds : tuple of datetime
        Start and end of the finding, UTC.
    prefer : sequence of str
        Zones in which to work a minute by hand, best first; then those of the train.

    Returns
    -------
    Workings
    """
    window = _window(minutes, *bounds)
    zones = [zone for zone in prefer if zone in minutes.zones]
    zones += [zone for zone in minutes.zones if zone not in zones]
    hand = (_by_hand(minutes, zone, window, biases, station, multiplier) for zone in zones)
    return Workings(
        tuple(_vessel_row(minutes, zone, window, biases, multiplier) for zone in minutes.zones),
        next((item for item in hand if item is not None), None),
    )


def _window(minutes: Minutes, start: datetime, end: datetime) -> slice:
    first, last = minutes.index_of(start), minutes.index_of(end)
    return slice(max(first, 0), max(min(last, minutes.n), 0))


def _mean(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else math.nan


def _error(col: Mapping[str, Array], biases: tuple[Array, Array]) -> Array:
    """What the probes read too high in a zone [pH]."""
    return np.asarray(col["w_ph_limed"] * biases[0] + col["w_ph_clear"] * biases[1])


def _vessel_row(
    minutes: Minutes, zone: str, window: slice, biases: tuple[Array, Array], multiplier: float
) -> VesselRow:
    col = minutes.zones[zone]
    loss = multiplier * col["loss_kg_h"] * 10.0 ** _error(col, biases)
    return VesselRow(zone, _mean(loss[window]), multiplier * _mean(col["loss_ref_kg_h"][window]))


def _by_hand(
    minutes: Minutes,
    zone: str,
    window: slice,
    biases: tuple[Array, Array],
    station: Station,
    multiplier: float,
) -> ByHand | None:
    """The minute of a zone whose loss is nearest the mean of the finding's hours."""
    col = {name: values[window] for name, values in minutes.zones[zone].items()}
    here = (biases[0][window], biases[1][window])
    known = np.logical_and.reduce([np.isfinite(col[name]) for name in _NEEDED])
    known &= (col["volume_m3"] > 0.0) & (col["ref_kg_h"] > 0.0)
    if not known.any():
        return None
    error = _error(col, here)
    loss = col["loss_kg_h"] * 10.0**error
    apart = np.where(known, np.abs(loss - loss[known].mean()), np.inf)
    i = int(np.argmin(apart))
    now = {name: float(values[i]) for name, values in col.items()}
    wrong = float(error[i])
    kinetics = station.kinetics
    temp, brix = now["temp_degc"], now["brix_pct"]
    hot = float(ph_at_process(now["ph_cold"], temp, kinetics.ph_slope, kinetics.ph_ref_degc))
    factors = {name.removeprefix("f_"): now[name] for name in _FACTORS}
    factors["ph"] *= 10.0**wrong
    return ByHand(
        zone=zone,
        at=minutes.at(window.start + i),
        volume_m3=now["volume_m3"],
        sucrose_kg_m3=now["sucrose_held_kg"] / now["volume_m3"],
        held_kg=now["sucrose_held_kg"],
        temp_degc=temp,
        brix_pct=brix,
        water_g_ml=float(water_content_g_ml(brix, temp)),
        ph_read=now["ph_cold"],
        ph_hot=hot,
        inversion_1_h=now["inversion_1_h"],
        at_mean_1_h=float(inversion_1_h(hot, temp, brix)),
        ph_error=wrong,
        correction=10.0**wrong,
        multiplier=multiplier,
        loss_kg_h=multiplier * now["loss_kg_h"] * 10.0**wrong,
        target_kg_h=multiplier * now["ref_kg_h"],
        factors=factors,
    )
